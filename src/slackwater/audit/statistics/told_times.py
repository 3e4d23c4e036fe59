"""Were times that were told borne out, where some were not followed to their end? Scores: `forecast.score`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.audit.statistics.ends import count_ends
from slackwater.audit.statistics.logistic import fit_logistic, log_odds
from slackwater.audit.statistics.survival import kaplan_meier
from slackwater.errors import UsageError

Floats = NDArray[np.float64]
STEPS = 10_000
"""Parts of the forecast's own scale, on which places in it are counted."""


def within(low: ArrayLike, high: ArrayLike, earliest: ArrayLike, latest: ArrayLike) -> Floats:
    """(n,) 1 where it came within the interval told, 0 where it did not, NaN where that cannot be told.

    low, high: (n,) the interval told, both ends belong to it; earliest, latest: (n,) between which it came, the same
    where that is known; latest infinite where it was followed to `earliest` and no further. One unit for all. Ours.
    The least share that came within takes all that cannot be told for 0, the greatest for 1.
    """
    least, most, first, last = (np.asarray(one, np.float64) for one in (low, high, earliest, latest))
    if (
        not least.shape == most.shape == first.shape == last.shape
        or np.isnan(first + last).any()
        or np.isnan(least + most).any()
        or (first > last).any()
    ):
        raise UsageError("intervals and times do not fit", where="intervals told", mend="Give one of each a forecast.")
    inside, outside = (least <= first) & (last <= most), (last < least) | (first > most)
    return np.where(inside, 1.0, np.where(outside, 0.0, np.nan))


def place_in_forecast(grid: Floats, chance: Floats, time: float, ended: bool) -> tuple[float, bool]:
    """How much of the forecast's chance had gone by `time`: (0 to 1, whether the place is where it ended).

    grid: (m,) times, chance: (m,) F there. What ended between two points of the grid ended by the later one; whoever
    was followed no further than between two was followed to the earlier. Beyond the grid the forecast said nothing, so
    there its place is that of the last, as of one followed no further.
    """
    if time > grid[-1]:
        return float(chance[-1]), False
    if ended:
        reached_by = grid[int(np.searchsorted(grid, time, side="left"))]
        return float(chance[int(np.searchsorted(grid, reached_by, side="right")) - 1]), True
    at = int(np.searchsorted(grid, time, side="right")) - 1
    return (float(chance[at]) if at >= 0 else 0.0), False


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


def came_by(time: ArrayLike, ended: ArrayLike, at: float) -> float:
    """Share to whom it had come by `at`, by Kaplan-Meier; NaN where nobody was followed so far.

    time: (n,) hours followed to, counted in whole minutes; ended: (n,) whether it came then.
    """
    curve = kaplan_meier(count_ends(_minutes(time), np.asarray(ended, np.bool_)))
    return float(1.0 - curve.at([_minute(at)])[0])


def weights_by(time: ArrayLike, ended: ArrayLike, at: float) -> Floats:
    """(n,) for how many each row stands where only those are asked of whom it is known whether it had come by `at`:
    0 where it is not known, else one over the chance of having been followed so far. NaN where nobody was.

    Source: Graf and others, Stat. Med. 18 (1999) 2529, from memory; checked by simulation.
    """
    when, done = _minutes(time), np.asarray(ended, np.bool_)
    limit = _minute(at)
    if not len(when) or when.max() < limit:
        return np.full(len(when), np.nan)
    by_then = done & (when <= limit)
    left = kaplan_meier(count_ends(2 * when + ~done, ~done))  # whoever ended at a moment was followed to it
    chance = left.at(2 * np.minimum(when, limit))
    known = by_then | (when >= limit)
    return np.divide(1.0, chance, out=np.zeros(len(when)), where=known & (chance > 0.0))


def brier_by(told: ArrayLike, time: ArrayLike, ended: ArrayLike, at: float) -> float:
    """Brier score of chances that it comes by `at`, with some followed no further; the weights are `weights_by`'s."""
    weight, p = weights_by(time, ended, at), np.asarray(told, np.float64)
    came = np.asarray(ended, np.bool_) & (_minutes(time) <= _minute(at))
    return float(np.sum(weight * (p - came) ** 2) / np.sum(weight))


def slope_by(told: ArrayLike, time: ArrayLike, ended: ArrayLike, at: float) -> float:
    """Calibration slope likewise: log odds of what came per log odds told; NaN where there is none."""
    weight, p = weights_by(time, ended, at), np.asarray(told, np.float64)
    came = np.asarray(ended, np.bool_) & (_minutes(time) <= _minute(at))
    rows = weight > 0.0
    odds = log_odds(p)
    if not rows.any() or not np.isfinite(odds).all():
        return float("nan")
    fit = fit_logistic(odds[rows], came[rows].astype(np.float64), weights=weight[rows])
    return float("nan") if fit is None else float(fit.coefficients[1])


def _minutes(hours: ArrayLike) -> NDArray[np.int64]:
    return np.rint(60.0 * np.asarray(hours, np.float64)).astype(np.int64)


def _minute(hours: float) -> int:
    return round(60.0 * hours)
