"""When each rule of a grid first held in one drain: what the evaluator says, without asking it for every rule.

All limits and lengths are answered in one pass over the windows of the air clause; whatever else the rule asks is
judged once. Where the rule bears gaps, or a leak on effort depends on the limit, it is done limit by limit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from slackwater.audit.case import Case, facts_at
from slackwater.audit.first_hold import NEVER, first_holds
from slackwater.audit.replay import CANNOT_TELL, MET, NEVER_MET, OUTSIDE, known, least_means, minutes_in
from slackwater.audit.variants import Grid, Variant, air_of, varied
from slackwater.protocol.clauses import judge_clause
from slackwater.protocol.evaluate import judge_whom
from slackwater.protocol.facts import Facts, Signal
from slackwater.protocol.guards import judge_guards
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.signals import first_minute, too_coarse
from slackwater.protocol.status import Codes, Status, all_of_codes
from slackwater.protocol.windows import SCALE, window_bounds
from slackwater.quantities.spans import MINUTE_MS

Longs = NDArray[np.int64]
Flags = NDArray[np.bool_]
Shorts = NDArray[np.int16]


@dataclass(frozen=True, eq=False)
class Tried:
    """A grid over one drain; arrays in the order of `grid.variants()`, NaN: none.

    first_ms: UTC ms, -1: never. could_ms: the first moment at which it could have been met, -1: never. came_back_h:
    hours from first_ms to the first window that broke the limit for certain, while the drain was in; largest: of the
    windows' least means from then on, mL/min. watched_h: how much of the time from first_ms is recorded and free of
    doubt, 0 where it was never met.
    """

    verdict: tuple[str, ...]
    first_ms: Longs
    could_ms: Longs
    came_back_h: NDArray[np.float64]
    largest_ml_per_min: NDArray[np.float64]
    watched_h: NDArray[np.float64]


def tried(case: Case, rule: Protocol, grid: Grid) -> Tried:
    """When each variant was first met before the drain came out, and what leaked after it."""
    whom = judge_whom(rule, case.facts).status
    if whom is Status.NOT_APPLICABLE:
        nothing = np.full(len(grid), np.nan)
        never = np.full(len(grid), NEVER, np.int64)
        return Tried((OUTSIDE,) * len(grid), never, never, nothing, nothing, np.zeros(len(grid)))
    first, could = first_met(case, rule, grid)
    for moments in (first, could):
        moments[moments > case.until_ms] = NEVER
    if whom is not Status.MET:
        first[:] = NEVER
    verdict = np.where(first != NEVER, MET, np.where(could != NEVER, CANNOT_TELL, NEVER_MET))
    return Tried(tuple(verdict.tolist()), first, could, *_came_back(case, rule, grid, first), _watched_h(case, first))


def first_met(case: Case, rule: Protocol, grid: Grid) -> tuple[Longs, Longs]:
    """UTC ms at which each variant was first met, and at which it could first have been, in the order of
    `grid.variants()`; -1: never.

    With tolerated gaps `met_with_gaps` counts as met, without any only plain `met`. Could: not `not_met`. For each
    variant the same as the evaluator says of `varied(rule, variant)`, whom the rule is for left aside.
    """
    found = []
    for bin_min, fluid, gaps in grid.outer():
        base = varied(rule, Variant(grid.limits_ml_per_min[0], grid.lasting_s[0], bin_min, fluid, gaps))
        found.append(_limits_and_lengths(case, base, grid))
    met, could = (np.concatenate([part[way].reshape(-1) for part in found]) for way in (0, 1))
    return met, could


def _limits_and_lengths(case: Case, base: Protocol, grid: Grid) -> Longs:
    """[met or could, limit, length] for one averaging, one fluid limit, one tolerance."""
    out = np.full((2, len(grid.limits_ml_per_min), len(grid.lasting_s)), NEVER, np.int64)
    air = air_of(base)
    signal = case.facts.signals.get((air.measure_name, air.scope))
    if not case.facts.length:
        return out
    one_by_one = base.gaps_s or air.only_until is not None or grid.lasting_s[0] < 60 * (air.bin_min or 1)
    if signal is None or one_by_one:
        return _one_by_one(case, base, air, grid)
    tube = [_tube(case.facts, base, air, lasting) for lasting in grid.lasting_s]
    perhaps, surely = (_limits_broken(signal, air, grid.limits_ml_per_min, for_certain=sure) for sure in (False, True))
    for limits in _alike(case, base, grid.limits_ml_per_min):
        facts = facts_at(case, limits[0], waived=base.guards_waived)
        others = _others(facts, base, air)
        rest = [np.minimum(others, one) for one in tube]
        first = grid.limits_ml_per_min.index(limits[0])
        rows = slice(first, first + len(limits))
        if not too_coarse(signal, air, base):
            fits = [codes >= Status.MET for codes in rest]
            broken = np.clip(perhaps - first, 0, len(limits))
            out[0, rows] = _held(facts, base, air, broken, limits, grid.lasting_s, fits, from_grid=True)
        fits = [codes != Status.NOT_MET for codes in rest]
        broken = np.clip(surely - first, 0, len(limits))
        out[1, rows] = _held(facts, base, air, broken, limits, grid.lasting_s, fits, from_grid=False)
    return out


def _alike(case: Case, rule: Protocol, limits: Sequence[float]) -> list[list[float]]:
    """Limits by which the same efforts count as leaks, next to one another: only the air clause tells these apart."""
    if rule.effort_seen is None and not rule.guards_waived:
        return [list(limits)]
    sizes = np.sort(case.burst[np.isfinite(case.burst)])
    groups: dict[int, list[float]] = {}
    for limit in limits:
        groups.setdefault(int(np.searchsorted(sizes, limit)), []).append(limit)
    return list(groups.values())


def _tube(facts: Facts, rule: Protocol, air: Clause, lasting_s: float) -> Codes:
    """The guard that the tube was open, which looks at the start of a run of this length; no limit changes it."""
    removal = tuple(replace(one, lasting_s=lasting_s) if one.id == air.id else one for one in rule.removal)
    guards = judge_guards(replace(rule, removal=removal, effort_seen=None), facts)
    return all_of_codes([guard.timeline for guard in guards], facts.length)


def _others(facts: Facts, rule: Protocol, air: Clause) -> Codes:
    """The other clauses, the guard on effort, and what forbids `met`, at each minute's end."""
    codes = [judge_clause(clause, rule, facts).timeline for clause in rule.removal if clause.id != air.id]
    codes += [guard.timeline for guard in judge_guards(replace(rule, tube_open=None), facts)]
    lowest = all_of_codes(codes, facts.length)
    ends = facts.ends_ms()
    for veto in facts.vetoes:
        stands = (ends >= veto.from_ms) & ((ends < veto.until_ms) if veto.until_ms is not None else True)
        lowest[stands] = np.minimum(lowest[stands], Status.CANNOT_TELL)
    return lowest


def _held(
    facts: Facts, rule: Protocol, air: Clause, broken: Shorts, limits: Sequence[float], lengths: Sequence[float],
    fits: Sequence[Flags], *, from_grid: bool,
) -> Longs:  # fmt: skip
    """[limit, length]: the end of the first minute at which the air clause and the rest hold.

    A run is made of whole windows after its floor (connection, or the last restart), each within the limit; the
    kernel counts windows by where they begin. from_grid: what lies before the grid counts for nothing; else, as
    nothing was recorded there, it might have held.
    """
    width = air.bin_min or 1
    asked = np.arange(1, len(limits) + 1, dtype=np.int16)  # a window that breaks m limits breaks the lowest m
    windows = np.array([round(lasting / 60) - width + 1 for lasting in lengths], np.int64)
    out = np.full((len(limits), len(lengths)), NEVER, np.int64)
    floor = first_minute(facts, rule)
    floor = np.maximum(floor, 0 if from_grid else -int(windows[-1]) - width)  # further back nothing more can be asked
    edges = np.concatenate(([0], np.flatnonzero(np.diff(floor)) + 1, [facts.length]))
    for begin, behind in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        start = int(floor[begin])  # windows begin from here to the last that ends before `behind`
        count = behind - width + 1 - start
        if count < int(windows[0]):
            continue
        before = min(max(-start, 0), count)
        values = np.zeros(count, np.int16)
        values[before:] = broken[start + before + width - 1 : behind]
        held = first_holds(values, asked, windows, next_fit=_next(fits, start + width - 1, behind))
        better = (held != NEVER) & (out == NEVER)
        out[better] = facts.grid_start_ms + (start + width - 1 + held[better]) * MINUTE_MS
        if (out != NEVER).all():
            break
    return out


def _limits_broken(signal: Signal, air: Clause, limits: Sequence[float], *, for_certain: bool) -> Shorts:
    """How many of the limits (increasing) each window is not surely within, or surely not within."""
    width = air.bin_min or 1
    low, high, unbounded, _, divisor = window_bounds(signal, air.bin_min, air.comparison, None)
    steps = np.array([round(limit * SCALE) for limit in limits], np.int64)
    below = air.comparison == "below"
    if for_certain:
        fails_at_limit = below or signal.bottom_open
        broken = np.searchsorted(steps * width, low, side="right" if fails_at_limit else "left")
        return np.asarray(np.where(divisor == width, broken, 0), np.int16)
    broken = np.searchsorted(steps * width, high, side="right" if below and not signal.top_open else "left")
    broken[unbounded | (divisor != width)] = len(limits)
    return np.asarray(broken, np.int16)


def _next(fits: Sequence[Flags], first: int, behind: int) -> Longs:
    """For each length, and each window by the minute it ends with, from `first`: the next, counted from `first`, at
    whose end the rest holds too. A minute before the grid never does."""
    n = behind - first
    places = np.arange(n, dtype=np.int64)
    rows = []
    for fit in fits:
        here = np.full(n, n, np.int64)
        ahead = max(-first, 0)
        here[ahead:] = np.where(fit[first + ahead : behind], places[ahead:], n)
        rows.append(np.minimum.accumulate(here[::-1])[::-1])
    return np.array(rows, np.int64)


def _one_by_one(case: Case, base: Protocol, air: Clause, grid: Grid) -> Longs:
    """The same by judging the air clause for each limit and length."""
    out = np.full((2, len(grid.limits_ml_per_min), len(grid.lasting_s)), NEVER, np.int64)
    least = Status.MET_WITH_GAPS if base.gaps_s else Status.MET
    for i, limit in enumerate(grid.limits_ml_per_min):
        facts = facts_at(case, limit, waived=base.guards_waived)
        for j, lasting in enumerate(grid.lasting_s):
            codes = judge_clause(replace(air, limit=limit, lasting_s=lasting), base, facts).timeline
            whole = all_of_codes([codes, _others(facts, base, air), _tube(facts, base, air, lasting)], facts.length)
            for way, good in enumerate((whole >= least, whole != Status.NOT_MET)):
                held = np.flatnonzero(good)
                if len(held):
                    out[way, i, j] = facts.grid_start_ms + (int(held[0]) + 1) * MINUTE_MS
    return out


def _watched_h(case: Case, first: Longs) -> NDArray[np.float64]:
    """Hours known after the minute in which each variant was met."""
    seen = np.concatenate(([0], np.cumsum(known(case)[: minutes_in(case)])))
    held = np.clip((first - case.facts.grid_start_ms) // MINUTE_MS, 0, len(seen) - 1)
    return np.where(first == NEVER, 0.0, (seen[-1] - seen[held]) / 60)


def _came_back(case: Case, rule: Protocol, grid: Grid, first: Longs) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """For each variant: hours to the first certain break of the limit after it was met, and the largest from then."""
    back, largest = (np.full(len(first), np.nan) for _ in range(2))
    behind = minutes_in(case)
    held = (first - case.facts.grid_start_ms) // MINUTE_MS - 1
    for number, (bin_min, fluid, gaps) in enumerate(grid.outer()):
        air = air_of(varied(rule, Variant(grid.limits_ml_per_min[0], grid.lasting_s[0], bin_min, fluid, gaps)))
        signal = case.facts.signals.get((air.measure_name, air.scope))
        if signal is None:
            continue
        surely = _limits_broken(signal, air, grid.limits_ml_per_min, for_certain=True)[:behind]
        means = np.maximum.accumulate(least_means(signal, air)[:behind][::-1])[::-1]
        for i in range(len(grid.limits_ml_per_min)):
            at = (number * len(grid.limits_ml_per_min) + i) * len(grid.lasting_s)
            here = slice(at, at + len(grid.lasting_s))
            if (first[here] == NEVER).all():
                continue
            broken = np.append(np.flatnonzero(surely > i), behind)
            # the first window that lies wholly after the moment
            ends = broken[np.minimum(np.searchsorted(broken, held[here] + (air.bin_min or 1)), len(broken) - 1)]
            again = (first[here] != NEVER) & (ends < behind)
            back[here] = np.where(again, (ends - held[here]) / 60, np.nan)
            largest[here] = np.where(again, means[np.minimum(ends, behind - 1)], np.nan)
    return back, largest
