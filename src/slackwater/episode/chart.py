"""A chart as staff typed it (CSV, long): read whole or refused, and as known at a moment."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from datetime import tzinfo
from typing import TypeVar

from slackwater.episode.instants import WITH_OFFSET, read_instant, read_zone
from slackwater.episode.items import ITEMS
from slackwater.episode.line_list import line_list
from slackwater.episode.plain_text import plain_text
from slackwater.episode.slots import settle
from slackwater.episode.spelling import nearest, one_slip_apart, plain_word
from slackwater.episode.table import rows_of
from slackwater.episode.types import Chart, Entry, Instant
from slackwater.episode.values import read_value
from slackwater.errors import ChartError, QuantityError

_T = TypeVar("_T")
_NO_ZONE = "Write the offset, e.g. 2033-09-13T15:19:00+02:00, or say the zone of the chart with --zone."


def read_chart(data: bytes, name: str, zone: str | None = None) -> Chart:
    """Read the columns `time,item,value,unit,note` and, if there, `drain,recorded,by`.

    `name` is what errors call the file; `zone` (IANA name, 'UTC' or '+02:00') is where its local
    times are read, and times with an offset need none. A row that cannot be read refuses the whole
    chart with ChartError naming line, column and mend: charts are short, and nothing is half-read.
    An item that is not known here is kept with `known` False. One that is a slip of the pen away from
    a known item counts as that item left blank: passing over it would make a total too small, and
    taking its value would be a guess.
    """
    text = plain_text(data, name, ChartError)
    in_zone = None
    if zone is not None:
        in_zone = _or_refuse(lambda: read_zone(zone), f"{name}, its zone")
    entries = [_entry(cells, line, f"{name}, line {line}", in_zone) for line, cells in rows_of(text, name)]
    return chart_of(entries, name=name, sha256=hashlib.sha256(data).hexdigest())


def known_at(chart: Chart, now: Instant) -> Chart:
    """The chart as it stood at `now`: what had been recorded by then, with its own conflicts and repeats.

    Later rows leave no trace in entries, counts or notes.
    """
    rows = [entry for entry in chart.entries + chart.repeats if max(entry.recorded, entry.time) <= now]
    return chart_of(rows, name=chart.name, sha256=chart.sha256)


def chart_of(rows: Iterable[Entry], name: str = "", sha256: str = "", sole_drain: str | None = None) -> Chart:
    """A chart of these rows: each counted once, conflicts marked, ordered, with its notes.

    `sole_drain` is the drain that rows without a drain belong to, where only one is known.
    """
    entries, repeats = settle(rows, sole_drain)
    conflicting = sum(entry.conflict for entry in entries)
    return Chart(
        entries=entries,
        sha256=sha256,
        name=name,
        read=len(entries) + len(repeats),
        used=len(entries) - conflicting,
        duplicate=len(repeats),
        conflicting=conflicting,
        notes=tuple(_notes(entries)),
        repeats=repeats,
    )


def _entry(cells: dict[str, str], line: int, where: str, zone: tzinfo | None) -> Entry:
    no_zone = WITH_OFFSET if zone else _NO_ZONE
    time = _or_refuse(lambda: read_instant(cells["time"], zone, no_zone), f"{where}, column time")
    written = cells.get("recorded", "")
    recorded = time
    if written:
        recorded = _or_refuse(lambda: read_instant(written, zone, no_zone), f"{where}, column recorded")
    name, written = _item_name(cells["item"], where)
    item = ITEMS.get(name)
    value: float | str | None = None if written else cells["value"] or None
    if item is not None and not written:
        try:
            value = read_value(item, cells["value"], cells["unit"])
        except ChartError as error:
            raise error.at(where) from error
    return Entry(
        time=time,
        recorded=max(time, recorded),
        item=name,
        value=value,
        text=f"{written} {cells['value']} {cells['unit']}".strip(),
        note=cells["note"],
        drain=" ".join(cells.get("drain", "").split()) or None,
        by=cells.get("by", ""),
        line=line,
        known=item is not None,
        recorded_early=recorded < time,
        written=written,
    )


def _item_name(text: str, where: str) -> tuple[str, str]:
    """The item, and how it was written if that is a slip of the pen away from it."""
    name = plain_word(text)
    if not name:
        raise ChartError("no item is named", where=f"{where}, column item", mend="Write e.g. fluid_output.")
    if name not in ITEMS:
        for known in ITEMS:
            if one_slip_apart(name, known) or name.replace("_", "") == known.replace("_", ""):
                return known, name
    return name, ""


def _or_refuse(read: Callable[[], _T], where: str) -> _T:
    try:
        return read()
    except QuantityError as error:
        raise ChartError(error.what, where=where, mend=error.mend) from error


def _notes(entries: tuple[Entry, ...]) -> Iterable[str]:
    """What a reader of the chart should know about how it was taken."""
    strange: dict[str, list[int]] = {}
    for entry in entries:
        if not entry.known:
            strange.setdefault(entry.item, []).append(entry.line)
    slips: dict[tuple[str, str], list[int]] = {}
    for entry in entries:
        if entry.written:
            slips.setdefault((entry.written, entry.item), []).append(entry.line)
    for (written, item), lines in slips.items():
        yield (
            f"MISSPELT: {written} ({line_list(lines)}) looks like {item}: its value is not used, and counts as left "
            f"blank. Write {item}."
        )
    for item, lines in strange.items():
        close = nearest(item, ITEMS)
        guess = f" Was {close} meant?" if close else ""
        yield f"{item} ({line_list(lines)}) is not an item known here: shown, never used.{guess}"
    early = [entry.line for entry in entries if entry.recorded_early]
    if early:
        yield f"Recorded before the time they speak of, and known only from that time: {line_list(early)}."
    unsigned = [e.line for e in entries if _suction_without_minus(e)]
    if unsigned:
        yield f"Suction written without a minus sign is read as suction: {line_list(unsigned)}."
    conflicts = [entry.line for entry in entries if entry.conflict]
    if conflicts:
        yield f"Different things are said of one moment, and neither is used: {line_list(conflicts)}."


def _suction_without_minus(entry: Entry) -> bool:
    return entry.item in ("suction_ordered", "suction_delivered") and (
        isinstance(entry.value, float) and entry.value != 0 and entry.text[0] not in "-−"
    )
