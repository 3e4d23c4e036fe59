"""Charts of a process over time: XmR, p, u, g and t, with limits that are set once and changed only when told.

Limits are where the process itself would stay by chance; they are not aims, and a point within them is not good.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, log

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.audit.statistics.special_cause import SEVEN_FIVE, Mark, RuleSet, marks
from slackwater.errors import UsageError

Floats = NDArray[np.float64]

XMR_FACTOR = 2.66
"""3 / 1.128: three standard errors from the mean moving range of two (1.128 = 2 / sqrt(pi)); as tables print it."""
RANGE_FACTOR = 3.267
"""Upper limit of a moving range of two, from its mean; as tables print it."""
T_POWER = 3.6
"""Times between chance events, to the power 1 / 3.6, are nearly symmetric. Nelson, J. Qual. Technol. 26 (1994) 239."""


@dataclass(frozen=True)
class Phase:
    """From point `first` on, until the next phase: limits from its first `baseline` points, or from all with None."""

    first: int = 0
    baseline: int | None = None


@dataclass(frozen=True, eq=False)
class Chart:
    """values, centre, low, high, middle: (n,), in the unit of the values; NaN: missing, or cannot be told.

    middle: what sides are counted about; the centre, but on a g chart the median, since its points lie unevenly.
    """

    kind: str
    values: Floats
    centre: Floats
    low: Floats
    high: Floats
    middle: Floats
    phase: tuple[int, ...]  # of each point, counted from 0
    rules: RuleSet
    marks: tuple[Mark, ...]


Limits = tuple[float | Floats, float | Floats, float | Floats]  # centre, low, high
WHOLE = (Phase(),)


def xmr_chart(
    values: ArrayLike, phases: Sequence[Phase] = WHOLE, rules: RuleSet = SEVEN_FIVE, least: float | None = None
) -> Chart:
    """One value a point (a weekly median, a mean): mean ± 2.66 mean moving ranges.

    least: what the value cannot fall below (0 for a time); the lower limit is cut there. A moving range needs two
    neighbours that are there. Source: Shewhart; Wheeler & Chambers, Understanding Statistical Process Control; memory.
    """
    value = np.asarray(values, np.float64)

    def limits(base: slice, whole: slice) -> Limits:
        centre, reach = _mean(value[base]), XMR_FACTOR * _mean(np.abs(np.diff(value[base])))
        low = centre - reach
        return centre, low if least is None or np.isnan(low) else max(low, least), centre + reach

    return _drawn("XmR", value, limits, phases, rules)


def range_chart(values: ArrayLike, phases: Sequence[Phase] = WHOLE, rules: RuleSet = SEVEN_FIVE) -> Chart:
    """The moving ranges beside an XmR chart: point k is |value k - value k-1|, NaN at the first of a phase.

    Only points above the limit are marked: neighbouring ranges share a value, so their runs mean little.
    """
    value = np.asarray(values, np.float64)
    ranges = np.abs(np.diff(value, prepend=np.nan))
    for phase in phases:
        ranges[phase.first : phase.first + 1] = np.nan

    def limits(base: slice, whole: slice) -> Limits:
        centre = _mean(ranges[base])
        return centre, np.nan, RANGE_FACTOR * centre

    chart = _drawn("mR", ranges, limits, phases, rules)
    return Chart(**{**vars(chart), "marks": tuple(mark for mark in chart.marks if mark.rule == "above the limits")})


def p_chart(events: ArrayLike, n: ArrayLike, phases: Sequence[Phase] = WHOLE, rules: RuleSet = SEVEN_FIVE) -> Chart:
    """Shares, 0 to 1: events of n patients a point; p ± 3 sqrt(p (1 - p) / n), within 0 to 1. NaN where n is 0.

    p: all events of the baseline over all its patients, so that parts of a point add up. Source: Shewhart, memory.
    """
    top, bottom = _paired(events, n)
    if (top > bottom).any():
        raise UsageError("more events than patients", where="p chart", mend="Count each patient once.")

    def limits(base: slice, whole: slice) -> Limits:
        centre = _ratio(top[base], bottom[base])
        reach = 3.0 * np.sqrt(centre * (1.0 - centre) * _per(bottom[whole]))
        return centre, np.maximum(centre - reach, 0.0), np.minimum(centre + reach, 1.0)

    return _drawn("p", top * _per(bottom), limits, phases, rules)


def u_chart(
    events: ArrayLike, exposure: ArrayLike, phases: Sequence[Phase] = WHOLE, rules: RuleSet = SEVEN_FIVE
) -> Chart:
    """Rates, in events per unit of exposure (drain-days): u ± 3 sqrt(u / exposure), from 0.

    NaN where nothing was exposed. Source: Shewhart's Poisson chart, memory.
    """
    top, bottom = _paired(events, exposure)

    def limits(base: slice, whole: slice) -> Limits:
        centre = _ratio(top[base], bottom[base])
        reach = 3.0 * np.sqrt(centre * _per(bottom[whole]))
        return centre, np.maximum(centre - reach, 0.0), centre + reach

    return _drawn("u", top * _per(bottom), limits, phases, rules)


def g_chart(between: ArrayLike, phases: Sequence[Phase] = WHOLE, rules: RuleSet = SEVEN_FIVE) -> Chart:
    """Rare events: how many cases without one lay between two of them, a point each event. High is good.

    g ± 3 sqrt(g (g + 1)), from 0. Sides are counted about the median of the geometric distribution with mean g, since
    63 of 100 points lie below its mean. Source: Kaminsky et al., J. Qual. Technol. 24 (1992) 63; Benneyan, Health Care
    Manag. Sci. 4 (2001) 305. The lower limit is 0, so few cases between show as runs below, not as points outside.
    """
    value = np.asarray(between, np.float64)
    if (value < 0).any():
        raise UsageError("a negative number of cases between events", where="g chart", mend="Put events in order.")

    def limits(base: slice, whole: slice) -> Limits:
        centre = _mean(value[base])
        reach = 3.0 * np.sqrt(centre * (centre + 1.0))
        return centre, np.maximum(centre - reach, 0.0), centre + reach

    def median(centre: float) -> float:
        return (
            float("nan") if np.isnan(centre) else ceil(log(0.5) / log(centre / (1.0 + centre))) - 1 if centre else 0.0
        )

    return _drawn("g", value, limits, phases, rules, median)


def t_chart(between: ArrayLike, phases: Sequence[Phase] = WHOLE, rules: RuleSet = SEVEN_FIVE) -> Chart:
    """Rare events: the time between one and the next, in the caller's unit, a point each event. High is good.

    An XmR chart of the times to the power 1/3.6, turned back; so the centre lies near the median, not the mean.
    Source: Nelson 1994, from memory. Use it where the number of cases between is not known; else `g_chart`.
    """
    value = np.asarray(between, np.float64)
    if (value < 0).any():
        raise UsageError("a negative time between events", where="t chart", mend="Put events in order.")
    shaped = value ** (1.0 / T_POWER)

    def limits(base: slice, whole: slice) -> Limits:
        centre, reach = _mean(shaped[base]), XMR_FACTOR * _mean(np.abs(np.diff(shaped[base])))
        return centre**T_POWER, np.maximum(centre - reach, 0.0) ** T_POWER, (centre + reach) ** T_POWER

    return _drawn("t", value, limits, phases, rules)


def _drawn(
    kind: str,
    value: Floats,
    limits: Callable[[slice, slice], Limits],
    phases: Sequence[Phase],
    rules: RuleSet,
    median: Callable[[float], float] | None = None,
) -> Chart:
    n = len(value)
    firsts = [phase.first for phase in phases]
    if not firsts or firsts[0] != 0 or sorted(set(firsts)) != firsts:
        raise UsageError("phases are not in order from 0", where=f"{kind} chart", mend="Begin with the phase from 0.")
    centre, low, high = (np.full(n, np.nan) for _ in range(3))
    middle = centre.copy()
    number = np.zeros(n, np.int64)
    for k, (phase, end) in enumerate(zip(phases, [*firsts[1:], n], strict=True)):
        whole = slice(phase.first, max(end, phase.first))
        base = slice(phase.first, end if phase.baseline is None else min(phase.first + phase.baseline, end))
        centre[whole], low[whole], high[whole] = limits(base, whole)
        number[whole] = k
        middle[whole] = centre[whole] if median is None or phase.first >= n else median(float(centre[phase.first]))
    order = tuple(int(k) for k in number)
    return Chart(
        kind, value, centre, low, high, middle, order, rules, tuple(marks(value, middle, low, high, order, rules))
    )


def _paired(events: ArrayLike, size: ArrayLike) -> tuple[Floats, Floats]:
    top, bottom = np.asarray(events, np.float64), np.asarray(size, np.float64)
    if top.shape != bottom.shape or (top < 0).any() or (bottom < 0).any() or ((bottom == 0) & (top > 0)).any():
        raise UsageError("events and what they fell in do not fit", where="chart", mend="Give one of each a point.")
    return top, bottom


def _mean(values: Floats) -> float:
    there = values[~np.isnan(values)]
    return float(there.mean()) if len(there) else float("nan")


def _ratio(top: Floats, bottom: Floats) -> float:
    """Sum over sum, of the points where both are known."""
    known = ~np.isnan(top) & ~np.isnan(bottom)
    whole = float(bottom[known].sum())
    return float(top[known].sum()) / whole if whole > 0.0 else float("nan")


def _per(size: Floats) -> Floats:
    return np.divide(1.0, size, out=np.full_like(size, np.nan), where=size > 0.0)
