"""A robust straight line through points, and Student's quantile: what charge and fade are fitted with."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MOST_POINTS = 300  # more are thinned evenly: pairs grow with the square


@dataclass(frozen=True)
class Line:
    """y = at_zero + slope·x, the slope's interval beside it. It turns about `middle`, the median of x."""

    slope: float
    at_zero: float
    low: float
    high: float
    middle: float = 0.0

    def at(self, x: float, slope: float | None = None) -> float:
        """y at x, by the line or by another slope through its middle."""
        steeper = 0.0 if slope is None else slope - self.slope
        return self.at_zero + self.slope * x + steeper * (x - self.middle)


def theil_sen(x: Floats, y: Floats, level: float = 0.90) -> Line | None:
    """Median of the slopes of all pairs, with Sen's interval; None where no two x differ.

    A few wild points do not move it. Sources: Theil 1950; Sen, J. Am. Stat. Assoc. 63 (1968) 1379, whose interval
    counts ties. Checked against scipy.stats.theilslopes.
    """
    if len(x) > MOST_POINTS:
        some = np.linspace(0, len(x) - 1, MOST_POINTS).round().astype(int)
        x, y = x[some], y[some]
    first, second = np.triu_indices(len(x), 1)
    apart = x[second] - x[first]
    differ = apart != 0
    slopes = np.sort((y[second] - y[first])[differ] / apart[differ])
    if not len(slopes):
        return None
    n, pairs = len(y), len(slopes)
    spread = math.sqrt(max((_ties(n) - sum(map(_ties, _repeats(x))) - sum(map(_ties, _repeats(y)))) / 18.0, 0.0))
    reach = NormalDist().inv_cdf(0.5 + level / 2.0) * spread
    upper = min(round((pairs + reach) / 2.0), pairs - 1)
    lower = max(round((pairs - reach) / 2.0) - 1, 0)
    slope = float(np.median(slopes))
    return Line(slope, float(np.median(y) - slope * np.median(x)), float(slopes[lower]), float(slopes[upper]),
                float(np.median(x)))  # fmt: skip


def _ties(count: int) -> int:
    return count * (count - 1) * (2 * count + 5)


def _repeats(values: Floats) -> list[int]:
    return [int(count) for count in np.unique(values, return_counts=True)[1] if count > 1]


def students_quantile(share: float, freedom: int) -> float:
    """Student's t below which `share` lies; from 3 degrees of freedom on good to 0.01.

    The expansion about the normal quantile of Abramowitz and Stegun, 26.7.5 (from memory), checked against scipy.
    """
    z, v = NormalDist().inv_cdf(share), float(freedom)
    terms = (
        z,
        (z**3 + z) / 4.0,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96.0,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384.0,
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160.0,
    )
    return sum(term / v**power for power, term in enumerate(terms))
