"""Units side by side, each against what chance allows at its own size. A funnel ranks nobody."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.audit.statistics.special import special, two_sided_z
from slackwater.errors import UsageError

Floats = NDArray[np.float64]
LEVELS = (0.95, 0.998)
TRIMMED = 0.1
"""Share at either end pulled in before the spread is judged, so that the odd unit does not excuse itself."""
FEWEST_UNITS = 5
"""Of fewer units nobody can say whether they spread more than chance; ours."""


@dataclass(frozen=True, eq=False)
class Funnel:
    """values: (units,) shares or rates, NaN where a unit has no size; low, high: (levels, units) as used.

    spread: phi, 1 where units differ by chance alone; None of too few units. widened: limits were
    widened by it.
    """

    values: Floats
    target: float
    levels: tuple[float, ...]
    low: Floats
    high: Floats
    spread: float | None
    widened: bool
    told: str  # of the spread, in words that belong beside the chart

    def outside(self) -> NDArray[np.int8]:
        """(levels, units): 1 above the limits of the level, -1 below, 0 within or not known."""
        return (self.values > self.high).astype(np.int8) - (self.values < self.low).astype(np.int8)


def funnel_of_shares(
    events: ArrayLike, n: ArrayLike, target: float | None = None, levels: tuple[float, ...] = LEVELS
) -> Funnel:
    """Shares of each unit's n patients. target: 0 to 1; None takes all units together.

    Source: Spiegelhalter, Stat. Med. 24 (2005) 1185: exact limits, interpolated between counts; over-dispersion as in
    `_funnel`. From memory.
    """
    return _funnel(events, n, target, levels, share_limits, lambda aim: aim * (1.0 - aim))


def funnel_of_rates(
    events: ArrayLike, exposure: ArrayLike, target: float | None = None, levels: tuple[float, ...] = LEVELS
) -> Funnel:
    """Events per unit of exposure (drain-days) of each unit. Source: as `funnel_of_shares`, with the Poisson count."""
    return _funnel(events, exposure, target, levels, rate_limits, lambda aim: aim)


def share_limits(n: ArrayLike, target: float, level: float) -> tuple[Floats, Floats]:
    """Low and high share that chance alone allows a unit of each size n; also for drawing the funnel's lines."""
    return _exact_limits(
        np.asarray(n, np.float64), level, lambda size: special().bdtr(np.arange(size + 1.0), int(size), target), 1.0
    )


def rate_limits(exposure: ArrayLike, target: float, level: float) -> tuple[Floats, Floats]:
    """Low and high rate that chance alone allows a unit of each exposure."""

    def chance_up_to(size: float) -> Any:
        mean = size * target
        return special().pdtr(np.arange(np.ceil(mean + 10.0 * np.sqrt(mean) + 30.0)), mean)

    return _exact_limits(np.asarray(exposure, np.float64), level, chance_up_to, np.inf)


def _exact_limits(
    sizes: Floats, level: float, chance_up_to: Callable[[float], Any], most: float
) -> tuple[Floats, Floats]:
    ends = np.full((2, len(sizes)), np.nan)
    for k in np.flatnonzero(sizes > 0.0):
        up_to = np.asarray(chance_up_to(float(sizes[k])))
        for side, chance in enumerate(((1.0 - level) / 2.0, (1.0 + level) / 2.0)):
            count = min(int(np.searchsorted(up_to, chance)), len(up_to) - 1)
            alone = up_to[count] - (up_to[count - 1] if count else 0.0)
            part = (up_to[count] - chance) / alone if alone > 0.0 else 0.0
            ends[side, k] = (count - part) / sizes[k]
    low, high = np.clip(ends, 0.0, most)
    return low, high


def _funnel(
    events: ArrayLike,
    sizes: ArrayLike,
    target: float | None,
    levels: tuple[float, ...],
    limits: Callable[[ArrayLike, float, float], tuple[Floats, Floats]],
    variance: Callable[[float], float],
) -> Funnel:
    """phi: the mean of squared standardised differences, the outermost tenths pulled in; limits become target ± z
    sqrt(phi variance) if phi is above 1 + 2 sqrt(2 / units). Source: Spiegelhalter 2005, from memory."""
    top, size = np.asarray(events, np.float64), np.asarray(sizes, np.float64)
    if top.shape != size.shape or (top < 0).any() or ((size <= 0) & (top > 0)).any():
        raise UsageError("events and what they fell in do not fit", where="funnel", mend="Give one of each a unit.")
    known = size > 0.0
    values = np.divide(top, size, out=np.full_like(size, np.nan), where=known)
    if not known.any():
        raise UsageError("no unit has any patient", where="funnel", mend="Choose a period with patients.")
    aim = float(top[known].sum() / size[known].sum()) if target is None else target
    pairs = [limits(size, aim, level) for level in levels]
    low, high = (np.stack([pair[side] for pair in pairs]) for side in (0, 1))
    units, single = int(known.sum()), variance(aim)
    if units < FEWEST_UNITS or single <= 0.0:
        told = f"{units} units are too few to tell whether they differ by more than chance."
        return Funnel(values, aim, levels, low, high, None, False, told)
    z = (values[known] - aim) / np.sqrt(single / size[known])
    spread = float(np.mean(np.clip(z, *np.quantile(z, [TRIMMED, 1.0 - TRIMMED])) ** 2))
    widened = spread > 1.0 + 2.0 * np.sqrt(2.0 / units)
    if widened:
        error = np.sqrt(np.divide(spread * single, size, out=np.full_like(size, np.nan), where=known))
        reach = np.array([two_sided_z(level) for level in levels])[:, None] * error
        low, high = np.maximum(aim - reach, 0.0), np.minimum(aim + reach, 1.0 if limits is share_limits else np.inf)
    return Funnel(values, aim, levels, low, high, spread, bool(widened), _in_words(spread, units, bool(widened)))


def _in_words(spread: float, units: int, widened: bool) -> str:
    found = f"spread {spread:.2f} times that of chance (phi, {units} units, the outer tenths pulled in)"
    if widened:
        return f"The units differ by more than chance: {found}. The limits are widened by {spread**0.5:.2f}."
    return f"The units differ no more than chance may make them: {found}. The limits are exact and not widened."
