"""How a past drain was charted: what the rule's schedule asked for, how late it was written, how long was silence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median

import polars

from slackwater.assessment.due import OBSERVATIONS, observed_times
from slackwater.audit.case import Case
from slackwater.protocol.measures import REMOVED
from slackwater.protocol.rule import Due, Edge
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS

GRACE_S = 1800  # an observation half an hour late is on time. Ours
COLUMNS = ("time_ms", "recorded_ms", "item")


@dataclass(frozen=True)
class Kept:
    """Occasions on which the schedule asked for an item: charted by then, charted late, not charted before the next."""

    on_time: int = 0
    late: int = 0
    missed: int = 0

    @property
    def due(self) -> int:
        return self.on_time + self.late + self.missed

    def __add__(self, other: Kept) -> Kept:
        return Kept(self.on_time + other.on_time, self.late + other.late, self.missed + other.missed)


@dataclass(frozen=True)
class Charting:
    """kept: by item of the schedule. late_min: of entries whose writing time differs from their own, how much later;
    at_once: entries in which it does not (written at once, or not told). silence_h: the longest time without an entry.
    """

    entries: int
    kept: Mapping[str, Kept] = field(default_factory=dict)
    late_min: float | None = None
    written_later: int = 0
    at_once: int = 0
    silence_h: float | None = None


def charting(case: Case, schedule: Sequence[Due], rows: polars.DataFrame) -> Charting:
    """rows: the cohort's chart table of this drain. What came before connection or after removal is left out."""
    there = rows.filter(polars.col("time_ms").is_between(case.from_ms, case.until_ms))
    told = there.filter(polars.col("number").is_not_null() | polars.col("word").is_not_null())
    times: dict[str, list[int]] = {}
    for item, at in told.select("item", "time_ms").iter_rows():
        times.setdefault(item, []).append(at)
    times = {item: sorted(found) for item, found in times.items()}
    times[OBSERVATIONS] = observed_times(times)
    kept: dict[str, Kept] = {}
    for due in schedule:
        found = _kept(due, times.get(due.item, []), case)
        if found.due:
            kept[due.item] = kept.get(due.item, Kept()) + found
    lateness = (there["recorded_ms"] - there["time_ms"]).to_list()
    later = [ms / MINUTE_MS for ms in lateness if ms > 0]
    moments = [case.from_ms, *sorted(there["time_ms"].to_list()), case.until_ms]
    silence = max(b - a for a, b in pairwise(moments)) / HOUR_MS
    return Charting(
        len(there), kept, median(later) if later else None, len(later), len(lateness) - len(later),
        silence if len(there) else None,
    )  # fmt: skip


def _kept(due: Due, times: Sequence[int], case: Case) -> Kept:
    """Occasions of one entry of the schedule while the drain was in. What is shortened by a score is not followed."""
    start = case.from_ms if due.start is None else _at(due.start, case)
    if start is None or (due.start is not None and due.start.event == REMOVED):
        return Kept()
    end = case.until_ms
    if due.until is not None and (until := _at(due.until, case)) is not None:
        end = min(end, until)
    grace = GRACE_S * 1000
    if due.every_s is None:
        assert due.within_s is not None
        by = start + round(due.within_s * 1000)
        if by > end:
            return Kept()
        first = next((at for at in times if at >= start), None)
        return Kept(missed=1) if first is None else Kept(on_time=1) if first <= by + grace else Kept(late=1)
    every = round(due.every_s * 1000)
    found, base = Kept(), start
    while (at := base + every) <= end:
        by_then = [one for one in times if base < one <= at + grace]
        after = next((one for one in times if at + grace < one <= min(at + every, end)), None)
        found += Kept(on_time=1) if by_then else Kept(late=1) if after is not None else Kept(missed=1)
        base = by_then[-1] if by_then else after if after is not None else at
    return found


def _at(edge: Edge, case: Case) -> int | None:
    """When the edge first came; None: that event is not recorded."""
    times = case.facts.events.get(edge.event, ())
    return times[0] + round(edge.plus_s * 1000) if times else None
