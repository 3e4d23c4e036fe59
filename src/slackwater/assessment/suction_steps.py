"""The leak before and after each step of suction, over equally much of what can be assessed.

A fall of flow after a step down may be the step: conductance, the leak for each cmH2O that drives it, is shown
beside it, and its own change is never called healing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.state import LeakTrace
from slackwater.leak.words import NO_REASON, SHARED
from slackwater.quantities.spans import MINUTE_MS

SPAN_MIN = 120  # looked at on either side (ours)
SETTLES_MIN = 10  # after a step, left out: air that the step itself moves (ours)
LEAST_MIN = 20  # assessable minutes on either side; fewer cannot tell (ours)
TOGETHER_MIN = 30  # an order, the set value and the pressure tell of one step within so long (ours)


@dataclass(frozen=True)
class Side:
    """Means over one side's minutes, None where not recorded: pressure cmH2O (suction negative), flow mL/min."""

    from_ms: int
    to_ms: int
    pressure: float | None
    flow: float
    largest: float
    conductance: float | None  # mL/min per cmH2O


@dataclass(frozen=True)
class SuctionStep:
    """One step; `minutes` assessable ones on either side. Without enough of them no side is given."""

    at_ms: int
    minutes: int
    before: Side | None
    after: Side | None


def suction_steps(leak: LeakTrace, changes_ms: Sequence[int]) -> tuple[SuctionStep, ...]:
    """Compare both sides of each change, in order of time; changes told of several times are one."""
    reason, start_ms, n = leak.doubt.reason, leak.minutes.start_ms, len(leak.minutes)
    told = ((reason == NO_REASON) | (reason == SHARED)) & np.isfinite(leak.minutes.flow)
    groups = _together(changes_ms)
    if not groups:
        return ()
    firsts = [(group[0] - start_ms) // MINUTE_MS for group in groups]
    settled = [(group[-1] - start_ms) // MINUTE_MS + SETTLES_MIN for group in groups]
    found = []
    for group, first, last, earlier, later in zip(
        groups, firsts, settled, [0, *settled[:-1]], [*firsts[1:], n], strict=True
    ):
        before = _assessable(told, max(first - SPAN_MIN, earlier), first)
        after = _assessable(told, last, min(last + SPAN_MIN, later))
        count = min(len(before), len(after))
        sides = (before[-count:], after[:count]) if count >= LEAST_MIN else (None, None)
        found.append(SuctionStep(group[0], count, *(None if side is None else _side(leak, side) for side in sides)))
    return tuple(found)


def _together(changes_ms: Sequence[int]) -> list[list[int]]:
    groups: list[list[int]] = []
    for at in sorted(set(changes_ms)):
        if groups and at - groups[-1][-1] <= TOGETHER_MIN * MINUTE_MS:
            groups[-1].append(at)
        else:
            groups.append([at])
    return groups


def _assessable(told: NDArray[np.bool_], first: int, end: int) -> NDArray[np.intp]:
    first, end = max(first, 0), min(end, len(told))
    return np.flatnonzero(told[first:end]) + first if first < end else np.zeros(0, dtype=np.intp)


def _side(leak: LeakTrace, at: NDArray[np.intp]) -> Side:
    minutes = leak.minutes
    return Side(
        minutes.start_ms + int(at[0]) * MINUTE_MS,
        minutes.start_ms + (int(at[-1]) + 1) * MINUTE_MS,
        _mean(minutes.pressure[at]),
        float(minutes.flow[at].mean()),
        float(minutes.flow_max[at].max()),
        _mean(leak.conductance[at]),
    )


def _mean(values: NDArray[np.float64]) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else None
