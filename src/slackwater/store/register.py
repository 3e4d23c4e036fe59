"""The register of suction units: facts, lots and due dates, in and out as CSV; how much they are used."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from slackwater.episode.instants import instant_of
from slackwater.equipment.shortage import Demand
from slackwater.errors import RecordError
from slackwater.quantities.spans import DAY_MS
from slackwater.store.acts import key_of
from slackwater.store.alike import FORMULA, folded, lot_form, serial_fault
from slackwater.store.nouns import Value
from slackwater.store.record import Acting, Record
from slackwater.store.rows import Thing
from slackwater.store.units import AWAY, open_recalls, units_now

COLUMNS = (
    "serial", "kind", "layout", "bought", "battery_lot", "battery_from", "must_run_min", "service_due",
    "safety_test_due",
)  # fmt: skip
DAYS = ("bought", "battery_from", "service_due", "safety_test_due")
SOON_DAYS = 30  # a date that comes within so many days is told as due (ours)
MOST_RUN_MIN = 100_000
MOST_ROWS = 20_000


@dataclass(frozen=True)
class Due:
    """A date of a unit: `service` or `safety test`; when it is due (None: not recorded), and how it stands."""

    what: str
    at_ms: int | None
    standing: str  # overdue, due, later, not recorded

    @property
    def told(self) -> str:
        """Days are UTC days, with their year: one may lie far ahead."""
        if self.at_ms is None:
            return f"{self.what} not recorded"
        words = {"overdue": "overdue since", "due": "due soon,"}.get(self.standing, "due")
        return f"{self.what} {words} {_day(self.at_ms)}"


@dataclass(frozen=True)
class Refused:
    """A line of a register that cannot be taken: its number in the file, what is wrong, how to mend it."""

    line: int
    where: str
    what: str
    mend: str

    def __str__(self) -> str:
        return f"line {self.line}, {self.where}: {self.what}. {self.mend}"


@dataclass(frozen=True)
class Used:
    """Days in use of days known, of one unit or of a fleet."""

    days_in_use: float
    days_known: float

    @property
    def share(self) -> float | None:
        return self.days_in_use / self.days_known if self.days_known else None


def dues(unit: Thing, now_ms: int) -> tuple[Due, ...]:
    """Safety test and service of a unit. Not recorded is neither due nor done."""
    return tuple(
        Due(what, unit[name], _standing(unit[name], now_ms))
        for what, name in (("safety test", "safety_test_due_ms"), ("service", "service_due_ms"))
    )


def _standing(at_ms: int | None, now_ms: int) -> str:
    if at_ms is None:
        return "not recorded"
    if at_ms <= now_ms:
        return "overdue"
    return "due" if at_ms <= now_ms + SOON_DAYS * DAY_MS else "later"


# --- in and out -----------------------------------------------------------------------------------


def written(units: Sequence[Thing]) -> str:
    """The register as CSV (UTF-8, RFC 4180 quotes, lines ended by a line feed); days are UTC days, empty: not known."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for unit in sorted(units, key=lambda one: one["serial"]):
        writer.writerow(cells_of(unit).values())
    return out.getvalue()


def cells_of(unit: Thing) -> dict[str, str]:
    """A unit's facts as the register writes them, by column."""
    return {name: _cell(unit, name) for name in COLUMNS}


def _cell(unit: Thing, name: str) -> str:
    value = unit[f"{name}_ms" if name in DAYS else name]
    if value is None:
        return ""
    if name in DAYS:
        return _day(value)
    text = str(value)
    return f"'{text}" if text.startswith(FORMULA) else text  # only a log can have brought such a serial number


def _day(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / 1000, UTC).date().isoformat()


def read(text: str, there: Collection[str] = ()) -> tuple[list[tuple[int, dict[str, Value]]], list[Refused]]:
    """The units that a register names, each with its line and all of its fields, and the lines that cannot be taken.

    Columns may stand in any order, and any but `serial` may be left out: what is left out is not touched. `there`:
    serial numbers that the record has; they are taken as they are, new ones only as `alike` lets them.
    """
    rows, refused = csv.reader(io.StringIO(text.removeprefix("\ufeff")), strict=True), []
    found: list[tuple[int, dict[str, Value]]] = []
    seen: dict[str, int] = {}
    forms = {folded(one): one for one in there}
    begins = 1  # the line on which the row that is read begins: a quote that is not closed swallows those after it
    try:
        names = [name.strip() for name in next(rows, [])]
        begins = rows.line_num + 1
        if (wrong := _header_fault(names)) is not None:
            return [], [Refused(1, "columns", *wrong)]
        for cells in rows:
            line, begins = begins, rows.line_num + 1
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(names):
                refused.append(Refused(line, "cells", f"{len(cells)} cells, but {len(names)} columns",
                                       "Write one cell a column, an empty one for what is not known."))  # fmt: skip
                continue
            fields, faults = _fields(names, cells, there)
            refused += [Refused(line, *fault) for fault in faults]
            serial = fields.get("serial")
            if isinstance(serial, str):
                if serial in seen:
                    refused.append(Refused(line, "serial", f"{serial[:40]!r} stands on line {seen[serial]} already",
                                           "Keep one line a unit."))  # fmt: skip
                elif serial not in there and folded(serial) in forms:
                    meant = forms[folded(serial)]
                    stands = f"stands on line {seen[meant]}" if meant in seen else "is in the register"
                    refused.append(Refused(line, "serial", f"{serial[:40]!r} is another spelling",
                                           f"{meant} {stands}; is it that one? Then write it so."))  # fmt: skip
                seen.setdefault(serial, line)
                forms.setdefault(folded(serial), serial)
            found.append((line, fields))
            if len(found) > MOST_ROWS:
                return [], [*refused, Refused(line, "lines", f"more than {MOST_ROWS} units", "Split the file.")]
    except csv.Error as error:
        refused.append(Refused(begins, "quotes", f"cannot be read: {error}", "Mend the quotes of this line."))
    return found, refused


def _header_fault(names: Sequence[str]) -> tuple[str, str] | None:
    """What is wrong with the line of column names and how to mend it, or None."""
    known = f"Known, in any order: {', '.join(COLUMNS)}."
    for mark, called in ((";", "semicolons"), ("\t", "tabs")):
        if len(names) == 1 and mark in names[0]:
            return f"are parted by {called}", "Save the file with commas between columns, and days as 2041-03-07."
    for name in names:
        if name not in COLUMNS:
            return f"{name[:40]!r} is no column", known
        if names.count(name) > 1:
            return f"{name} stands twice", "Keep one of them."
    return None if "serial" in names else ("serial is missing", known)


def _fields(
    names: Sequence[str], cells: Sequence[str], there: Collection[str]
) -> tuple[dict[str, Value], list[tuple[str, str, str]]]:
    """One line's facts; and of each cell that cannot be taken its column, what is wrong and how to mend it."""
    fields: dict[str, Value] = {}
    faults = []
    for name, cell in zip(names, map(str.strip, cells), strict=True):
        known = cell[1:] if cell[:1] == "'" and cell[1:] in there else cell
        if name == "serial" and known in there:
            fields[name] = known
        elif (fault := _take(fields, name, cell)) is not None:
            faults.append((name, *fault))
    return fields, faults


def _take(fields: dict[str, Value], name: str, cell: str) -> tuple[str, str] | None:
    """Put one cell among the fields; what is wrong with it and how to mend it, or None."""
    if name in DAYS:
        try:
            day = date.fromisoformat(cell) if len(cell) == 10 else None
        except ValueError:
            day = None
        if cell and (day is None or not 1970 < day.year < 2200):
            return f"{cell[:40]!r} is no day", "Write it as 2041-03-07, or leave it empty."
        fields[f"{name}_ms"] = None if day is None else instant_of(datetime(day.year, day.month, day.day, tzinfo=UTC))
    elif name == "must_run_min":
        if cell and not (cell.isascii() and cell.isdecimal() and 0 < int(cell[:9]) <= MOST_RUN_MIN and len(cell) < 9):
            return f"{cell[:40]!r} is no whole number of minutes", "Write e.g. 180, or leave it empty."
        fields[name] = int(cell) if cell else None
    elif len(cell) > 200 or not cell.isprintable():
        return "is no plain text", "Leave out what does not print, and shorten it to 200 letters."
    elif name == "serial" and not cell:
        return "is missing", "Write the unit's serial number, as it stands on it."
    elif name == "serial" and (fault := serial_fault(cell)) is not None:
        return fault
    elif cell.startswith(FORMULA):
        return f"begins with {cell[0]}", "A table program takes that for a formula: begin with another sign."
    else:
        fields[name] = cell or None
    return None


def take_register(record: Record, text: str, *, by: str, why: str = "") -> tuple[int, int, list[Refused]]:
    """Record a register: (new units, changed units, refused lines). One refused line, and nothing is recorded."""
    units = {one["serial"]: one for one in record.things("unit")}
    recalls = open_recalls(record.things("recall"))
    found, refused = read(text, units.keys())
    for line, fields in found:
        fault = _hides_a_recall(units.get(str(fields.get("serial"))), fields, recalls)
        refused += [] if fault is None else [Refused(line, *fault)]
    if refused:
        return 0, 0, sorted(refused, key=lambda one: one.line)
    new = changed = 0
    with record.act(by=by, what="register of units", why=why) as act:
        there = {one.key: one for one in act.things("unit")}
        for _, fields in found:
            before = there.get(key_of("unit", str(fields["serial"])))
            new += before is None
            changed += set_facts(act, fields) and before is not None
    return new, changed, []


def set_facts(act: Acting, fields: Mapping[str, Value]) -> bool:
    """Make a unit's facts these; whether that changed anything. What is not named stays as it is.

    Raises RecordError where a recalled lot would go out of sight.
    """
    serial = str(fields["serial"])
    fields = {**fields, "registered": True}
    key = key_of("unit", serial)
    before = act.thing("unit", key)
    if before is None:
        act.add("unit", key, fields)
        return True
    if all(before[name] == value for name, value in fields.items()):
        return False
    if "battery_lot" in fields and fields["battery_lot"] != before["battery_lot"]:
        fault = _hides_a_recall(before, fields, open_recalls(act.things("recall")))
        if fault is not None:
            raise RecordError(fault[1], where=fault[0], mend=fault[2])
    act.change("unit", key, {name: value for name, value in fields.items() if name != "serial"}, version=before.version)
    return True


def _hides_a_recall(
    before: Thing | None, fields: Mapping[str, Value], recalls: Mapping[tuple[str, str], Thing]
) -> tuple[str, str, str] | None:
    """Where, what and mend of facts that would free a unit of a recalled lot; a battery that came in its place, with
    its own lot and day, does not."""
    if before is None or before["battery_lot"] is None or "battery_lot" not in fields:
        return None
    was, lot = lot_form(before["battery_lot"]), lot_form(str(fields["battery_lot"] or ""))
    came = fields.get("battery_from_ms")
    if ("battery", was) not in recalls or lot == was or (lot and came not in (None, before["battery_from_ms"])):
        return None
    return (
        "battery_lot", f"{before['serial']} has the recalled lot {before['battery_lot']}",
        "Where its battery was changed, write the new lot and the day in battery_from.",
    )  # fmt: skip


def facts_from(serial: str, cells: Mapping[str, str]) -> dict[str, Value]:
    """The same from a form, by the names of COLUMNS. Raises RecordError naming the first field that is wrong."""
    fields: dict[str, Value] = {"serial": serial}
    for name, cell in cells.items():
        fault = _take(fields, name, cell.strip())
        if fault is not None:
            raise RecordError(fault[0], where=name, mend=fault[1])
    return fields


# --- use ------------------------------------------------------------------------------------------


def utilisation(record: Record, now_ms: int, days: int = 90) -> dict[str, Used]:
    """Days in use of the days for which each unit was known, in the last `days`; by the unit's key.

    A unit is known from the day it was bought, from its first pairing or from when it was entered, whichever came
    first; but never from before the record tells of any use or any unit: nobody knows who had it then. Time away
    (faulty, in service, lost) counts as known and not in use.
    """
    spans: dict[str, list[tuple[int, int]]] = {}
    for one in record.things("pairing"):
        end = now_ms if one["to_ms"] is None else min(one["to_ms"], now_ms)
        if one["from_ms"] < end:
            spans.setdefault(one["unit"], []).append((one["from_ms"], end))
    units = record.things("unit")
    begun = [*(unit.at_ms for unit in units), *(start for some in spans.values() for start, _ in some)]
    told_ms = min(begun, default=now_ms)
    found = {}
    for unit in units:
        mine = sorted(spans.get(unit.key, []))
        begins = [unit["bought_ms"]] if unit["bought_ms"] is not None else []
        begins += [mine[0][0]] if mine else []
        first = max(min([*begins, unit.at_ms]), told_ms, now_ms - days * DAY_MS)
        found[unit.key] = Used(_covered(mine, first, now_ms) / DAY_MS, max(now_ms - first, 0) / DAY_MS)
    return found


def fleet_use(used: Mapping[str, Used]) -> Used:
    return Used(sum(one.days_in_use for one in used.values()), sum(one.days_known for one in used.values()))


def _covered(spans: Sequence[tuple[int, int]], first: int, last: int) -> int:
    """Milliseconds of [first, last) that the spans cover; overlapping ones (two drains on one unit) count once."""
    total, reached = 0, first
    for start, end in spans:
        start, end = max(start, reached), min(end, last)
        if start < end:
            total, reached = total + end - start, end
    return total


def demand(record: Record, now_ms: int, history_d: int = 90) -> Demand:
    """How often units were taken and how long each was kept, for `equipment.shortage`.

    Two drains on one unit are one use. A use lasts until the unit was put back, where that is recorded; else until its
    pairing ended. Units that are away (faulty, in service, lost) or barred are not there to be used.
    """
    units = units_now(record, now_ms)
    usable = [one for one in units if one.state == "in_use" or (one.state not in AWAY and not one.bars)]
    asked, stays, ended, in_use = [], [], [], []
    first = now_ms
    pairings: dict[str, list[tuple[int, int | None]]] = {}
    for one in record.things("pairing"):
        pairings.setdefault(one["unit"], []).append((one["from_ms"], one["to_ms"]))
    for unit in units:
        back = [one.happened_ms or one.at_ms for one in unit.history if one["state"] == "ready"]
        for start, end in _joined(pairings.get(unit.key, [])):
            if start > now_ms:
                continue
            first = min(first, start)
            over = end is not None and end <= now_ms
            until = now_ms if end is None or not over else min((at for at in back if at >= end), default=end)
            if start > now_ms - history_d * DAY_MS:
                asked.append((now_ms - start) / DAY_MS)
            stays.append((until - start) / DAY_MS)
            ended.append(over)
            if not over:
                in_use.append((now_ms - start) / DAY_MS)
    known_d = min((now_ms - first) / DAY_MS, float(history_d))
    asked = [one for one in asked if one < int(known_d)]
    return Demand(known_d, asked, stays, ended, in_use, len(usable))


def _joined(spans: Sequence[tuple[int, int | None]]) -> list[tuple[int, int | None]]:
    """Spans in order, those that overlap or touch made one; None: it is not over."""
    found: list[tuple[int, int | None]] = []
    for start, end in sorted(spans, key=lambda one: one[0]):
        before = found[-1] if found else None
        if before is not None and (before[1] is None or start <= before[1]):
            found[-1] = (before[0], None if before[1] is None or end is None else max(before[1], end))
        else:
            found.append((start, end))
    return found
