"""What the rule wants charted, and when each is due: by the time since an event, and by the patient's score."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from slackwater.protocol.measures import REMOVED
from slackwater.protocol.rule import Due, Edge

Events = Mapping[str, Sequence[int]]  # sorted instants, UTC ms; facts have them so


@dataclass(frozen=True)
class Scored:
    """An early-warning score of one set of readings. `points` None: not computed; `least`: what is known of it."""

    points: int | None
    least: int
    single: bool  # one reading alone gives 3
    at_ms: int


@dataclass(frozen=True)
class Charted:
    """What there is to go by: when each item was charted (UTC ms, sorted), what happened, and the latest scores.

    `connected_ms`: since when the drain has been there. `scores`: the latest complete set, and what came after it.
    """

    times: Mapping[str, Sequence[int]]
    events: Events
    connected_ms: int | None
    scores: tuple[Scored, ...] = ()


@dataclass(frozen=True)
class DueNow:
    """One item: how often, when it was last charted, when it is due. None: not known. `because`: what set the pace."""

    item: str
    every_s: float | None  # None: once
    last_ms: int | None
    due_ms: int | None
    because: str = ""
    due: Due | None = field(default=None, compare=False)


def due_now(schedule: Sequence[Due], charted: Charted, now_ms: int) -> tuple[DueNow, ...]:
    """What is to be charted at this moment, each item once, in the order of the file.

    An entry counts while its `from` has come and its `until` has not; an event that nobody recorded has not come. Of
    several entries of one item the one due first counts. Once the drain is out only what counts from `removed` does.
    A score shortens an interval, never lengthens it. What is looked at once is due until it was charted after `from`.
    """
    found: dict[str, DueNow] = {}
    out = _at(Edge(REMOVED, 0), charted.events, now_ms) is not None
    for due in schedule:
        if out and (due.start is None or due.start.event != REMOVED):
            continue
        start = charted.connected_ms if due.start is None else _at(due.start, charted.events, now_ms)
        if due.start is not None and (start is None or now_ms < start):
            continue
        end = None if due.until is None else _at(due.until, charted.events, now_ms)
        if end is not None and now_ms >= end:
            continue
        one = _one(due, charted, start, now_ms)
        held = found.get(due.item)
        if one is not None and (held is None or _sooner(one, held)):
            found[due.item] = one
    return tuple(found.values())


def after_removal(schedule: Sequence[Due], removed_ms: int) -> dict[str, int]:
    """When each item that counts from the removal is first due; an item the rule does not name is not in it."""
    found: dict[str, int] = {}
    for due in schedule:
        if due.start is not None and due.start.event == REMOVED:
            spans = (due.within_s, due.every_s)
            first = removed_ms + round(1000 * (due.start.plus_s + next(s for s in spans if s is not None)))
            found[due.item] = min(first, found.get(due.item, first))
    return found


def _one(due: Due, charted: Charted, start: int | None, now_ms: int) -> DueNow | None:
    times = [time for time in charted.times.get(due.item, ()) if time <= now_ms]
    last = times[-1] if times else None
    if due.every_s is None:
        assert due.within_s is not None and start is not None
        if last is not None and last >= start:
            return None
        return DueNow(due.item, None, last, start + round(due.within_s * 1000), _since(due), due)
    every, why = _paced(due, charted, now_ms)
    base = max((time for time in (last, start) if time is not None), default=None)
    at = None if base is None else base + round(every * 1000)
    return DueNow(due.item, every, last, at, why or _since(due), due)


def _paced(due: Due, charted: Charted, now_ms: int) -> tuple[float, str]:
    """The shortest interval that the scores ask for, and why; the entry's own where none does."""
    assert due.every_s is not None
    every, why = due.every_s, ""
    for score in charted.scores:
        if score.at_ms > now_ms:
            continue
        for band in due.bands:
            holds = score.single if band.at_least is None else score.least >= band.at_least
            if holds and band.every_s < every:
                told = f"at least {score.least}" if score.points is None else f"{score.points}"
                alone = "one reading alone gives 3"
                every, why = band.every_s, alone if band.at_least is None else f"early-warning score {told}"
    complete = any(score.points is not None for score in charted.scores)
    if due.bands and not complete and not why:
        why = "early-warning score not computed: it may ask for more"
    return every, why


def _at(edge: Edge, events: Events, now_ms: int) -> int | None:
    """When the edge of a window comes, by the last such event until now."""
    times = [time for time in events.get(edge.event, ()) if time <= now_ms]
    return times[-1] + round(edge.plus_s * 1000) if times else None


def _sooner(one: DueNow, other: DueNow) -> bool:
    return one.due_ms is not None and (other.due_ms is None or one.due_ms < other.due_ms)


def _since(due: Due) -> str:
    return "" if due.start is None else f"counted from {due.start.event}"
