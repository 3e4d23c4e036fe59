"""How each moment of a past stay stood to the rule: met, over the limit, waiting for one thing or several, not known.

Every hour from connection to removal lies in exactly one part, so the parts add up to the whole.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from slackwater.audit.case import Case, Hold
from slackwater.audit.replay import end_of, minutes_in
from slackwater.protocol.evaluation import Evaluation, Judged
from slackwater.protocol.status import HOLDS, Codes, Status
from slackwater.quantities.spans import MINUTE_MS

MET_TO_END, MET_BROKEN = "met, up to the removal", "met, but not up to the removal"
AIR_OVER, AIR_UNTOLD = "air clause not met", "air clause cannot be told"
ONE, SEVERAL = "air clause met, waiting for one thing", "air clause met, waiting for several"
OUTSIDE = "the rule is not for this drain"
PARTS = (AIR_OVER, AIR_UNTOLD, ONE, SEVERAL, MET_BROKEN, MET_TO_END, OUTSIDE)

WHOM = "whom the rule is for"
VETO = "a veto"
SEVERAL_REASONS = "several reasons"
Span = tuple[int, int]  # UTC ms, from and to
Wait = tuple[str, str]  # (clause or guard, 'not met' or 'cannot tell')


@dataclass(frozen=True, eq=False)
class Standing:
    """One stay under one rule, in stretches: stretch i lasts from edges[i] to edges[i + 1], UTC ms.

    A minute is judged at its end, so what is concluded there stands until the next minute's end.
    """

    edges: NDArray[np.int64]
    overall: Codes
    air: Codes | None  # None: the rule asks nothing of air
    others: Mapping[str, Codes]  # every other clause, guard and veto

    @property
    def lengths(self) -> NDArray[np.int64]:
        return np.diff(self.edges)

    @property
    def met(self) -> NDArray[np.bool_]:
        return np.isin(self.overall, HOLDS)

    @property
    def first_met_ms(self) -> int | None:
        there = np.flatnonzero(self.met & (self.lengths > 0))
        return int(self.edges[there[0]]) if len(there) else None

    @property
    def met_to_end_ms(self) -> int | None:
        """From when it was met without a break up to the last moment; None if it was not met then."""
        return self._after(self.met)

    @property
    def perhaps_met_to_end_ms(self) -> int | None:
        """The same, if all that cannot be told had been met."""
        return self._after(self.overall != Status.NOT_MET)

    def _after(self, good: NDArray[np.bool_]) -> int | None:
        there = self.lengths > 0
        if not there.any() or not good[there][-1]:
            return None
        worse = np.flatnonzero(~good & there)
        start = int(worse[-1]) + 1 if len(worse) else 0
        return int(self.edges[start])


def standing(case: Case, found: Evaluation) -> Standing:
    """The stay in stretches, from connection to the removal (or the last that is known)."""
    m, start = minutes_in(case), case.facts.grid_start_ms
    inner = [start, *(end_of(case, k) for k in range(m))] if m else []
    edges = np.clip(
        np.array([case.from_ms, *inner, case.until_ms], np.int64), case.from_ms, max(case.until_ms, case.from_ms)
    )
    rule = found.protocol
    air = rule.air_clause
    parts = {part.id: part for part in found.criteria}
    others = {
        name: _aligned(case, one.timeline, one.status, m)
        for name, one in parts.items()
        if air is None or name != air.id
    }
    for guard in (*found.guards, *found.lifted):
        name = VETO if guard.id.startswith("veto_") else guard.id
        codes = _aligned(case, guard.timeline, guard.status, m)
        others[name] = np.minimum(codes, others[name]) if name in others else codes
    if found.population.status is Status.CANNOT_TELL:
        others[WHOM] = np.full(len(edges) - 1, Status.CANNOT_TELL, np.int8)
    air_part: Judged | None = None if air is None else parts.get(air.id)
    return Standing(
        edges, _aligned(case, found.timeline, found.overall, m),
        None if air_part is None else _aligned(case, air_part.timeline, air_part.status, m), others,
    )  # fmt: skip


def at_removal(case: Case, found: Evaluation) -> Status:
    """How the rule stood when the drain came out, as the record tells it now, looking back."""
    m = minutes_in(case)
    if case.facts.now_ms == case.until_ms:
        return found.overall
    return Status(int(_aligned(case, found.timeline, found.overall, m)[-1]))


def _aligned(case: Case, timeline: Codes, now: Status, m: int) -> Codes:
    """A code for each stretch: before the grid, its first minute, after each minute's end.

    Nothing was judged before the first minute ended, so nothing is met there. Behind the last minute (the log ended
    before the removal) a status stands only where judging at the removal itself still gave it.
    """
    unknown = np.int8(Status.CANNOT_TELL)
    if not m:
        return np.array([unknown], np.int8)
    codes = np.concatenate(([unknown, min(timeline[0], unknown)], timeline[:m])).astype(np.int8)
    if case.until_ms - end_of(case, m - 1) >= MINUTE_MS and not (
        case.facts.now_ms == case.until_ms and now == timeline[m - 1]
    ):
        codes[-1] = unknown
    return codes


def parts_of(stood: Standing) -> tuple[dict[str, int], dict[Wait, int]]:
    """ms in each part of PARTS; and of those in ONE, what was waited for."""
    lengths, met = stood.lengths, stood.met
    rest = ~met
    from_end = stood.met_to_end_ms
    to_end = met & (stood.edges[:-1] >= from_end) if from_end is not None else np.zeros_like(met)
    outside = stood.overall == Status.NOT_APPLICABLE
    air = stood.air if stood.air is not None else np.full(len(lengths), Status.NOT_APPLICABLE, np.int8)
    over, untold = (rest & ~outside & (air == status) for status in (Status.NOT_MET, Status.CANNOT_TELL))
    waiting = rest & ~outside & ~over & ~untold
    names = list(stood.others)
    open_ = np.array([stood.others[name] <= Status.CANNOT_TELL for name in names]).reshape(len(names), len(lengths))
    count = open_.sum(axis=0)
    flags = {
        AIR_OVER: over, AIR_UNTOLD: untold, ONE: waiting & (count == 1), SEVERAL: waiting & (count != 1),
        MET_BROKEN: met & ~to_end, MET_TO_END: to_end, OUTSIDE: outside,
    }  # fmt: skip
    waits: dict[Wait, int] = {}
    for name, row in zip(names, open_, strict=True):
        for status, word in ((Status.NOT_MET, "not met"), (Status.CANNOT_TELL, "cannot tell")):
            ms = int(lengths[flags[ONE] & row & (stood.others[name] == status)].sum())
            if ms:
                waits[name, word] = ms
    return {part: int(lengths[flag].sum()) for part, flag in flags.items()}, waits


# --- what is taken off: coded holds, and the night -------------------------------------------------


def held(holds: Sequence[Hold], span: Span) -> tuple[list[tuple[Span, str]], list[Span]]:
    """The stretches of `span` in which the drain was kept for coded reasons, each once; and those that are left."""
    ends = [
        (max(one.from_ms, span[0]), min(span[1] if one.to_ms is None else one.to_ms, span[1]), one.reason)
        for one in holds
    ]
    cuts = sorted({*span, *(at for begin, end, _ in ends if end > begin for at in (begin, end))})
    kept, left = [], []
    for begin, end in pairwise(cuts):
        reasons = {reason for a, b, reason in ends if a <= begin and end <= b}
        if reasons:
            kept.append(((begin, end), reasons.pop() if len(reasons) == 1 else SEVERAL_REASONS))
        else:
            left.append((begin, end))
    return kept, left


def by_day(span: Span, zone: tzinfo, hours: tuple[int, int]) -> int:
    """ms of the span between these hours of the ward's clock."""
    return sum(max(0, min(span[1], end) - max(span[0], begin)) for begin, end in _days(span, zone, hours))


def _days(span: Span, zone: tzinfo, hours: tuple[int, int]) -> Iterator[Span]:
    local = [datetime.fromtimestamp(at / 1000, UTC).astimezone(zone).date() for at in span]
    day = local[0]
    while day <= local[1]:
        begin, end = (datetime(day.year, day.month, day.day, hour, tzinfo=zone) for hour in hours)
        yield round(begin.timestamp() * 1000), round(end.timestamp() * 1000)
        day += timedelta(days=1)
