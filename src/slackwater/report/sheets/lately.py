"""What a stretch of a drain's course held: the leak's states in it, what was done and seen, what was ordered."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from slackwater.episode.items import ITEMS
from slackwater.episode.space import entries_for
from slackwater.episode.types import Entry
from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.extent import minutes_shown, not_judged
from slackwater.report.marks import Mark, marks
from slackwater.report.sheets.material import Material
from slackwater.report.times import exactly, twice
from slackwater.report.trend import spent
from slackwater.report.words import amount, plain


@dataclass(frozen=True)
class Happened:
    """One thing at one moment; who wrote it, and where it comes from."""

    at_ms: int
    what: str
    by: str
    source: str


def leak_between(of: Material, from_ms: int, to_ms: int) -> str:
    """How long the air was in which state, and the largest reading; what was not recorded says so."""
    found = of.found
    leak = None if found is None else found.leak_trace
    if found is None or leak is None:
        return "no log of air flow"
    start, count = minutes_shown(found)
    first = min(max(0, (from_ms - start) // MINUTE_MS), count)
    part = slice(first, min(count, max(first, -((start - to_ms) // MINUTE_MS))))
    if part.stop <= part.start:
        return "nothing of it lies in the log"
    said = []
    if not_judged(found) is None:
        said += spent(leak, part)
    largest = leak.minutes.flow_max[part]
    if not np.isfinite(largest).any():
        return ", ".join([*said, "no air flow was recorded, which is not a flow of zero"])
    at = int(np.nanargmax(largest))
    at_ms = leak.minutes.start_ms + (part.start + at) * MINUTE_MS
    when = exactly(at_ms, of.zone, twice(from_ms, to_ms, of.zone), day=False)
    return ", ".join([*said, f"largest reading {amount(float(largest[at]))} mL/min at {when}"])


def marks_between(of: Material, from_ms: int, to_ms: int) -> tuple[Mark, ...]:
    if of.found is None:
        return ()
    return tuple(mark for mark in marks(of.found) if from_ms <= mark.at_ms <= to_ms)


def happened_between(of: Material, from_ms: int, to_ms: int) -> tuple[Happened, ...]:
    """Every chart row, order, hold and task of these hours, and what the record itself tells; in order of time."""
    return tuple(sorted(_happened(of, from_ms, to_ms), key=lambda one: (one.at_ms, one.source, one.what)))


def _happened(of: Material, from_ms: int, to_ms: int) -> Iterator[Happened]:
    def inside(ms: int | None) -> bool:
        return ms is not None and from_ms <= ms <= to_ms

    if of.found is not None:
        for entry in entries_for(of.found.chart, "space", of.found.episode).entries:
            if inside(entry.time):
                yield Happened(entry.time, entry_words(entry), _by(entry, of), "chart")
        for mark in marks(of.found):
            if mark.kind == "record" and inside(mark.at_ms):
                yield Happened(mark.at_ms, mark.words, "", "log")
    if of.course is None:
        return
    for order in of.course.orders:
        what = " ".join(
            one for one in (f"{plain(order['kind'])} ordered", _level(order["level"], order["unit"])) if one
        )
        off = order["may_be_off_min"]
        more = [f"may be off for {off} min" if off is not None else "", order["reason"] or ""]
        said = "; ".join(one for one in (what, *more) if one)
        if inside(order["from_ms"]):
            yield Happened(order["from_ms"], said, "", "order")
        if inside(order["until_ms"]):
            yield Happened(order["until_ms"], f"{what}: ended", "", "order")
    for hold in of.course.holds:
        note = f": {hold['note']}" if hold["note"] else ""
        if inside(hold["from_ms"]):
            yield Happened(hold["from_ms"], f"drain to be kept, {plain(hold['reason'])}{note}", "", "hold")
        if inside(hold["to_ms"]):
            yield Happened(hold["to_ms"], f"no longer to be kept ({plain(hold['reason'])})", "", "hold")
    for task in (*of.course.tasks, *of.course.checks):
        if inside(task["done_ms"]):
            result = f": {task['result']}" if task["result"] else ""
            yield Happened(task["done_ms"], f"done: {plain(task['what'])}{result}", task["done_by"] or "", task.noun)
    if of.course.removal is not None and inside(of.course.removal["time_ms"]):
        out = of.course.removal
        yield Happened(out["time_ms"], f"drain out, {plain(out['kind'])}", out["removed_by"] or "", "removal")


def entry_words(entry: Entry) -> str:
    """A chart row as it was written, with its unit."""
    name = entry.item.replace("_", " ")
    if entry.conflict:
        return f"{name}: two entries disagree ({entry.text})"
    if entry.value is None:
        return f"{name}: left blank"
    item = ITEMS.get(entry.item)
    free = item is None or item.kind == "text"
    text = entry.text if free else entry.text.replace("_", " ")
    return f"{name}: {text}" + (f" ({entry.note})" if entry.note else "")


def _by(entry: Entry, of: Material) -> str:
    late = entry.recorded - entry.time > 5 * MINUTE_MS
    apart = late and twice(entry.time, entry.recorded, of.zone)
    written = f"written {exactly(entry.recorded, of.zone, apart, day=False)}" if late else ""
    return ", ".join(one for one in (entry.by, written) if one)


def _level(level: str | None, unit: str | None) -> str:
    return "" if level is None else f"{level.replace('_', ' ').replace('-', '−')} {unit or ''}".strip()
