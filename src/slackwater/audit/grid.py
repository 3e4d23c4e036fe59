"""When each rule of a grid first held in one drain: what the evaluator says, without asking it for every rule.

All limits and lengths are answered in one pass over the windows of the air clause; whatever else the rule asks is
judged once. Where the rule bears gaps, or a leak on effort depends on the limit, it is done limit by limit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from slackwater.audit.case import Case, facts_at
from slackwater.audit.first_hold import NEVER, first_holds
from slackwater.audit.variants import Grid, Variant, air_of, varied
from slackwater.protocol.clauses import judge_clause
from slackwater.protocol.evaluate import evaluate
from slackwater.protocol.facts import MINUTE_MS, Facts, Signal
from slackwater.protocol.guards import judge_guards
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.signals import first_minute
from slackwater.protocol.status import Status
from slackwater.protocol.windows import SCALE, window_bounds

Longs = NDArray[np.int64]
Flags = NDArray[np.bool_]

FOREVER = np.iinfo(np.int64).max


def first_met(case: Case, rule: Protocol, grid: Grid) -> Longs:
    """UTC ms at which each variant was first met, in the order of `grid.variants()`; -1: never.

    With tolerated gaps `met_with_gaps` counts, without any only plain `met`. For each variant the same as the
    evaluator says of `varied(rule, variant)`.
    """
    found = []
    for bin_min, fluid, gaps in grid.outer():
        base = varied(rule, Variant(grid.limits_ml_per_min[0], grid.lasting_s[0], bin_min, fluid, gaps))
        found.append(_limits_and_lengths(case, base, grid).reshape(-1))
    return np.concatenate(found)


def _limits_and_lengths(case: Case, base: Protocol, grid: Grid) -> Longs:
    """[limit, length] for one averaging, one fluid limit, one tolerance."""
    out = np.full((len(grid.limits_ml_per_min), len(grid.lasting_s)), NEVER, np.int64)
    air = air_of(base)
    width = air.bin_min or 1
    signal = case.facts.signals.get((air.measure_name, air.scope))
    if not case.facts.length or signal is None or _outside(case, base):
        return out
    if _coarse(signal, air, base):
        return out
    if base.gaps_s or air.only_until is not None or grid.lasting_s[0] < 60 * width:
        return _one_by_one(case, base, air, grid)
    for limits in _alike(case, base, grid.limits_ml_per_min):
        facts = facts_at(case, limits[0], waived=base.guards_waived)
        fits = [_else_met(facts, base, air, lasting) for lasting in grid.lasting_s]
        rows = [grid.limits_ml_per_min.index(limit) for limit in limits]
        out[rows] = _air_held(facts, base, air, signal, limits, grid.lasting_s, fits)
    return out


def _outside(case: Case, rule: Protocol) -> bool:
    """Whether the rule says nothing of this drain, or not enough is known to say so."""
    said = evaluate(replace(rule, removal=rule.removal[:1], step_down=(), escalation=(), schedule=()), case.facts)
    return said.population.status is not Status.MET


def _coarse(signal: Signal, air: Clause, rule: Protocol) -> bool:
    if air.bin_min is None:
        return signal.reading_s > 60 and not rule.coarse_means
    return signal.reading_s > 60 * air.bin_min


def _alike(case: Case, rule: Protocol, limits: Sequence[float]) -> list[list[float]]:
    """Limits by which the same efforts count as leaks: nothing but the air clause tells these apart."""
    if rule.effort_seen is None and not rule.guards_waived:
        return [list(limits)]
    sizes = np.sort(case.burst[np.isfinite(case.burst)])
    groups: dict[int, list[float]] = {}
    for limit in limits:
        groups.setdefault(int(np.searchsorted(sizes, limit)), []).append(limit)
    return list(groups.values())


def _else_met(facts: Facts, rule: Protocol, air: Clause, lasting_s: float) -> Flags:
    """The minutes at whose end everything but the air clause is met, for a run of this length."""
    removal = tuple(replace(one, lasting_s=lasting_s) if one.id == air.id else one for one in rule.removal)
    codes = [judge_clause(clause, rule, facts).timeline for clause in rule.removal if clause.id != air.id]
    codes += [guard.timeline for guard in judge_guards(replace(rule, removal=removal), facts)]
    met = np.ones(facts.length, np.bool_)
    for one in codes:
        met &= one >= (Status.MET_WITH_GAPS if rule.gaps_s else Status.MET)
    ends = facts.ends_ms()
    for veto in facts.vetoes:
        met &= (ends < veto.from_ms) | (ends >= (veto.until_ms if veto.until_ms is not None else FOREVER))
    return met


def _air_held(
    facts: Facts, rule: Protocol, air: Clause, signal: Signal, limits: Sequence[float], lengths: Sequence[float],
    fits: Sequence[Flags],
) -> Longs:  # fmt: skip
    """[limit, length]: the end of the first minute at which the air clause and all else is met."""
    width = air.bin_min or 1
    n = facts.length
    broken = _limits_broken(signal, air, limits)
    asked = np.arange(1, len(limits) + 1, dtype=np.int16)  # a window that breaks m limits breaks the lowest m
    windows = np.array([round(lasting / 60) - width + 1 for lasting in lengths], np.int64)
    out = np.full((len(limits), len(lengths)), NEVER, np.int64)
    floor = np.maximum(first_minute(facts, rule), 0)
    edges = np.concatenate(([0], np.flatnonzero(np.diff(floor)) + 1, [n]))
    for begin, behind in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        start = int(floor[begin]) + width - 1  # the end of the first window that lies wholly after the floor
        if behind - start < int(windows[0]):
            continue
        held = first_holds(broken[start:behind], asked, windows, next_fit=_next(fits, start, behind))
        better = (held != NEVER) & (out == NEVER)
        out[better] = facts.grid_start_ms + (start + held[better]) * MINUTE_MS
        if (out != NEVER).all():
            break
    return out


def _limits_broken(signal: Signal, air: Clause, limits: Sequence[float]) -> NDArray[np.int16]:
    """How many of the limits (increasing) each window is not surely within."""
    width = air.bin_min or 1
    _, high, unbounded, _, divisor = window_bounds(signal, air.bin_min, air.comparison, None)
    steps = np.array([round(limit * SCALE) for limit in limits], np.int64)
    within_at_limit = air.comparison == "at_most" or signal.top_open
    side = "left" if within_at_limit else "right"
    broken = np.searchsorted(steps * width, high, side=side).astype(np.int16)
    broken[unbounded | (divisor != width)] = len(limits)
    return broken


def _next(fits: Sequence[Flags], start: int, behind: int) -> Longs:
    """For each length and minute of this stretch, the next minute (counted from `start`) at which all else is met."""
    n = behind - start
    places = np.arange(n, dtype=np.int64)
    rows = []
    for fit in fits:
        here = np.where(fit[start:behind], places, n)
        rows.append(np.minimum.accumulate(here[::-1])[::-1])
    return np.array(rows, np.int64)


def _one_by_one(case: Case, base: Protocol, air: Clause, grid: Grid) -> Longs:
    """The same by judging the air clause for each limit and length."""
    out = np.full((len(grid.limits_ml_per_min), len(grid.lasting_s)), NEVER, np.int64)
    least = Status.MET_WITH_GAPS if base.gaps_s else Status.MET
    for i, limit in enumerate(grid.limits_ml_per_min):
        facts = facts_at(case, limit, waived=base.guards_waived)
        for j, lasting in enumerate(grid.lasting_s):
            codes = judge_clause(replace(air, limit=limit, lasting_s=lasting), base, facts).timeline
            met = np.flatnonzero((codes >= least) & _else_met(facts, base, air, lasting))
            if len(met):
                out[i, j] = facts.grid_start_ms + (int(met[0]) + 1) * MINUTE_MS
    return out
