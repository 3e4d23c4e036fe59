"""Were times that were told borne out, where some were not followed to their end? Scores: `forecast.score`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.audit.statistics.ends import count_ends
from slackwater.audit.statistics.survival import kaplan_meier
from slackwater.errors import UsageError

Floats = NDArray[np.float64]
STEPS = 10_000
"""Parts of the forecast's own scale, on which places in it are counted."""


@dataclass(frozen=True)
class Coverage:
    """How many times fell within the interval told, outside it, and how many cannot be told since follow-up ended."""

    inside: int
    outside: int
    cannot_tell: int

    @property
    def bounds(self) -> tuple[float, float] | None:
        """Least and greatest share inside, over all that may have come of those that cannot be told."""
        n = self.inside + self.outside + self.cannot_tell
        return (self.inside / n, (self.inside + self.cannot_tell) / n) if n else None


def coverage(low: ArrayLike, high: ArrayLike, time: ArrayLike, ended: ArrayLike) -> Coverage:
    """low, high: (n,) the interval told; time: (n,) followed to; ended: (n,) whether it ended then. One unit for all.

    Both ends belong to the interval. Followed beyond `high` without an end is outside; otherwise without an end: cannot
    tell. Ours.
    """
    least, most, when, done = np.asarray(low), np.asarray(high), np.asarray(time), np.asarray(ended, np.bool_)
    if (
        not least.shape == most.shape == when.shape == done.shape
        or np.isnan(when).any()
        or np.isnan(least + most).any()
    ):
        raise UsageError("intervals and times do not fit", where="coverage", mend="Give one of each a forecast.")
    inside = done & (least <= when) & (when <= most)
    outside = (done & ~inside) | (~done & (when > most))
    return Coverage(int(inside.sum()), int(outside.sum()), int((~inside & ~outside).sum()))


def place_in_forecast(grid: Floats, chance: Floats, time: float, ended: bool) -> tuple[float, bool]:
    """How much of the forecast's chance had gone by `time`: (0 to 1, whether the place is where it ended).

    grid: (m,) times, chance: (m,) F there, standing to the next, as in `forecast.score`. Beyond the grid the forecast
    said nothing, so there its place is that of the last, as of one followed no further.
    """
    if time > grid[-1]:
        return float(chance[-1]), False
    at = int(np.searchsorted(grid, time, side="right")) - 1
    return (float(chance[at]) if at >= 0 else 0.0), ended


@dataclass(frozen=True, eq=False)
class Reached:
    """Of forecasts that are right, a tenth of the times fall in the first tenth of the chance told, and so on."""

    told: Floats  # (k,) shares of the chance told
    came: Floats  # (k,) share of times that had come by then; NaN where follow-up does not reach
    low: Floats
    high: Floats


def reached(places: ArrayLike, ended: ArrayLike, told: ArrayLike, level: float = 0.95) -> Reached:
    """What came by each share `told` of the chance, by Kaplan-Meier on the forecast's own scale.

    places, ended: (n,) from `place_in_forecast`. came above told: it came sooner than told. A forecast that jumps puts
    all of a jump at its upper end, so judge it only at shares above its jumps. Source: the probability integral
    transform under censoring, from memory; checked by simulation.
    """
    place, shares = np.asarray(places, np.float64), np.asarray(told, np.float64)
    if ((place < 0) | (place > 1)).any() or np.isnan(place).any():
        raise UsageError("a place is not 0 to 1", where="reached", mend="Take it from place_in_forecast.")
    curve = kaplan_meier(count_ends(np.ceil(place * STEPS).astype(np.int64), np.asarray(ended, np.bool_)))
    at = np.floor(shares * STEPS).astype(np.int64)
    low, high = curve.interval_at(at, level)
    return Reached(shares, 1.0 - curve.at(at), 1.0 - high, 1.0 - low)
