"""From readings of a canister's level to intervals of fluid, through every change of canister."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from slackwater.episode.fluid.record import FluidInterval
from slackwater.episode.fluid.said import Said
from slackwater.episode.types import Instant


@dataclass(frozen=True)
class _Mark:
    """What is known of the level at one moment: between two bounds, or `lost` where nothing is."""

    time: Instant | None
    low_ml: float
    high_ml: float
    lost: bool = False


def intervals_from_levels(
    levels: Sequence[Said], changes: Sequence[Said], connected_at: Instant | None
) -> list[FluidInterval]:
    """Intervals between successive levels and changes, ordered by time.

    Within one canister, what drained is the rise of its level. A fresh canister begins at 0. What
    came between the last level and a change is known only if a level stands at the change itself:
    a level above zero and not below the last one is the full canister's, any other the fresh
    one's; of two, the higher is the full one's. A level that falls without a change, a level left
    blank or said in two ways, and a change left blank make the stretches beside them missing.
    From the connection to the first level came at most that level: whether the canister was empty
    is known only from a level, or a change, charted at the connection.

    Nothing here is ever negative, and leaving any entry blank never narrows a bound.
    """
    level_at = {said.time: said for said in levels}
    change_at = {said.time: said for said in changes}
    mark = _Mark(connected_at, 0.0, math.inf)
    intervals: list[FluidInterval] = []
    for time in sorted(level_at.keys() | change_at.keys()):
        level, change = level_at.get(time), change_at.get(time)
        lines = tuple(sorted((level.lines if level else ()) + (change.lines if change else ())))
        if change is None:
            assert level is not None
            full, after = _reading(level, time)
        else:
            full, after = _at_change(mark, level, change, time)
        if mark.time != time:
            intervals.append(_rise(mark, full, time, lines, _why_missing(level)))
        mark = after
    return intervals


def _reading(level: Said, time: Instant) -> tuple[float | None, _Mark]:
    if isinstance(level.value, float):
        return level.value, _Mark(time, level.value, level.value)
    return None, _Mark(time, 0.0, math.inf, lost=True)


def _at_change(mark: _Mark, level: Said | None, change: Said, time: Instant) -> tuple[float | None, _Mark]:
    """The full canister's level if it was read, and the fresh one's."""
    lost = _Mark(time, 0.0, math.inf, lost=True)
    if change.value is None:
        return None, lost
    if level is None:
        return None, _Mark(time, 0.0, 0.0)
    if level.pair is not None:
        fresh, full = level.pair
        return full, _Mark(time, fresh, fresh)
    if not isinstance(level.value, float):
        return None, lost
    if mark.lost and level.value > 0:
        return None, _Mark(time, 0.0, level.value)  # whose level it is cannot be told
    if level.value > 0 and level.value >= mark.low_ml:
        return level.value, _Mark(time, 0.0, 0.0)
    return None, _Mark(time, level.value, level.value)


def _why_missing(level: Said | None) -> str:
    if level is None or level.value is not None or level.pair is not None:
        return "unknown"
    return "conflict" if level.conflict else "blank"


def _rise(mark: _Mark, full: float | None, time: Instant, lines: tuple[int, ...], why_missing: str) -> FluidInterval:
    if mark.lost or full is None:
        return FluidInterval(mark.time, time, 0.0, math.inf, why_missing if full is None else "blank", lines)
    if full < mark.low_ml:
        return FluidInterval(mark.time, time, 0.0, math.inf, "conflict", lines)
    low_ml, high_ml = max(0.0, full - mark.high_ml), full - mark.low_ml
    if mark.time is None:
        high_ml = math.inf
    return FluidInterval(mark.time, time, low_ml, high_ml, "known" if low_ml == high_ml else "unknown", lines)
