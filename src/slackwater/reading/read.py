"""A log's bytes and its layout in, a `Log` out: every row used, or counted with its reason."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.errors import LayoutError, LogError, UsageError
from slackwater.quantities.spans import MINUTE_MS, format_span
from slackwater.reading.careful import MOST_SERIALS, CarefulReader, CarefulRow
from slackwater.reading.channels import channels
from slackwater.reading.decoding import utf8_text
from slackwater.reading.evidence import flow_notes, refuse_unit_slip, sign_notes
from slackwater.reading.excerpt import excerpt
from slackwater.reading.header import Header, read_header
from slackwater.reading.kernels import LONGEST_LINE
from slackwater.reading.layout import MICRO, Layout, start_ms, thousandths_per
from slackwater.reading.lines import count_lines
from slackwater.reading.log import NONE, TELLING_FLOWS, Ledger, Log, RefusedRow
from slackwater.reading.quick import QuickRows, quick_rows
from slackwater.reading.steps import Printed, usual_step

MOST_ROWS = 50_000_000
LISTED = 20  # refused rows named in the ledger
SKIPPED = 0.01  # of a log's seconds without a row, from which it is said: one in a hundred leaves few whole minutes


def read_log(data: bytes, layout: Layout, name: str, refuse_above: float = 0.05) -> Log:
    """Read a log by its layout.

    `name` is said in errors and kept. A file is refused for its encoding, header, units or zone, or
    when more than `refuse_above` (0..1) of its rows cannot be read. A blank flow is a row without a
    value, never zero and never a refusal.
    """
    if layout.unconfirmed:
        raise LayoutError(
            f"{layout.unconfirmed[0]} is not settled yet"
            + (f", nor are {len(layout.unconfirmed) - 1} more" if layout.unconfirmed[1:] else ""),
            where=layout.name,
            mend=f"Answer it, e.g. `--set {layout.unconfirmed[0]}=...`, or write it and empty `unconfirmed`.",
        )
    if not 0 <= refuse_above <= 1:
        raise UsageError(
            f"{refuse_above} is no share of the rows", where="refuse_above", mend="Give 0 to 1, e.g. 0.05."
        )
    text, begins = utf8_text(data, layout.log, name)
    header = read_header(text, begins, layout, name)
    lines = count_lines(text, header.begins)
    if lines > MOST_ROWS:
        raise LogError(f"over {MOST_ROWS:,} rows", where=name, mend="Export a shorter span, or split the file.")
    quick = quick_rows(text, layout, header, lines)
    if quick.too_long:
        raise LogError(
            f"the line is over {LONGEST_LINE // 1024} kB long",
            where=f"{name}, line {quick.too_long}",
            mend="Check the export, log.encoding and log.separator.",
        )
    read = len(quick.line) + len(quick.odd)
    if not read:
        raise LogError(
            "has a header and no rows", where=f"{name}, line {header.first_line - 1}", mend="Export the log again."
        )
    refusals = Refusals(name, read, refuse_above)
    careful = _careful_rows(text, layout, header, quick, refusals)
    rows = _joined(quick, careful, layout)
    holes = np.array([row.line for row in careful if row.refused is not None], np.int32)
    rows = _placed_in_time(rows, layout, refusals, holes)
    refusals.judge()
    if len(rows.line) == sum(row.refused is not None for row in careful):
        refusals.refuse("no row can be read")
    return _log(data, layout, name, header, rows, quick, careful, refusals)


class Refusals:
    """Counts refused rows, keeps the first few, and refuses the file when they are too many."""

    def __init__(self, name: str, read: int, refuse_above: float) -> None:
        self._name, self._read, self._share = name, read, refuse_above
        self.count = 0
        self.first: list[RefusedRow] = []

    def add(self, *rows: RefusedRow, more: int = 0) -> None:
        """Count `rows`, and `more` that come after them and are not listed."""
        self.count += len(rows) + more
        self.first = sorted([*self.first, *rows], key=lambda row: row.line)[:LISTED]

    @property
    def too_many(self) -> bool:
        return self.count > self._share * self._read

    def judge(self) -> None:
        if self.count and self.too_many:
            self.refuse(f"more than {self._share * 100:g} % of the {self._read} rows cannot be read")

    def refuse(self, what: str) -> None:
        row = self.first[0]
        where = f"{self._name}, line {row.line}" + (f", column {excerpt(row.column)}" if row.column else "")
        raise LogError(
            f"{what}; the first: {row.why}",
            where=where,
            mend="Set the layout right (`slackwater layout check`), or the export.",
        )


def _careful_rows(
    text: bytes, layout: Layout, header: Header, quick: QuickRows, refusals: Refusals
) -> list[CarefulRow]:
    """The rows among the lines that the quick walk left over; the rest is counted as refused."""
    reader = CarefulReader(layout, header)
    rows = []
    for at in range(0, len(quick.odd), 4096):  # bit by bit: there may be millions, and we may give up soon
        for line, start, end in quick.odd[at : at + 4096].tolist():
            row = reader.read(text[start:end].decode(), line)
            if isinstance(row, CarefulRow):
                rows.append(row)
            refused = row.refused if isinstance(row, CarefulRow) else row
            if refused is None:
                continue
            refusals.add(refused)
            if refusals.too_many:
                refusals.judge()
    return rows


@dataclass(frozen=True)
class _Rows:
    """Rows by column, in file order; `wall` marks stamps that are still wall-clock."""

    time_ms: NDArray[np.int64]
    wall: NDArray[np.bool_]
    line: NDArray[np.int32]
    values: list[NDArray[np.int32]]
    doubtful: NDArray[np.bool_]

    def only(self, keep: NDArray[np.bool_]) -> _Rows:
        return _Rows(
            self.time_ms[keep], self.wall[keep], self.line[keep], [v[keep] for v in self.values], self.doubtful[keep]
        )


def _joined(quick: QuickRows, careful: list[CarefulRow], layout: Layout) -> _Rows:
    time_ms, wall, line, values = quick.time_ms, quick.wall, quick.line, quick.values
    if careful:
        line = np.concatenate([line, np.array([row.line for row in careful], np.int32)])
        order = np.argsort(line, kind="stable")
        line = line[order]
        time_ms = np.concatenate([time_ms, np.array([row.ms for row in careful], np.int64)])[order]
        wall = np.concatenate([wall, np.array([row.wall for row in careful], np.bool_)])[order]
        added = np.array([row.values for row in careful], np.int32).T
        values = [np.concatenate([old, new])[order] for old, new in zip(values, added, strict=True)]
    if layout.time.format == "elapsed_s":
        time_ms = time_ms + start_ms(layout)
    return _Rows(time_ms, wall, line, values, np.zeros(len(line), np.bool_))


def _placed_in_time(rows: _Rows, layout: Layout, refusals: Refusals, holes: NDArray[np.int32]) -> _Rows:
    """Wall-clock stamps put on UTC; rows whose local time never happened are refused (`holes` were so already)."""
    if not rows.wall.any():
        return rows
    column = layout.time.columns[0]
    zone = layout.zone
    if zone is None:
        why = "the stamp carries no offset, and the layout names no time.zone"
        lost = np.setdiff1d(rows.line[rows.wall], holes)
        refusals.add(*(RefusedRow(int(at), column, why) for at in lost[:LISTED]), more=max(0, len(lost) - LISTED))
        return rows.only(~rows.wall)
    utc, twice, never = zone.to_utc(rows.time_ms if rows.wall.all() else rows.time_ms[rows.wall])
    if rows.wall.all():
        placed = replace(rows, time_ms=utc, doubtful=twice)
        gone = never
    else:
        time_ms, doubtful, gone = rows.time_ms.copy(), rows.doubtful.copy(), np.zeros(len(rows.line), np.bool_)
        time_ms[rows.wall], doubtful[rows.wall], gone[rows.wall] = utc, twice, never
        placed = replace(rows, time_ms=time_ms, doubtful=doubtful)
    if not gone.any():
        return placed
    why = f"this local time never happened in {zone.name} (the clocks went forward)"
    lost = np.setdiff1d(rows.line[gone], holes)
    refusals.add(*(RefusedRow(int(at), column, why) for at in lost[:LISTED]), more=max(0, len(lost) - LISTED))
    return placed.only(~gone)


def _log(
    data: bytes,
    layout: Layout,
    name: str,
    header: Header,
    rows: _Rows,
    quick: QuickRows,
    careful: list[CarefulRow],
    refusals: Refusals,
) -> Log:
    keys = [channel.key for channel in channels(layout) if channel.kind != "serial"]
    by_key = dict(zip(keys, rows.values, strict=True))
    flow = by_key["flow"]
    refuse_unit_slip(flow, rows.line, layout, name)
    every_ms, every_notes = _every(rows, layout, name)
    printed = Printed(
        quick.divisors,
        quick.distinct,
        tuple((row.flow, row.flow_places) for row in careful if row.flow is not None),
    )
    step, step_notes = _flow_step(printed, layout)
    serials, serial_notes = _serials(quick, careful)
    notes = [*layout.notes, *header.notes, *every_notes, *step_notes, *serial_notes]
    notes += flow_notes(flow, step, layout)
    suction_is = layout.pressure.suction_is if layout.pressure else ""
    notes += sign_notes(by_key.get("pressure"), by_key.get("set_suction"), suction_is)
    notes += _other_notes(data, rows, layout)
    ceiling = layout.flow.ceiling_ul_per_min
    unread = np.isin(rows.line, [row.line for row in careful if row.refused is not None])
    arrays: list[NDArray[Any]] = [rows.time_ms, rows.line, rows.doubtful, unread, *rows.values]
    for array in arrays:
        array.setflags(write=False)
    return Log(
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        time_ms=rows.time_ms,
        line=rows.line,
        flow_ul_per_min=flow,
        flow_max_ul_per_min=by_key.get("flow_max"),
        pressure_mcmh2o=by_key.get("pressure"),
        pressure_min_mcmh2o=by_key.get("pressure_min"),
        pressure_max_mcmh2o=by_key.get("pressure_max"),
        set_suction_mcmh2o=by_key.get("set_suction"),
        battery_percent=by_key.get("battery"),
        mains=by_key.get("mains"),
        fluid_ml=by_key.get("fluid"),
        state=by_key.get("state"),
        time_doubtful=rows.doubtful,
        unread=unread,
        every_ms=every_ms,
        every_declared=bool(layout.time.every),
        marks=layout.time.marks,
        statistic=layout.flow.statistic,
        flow_step_ul_per_min=step,
        flow_digit_ul_per_min=_digit(printed, layout),
        flow_step_declared=bool(layout.flow.step),
        rounding=layout.flow.rounding,
        flow_ceiling_ul_per_min=NONE if ceiling is None else ceiling,
        serials=serials,
        zone=_zone_said(rows, layout),
        ledger=Ledger(
            read=len(quick.line) + len(quick.odd),
            used=int(np.count_nonzero(~unread)),
            refused=refusals.count,
            first_refused=tuple(refusals.first),
            blank_lines=quick.blank_lines,
        ),
        notes=tuple(notes),
        layout=layout.as_tables(),
    )


def _every(rows: _Rows, layout: Layout, name: str) -> tuple[int, list[str]]:
    """How long a row stands for: as declared, or the usual step between rows whose instant is known."""
    some_sure = rows.doubtful.any() and not rows.doubtful.all()
    usual = usual_step(rows.time_ms[~rows.doubtful] if some_sure else rows.time_ms)
    declared = layout.time.every_ms
    if declared is None:
        if not usual.every_ms:
            raise LogError(
                "has fewer than two different instants, so how long a row stands for cannot be found",
                where=name,
                mend='Write time.every in the layout, e.g. every = "1 s".',
            )
        notes = [f"a row stands for {_span(usual.every_ms)}, the usual step between rows"]
        if usual.share < 0.5:
            notes.append(f"the rows are irregular: only {usual.share:.0%} of the steps are near the usual one")
        skipped = np.count_nonzero(np.diff(rows.time_ms) == 2000) / len(rows.time_ms)
        if usual.every_ms == 1000 and skipped >= SKIPPED:  # stamps in whole seconds cannot tell 1.06 s from a lost row
            notes.append(
                f"{skipped:.0%} of the rows are stamped 2 s after the one before, so few minutes count as recorded "
                'throughout; if no row was lost and the unit writes a little slower, declare time.every = "2 s"'
            )
        return usual.every_ms, notes
    if usual.every_ms and not 0.9 * declared <= usual.every_ms <= 1.1 * declared:
        return declared, [
            f"the layout says a row stands for {_span(declared)}, but the usual step between rows is "
            f"{_span(usual.every_ms)}"
        ]
    return declared, []


def _span(ms: int) -> str:
    return format_span(ms / 1000) if ms % 1000 == 0 and ms % MINUTE_MS in (0, ms) else f"{ms / 1000:g} s"


def _flow_step(printed: Printed, layout: Layout) -> tuple[int, list[str]]:
    """What the display can tell apart, µL/min: as declared, or found from the printed values.

    Many different flows share the step as their divisor. A few may share more by chance (one flow is always
    its own divisor), so then one unit of the last printed digit is taken, and the log says so.
    """
    declared = layout.flow.step_ul_per_min
    if declared is not None:
        return declared, []
    per = thousandths_per(layout.flow.unit, "flow")
    divisor, last_digit = printed.divisor(), printed.last_digit()
    if divisor is not None and printed.different >= TELLING_FLOWS:
        step = round(divisor * per)
        few = f", from only {printed.different} different values" if printed.different < 20 else ""
        return step, [f"the flow's step is {step / MICRO:g} mL/min as found in the log{few}; the layout declares none"]
    if last_digit is None:
        return 0, []
    step = round(last_digit * per)
    why = "every flow is zero" if divisor is None else f"the log holds only {printed.different} different flows"
    return step, [
        f"{why}, so its step cannot be found; the last printed digit, {step / MICRO:g} mL/min, "
        "is the least it can be: declare flow.step"
    ]


def _digit(printed: Printed, layout: Layout) -> int:
    last = printed.last_digit()
    return 0 if last is None else round(last * thousandths_per(layout.flow.unit, "flow"))


def _serials(quick: QuickRows, careful: list[CarefulRow]) -> tuple[tuple[str, ...], list[str]]:
    """Distinct serial numbers of used rows, in order of appearance."""
    seen = sorted([*quick.serials, *((row.line, row.serial) for row in careful if row.serial)])
    serials = tuple(dict.fromkeys(text for _, text in seen))[:MOST_SERIALS]
    if len(serials) < 2:
        return serials, []
    more = "at least " if len(serials) == MOST_SERIALS else ""
    return serials, [f"the log names {more}{len(serials)} serial numbers: more than one unit wrote it"]


def _other_notes(data: bytes, rows: _Rows, layout: Layout) -> list[str]:
    notes = []
    doubtful = int(np.count_nonzero(rows.doubtful))
    if doubtful:
        notes.append(
            f"{doubtful} rows have a local time that happened twice in {layout.time.zone}; their instant cannot be told"
        )
    if layout.set_suction is not None and layout.pressure is not None:
        if not layout.set_suction.unit:
            notes.append(f"the set suction is read in {layout.pressure.unit}, as [pressure] is")
        if not layout.set_suction.suction_is:
            notes.append(f"the set suction is read as {layout.pressure.suction_is} where it sucks, as [pressure] is")
    if layout.log.encoding != "utf-16" and not data.endswith((b"\n", b"\r")):
        notes.append("the last line has no line end: it may have been cut off")
    return notes


def _zone_said(rows: _Rows, layout: Layout) -> str:
    """How stamps were read, for the report."""
    if layout.time.format in ("epoch_s", "epoch_ms"):
        return "UTC (seconds since 1970)" if layout.time.format == "epoch_s" else "UTC (ms since 1970)"
    if layout.time.format == "elapsed_s":
        return f"counted from {layout.time.start}" + (f" in {layout.time.zone}" if layout.time.zone else "")
    if not rows.wall.any():
        return "offset in each stamp"
    return layout.time.zone if rows.wall.all() else f"offset in the stamp, else {layout.time.zone}"
