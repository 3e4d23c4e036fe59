"""Runs below a limit and sliding means, minute by minute, each with what is certain and what is possible."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.errors import UsageError
from slackwater.reading.log import NONE, Ints
from slackwater.trace import kernels
from slackwater.trace.rows import sealed

Floats = NDArray[np.float64]

LONGEST_WINDOW = 14 * 24 * 60  # minutes; sums in `sliding_mean_bounds` stay within 64 bits
_GRAIN = 120_000_000  # half µL/min x ms in a minute: every minute mean is a whole number of these


@dataclass(frozen=True, eq=False)
class Runs:
    """For each minute, how many minutes the run below the limit has lasted that ends with it. Length n."""

    certain: Ints  # every minute of it surely below
    possible: Ints  # no minute of it surely not below


def runs_below(
    low: Floats,
    high: Floats,
    limit: float,
    *,
    at_most: bool = False,
    unknown: NDArray[np.bool_] | None = None,
) -> Runs:
    """Runs below `limit` (with `at_most`: at or below it), of values known to lie in [low, high].

    A minute of which nothing is known (`unknown`, NaN, or a limit within its bounds) ends the certain
    run and continues the possible one. Values and limit in one unit, arrays of length n.

    >>> runs = runs_below(np.array([0.0, 0.0, 80.0]), np.array([10.0, np.inf, 90.0]), 50.0)
    >>> runs.certain.tolist(), runs.possible.tolist()
    ([1, 0, 0], [1, 2, 0])
    """
    n = len(low)
    doubt = np.zeros(n, np.uint8) if unknown is None else np.asarray(unknown, np.bool_).view(np.uint8)
    certain, possible = np.empty(n, np.int32), np.empty(n, np.int32)
    kernels.runs(_floats(low), _floats(high), doubt, limit, at_most, certain, possible)
    return Runs(sealed(certain), sealed(possible))


def sliding_mean_bounds(low: Floats, high: Floats, covered: Floats, width: int) -> tuple[Floats, Floats]:
    """Bounds of the mean over the last `width` minutes, at each minute's end; mL/min, length n.

    A part of a minute that was not recorded may have held anything from nothing upwards, and so may
    the minutes before the first: one of them in the window and the upper bound is infinite. Sums are
    made on whole numbers, so ten minutes at 49.9 mean 49.9. Raises UsageError for a window that is
    not of 1 to 20,160 minutes.

    >>> low, high = sliding_mean_bounds(np.full(3, 49.9), np.full(3, 49.9), np.array([1.0, 1.0, 0.5]), 2)
    >>> low.tolist(), high.tolist()
    ([24.95, 49.9, 37.425], [inf, 49.9, inf])
    """
    if not 1 <= width <= LONGEST_WINDOW:
        raise UsageError(f"a mean over {width} minutes", mend=f"Ask for 1 to {LONGEST_WINDOW} minutes.")
    recorded = (covered > 0) & (low > 0)  # false for NaN
    whole = (covered >= 1) & (high >= 0) & np.isfinite(high)
    grains_low = np.rint(np.where(recorded, low * covered, 0.0) * _GRAIN).astype(np.int64)
    grains_high = np.rint(np.where(whole, high, -1.0) * _GRAIN).astype(np.int64)
    mean_low, mean_high = np.empty(len(low)), np.empty(len(low))
    kernels.sliding_means(grains_low, grains_high, width, float(_GRAIN), mean_low, mean_high)
    return sealed(mean_low), sealed(mean_high)


def rolling_max(values: Floats, width: int, *, enough: int = 1) -> Floats:
    """Largest of the last `width` values at each place; NaN is passed over.

    NaN stands where fewer than `enough` values are left.

    >>> rolling_max(np.array([1.0, 3.0, np.nan, 2.0, 0.0]), 3).tolist()
    [1.0, 3.0, 3.0, 3.0, 2.0]
    """
    _check(width, enough)
    out = np.empty(len(values))
    kernels.rolling_max(_floats(values), width, enough, np.empty(len(values), np.int32), out)
    return sealed(out)


def rolling_median(values: Ints, width: int, *, enough: int = 1) -> Floats:
    """Median of the last `width` integers at each place (device steps); NONE is passed over.

    NaN stands where fewer than `enough` values are left. Exact, and
    in constant time a value, since a display has few steps: memory grows with the distance from the
    least value to the greatest, which may be 10 million at most (UsageError).

    >>> rolling_median(np.array([1, 3, 2, 8], np.int32), 3).tolist()
    [1.0, 2.0, 2.0, 3.0]
    """
    _check(width, enough)
    given = values[values != NONE]
    out = np.full(len(values), np.nan)
    if len(given):
        smallest, largest = int(given.min()), int(given.max())
        if largest - smallest > 10_000_000:
            raise UsageError(
                f"values from {smallest} to {largest} are too far apart", mend="Give them in device steps."
            )
        tally = np.zeros(largest - smallest + 1, np.int32)
        kernels.rolling_median(np.ascontiguousarray(values, np.int32), smallest, width, enough, tally, out)
    return sealed(out)


def _check(width: int, enough: int) -> None:
    if width < 1 or enough > width:
        raise UsageError(f"a window of {width} with at least {enough} values", mend="Let it be wide enough for them.")


def _floats(values: Floats) -> Floats:
    return np.ascontiguousarray(values, np.float64)
