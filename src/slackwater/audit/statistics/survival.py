"""How long until it ends, where some were not followed to their end: Kaplan-Meier, and the log-rank test.

Where another end can come first (death, transfer, home with the drain), 'will it be out by day x' is asked of
`competing`, not of this: one minus this curve says too much.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.audit.statistics.ends import Ends, Ints, padded
from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.special import chi_squared_tail, two_sided_z
from slackwater.errors import UsageError

Floats = NDArray[np.float64]
HAIR = 1e-12
"""A share that meets 0.5 exactly may miss it in its last digit."""


@dataclass(frozen=True, eq=False)
class Curve:
    """A survival curve: it stands at `share` from `time` to before the next. Times at which something ended only."""

    time: Ints  # (k,)
    at_risk: Ints  # (k,)
    ended: Ints  # (k,)
    share: Floats  # (k,) not yet ended
    greenwood: Floats  # (k,) variance of the log of `share`; infinite once nobody is left
    last: int  # the latest time anybody was followed to

    def at(self, times: ArrayLike) -> Floats:
        """The share at each time; NaN beyond the last follow-up, unless nobody was left by then."""
        return self._stepped(np.concatenate([[1.0], self.share]), times)

    def standard_error(self) -> Floats:
        """(k,) of the share; NaN once nobody is left. Source: Greenwood 1926, from memory."""
        with np.errstate(invalid="ignore"):
            return np.where(self.share > 0.0, self.share * np.sqrt(self.greenwood), np.nan)

    def interval(self, level: float = 0.95, scale: str = "log-log") -> tuple[Floats, Floats]:
        """(k,) low and high at `time`; NaN where the share is 0 or 1, for there the formula says nothing.

        scale: 'log-log', which stays within 0 to 1 (Kalbfleisch & Prentice, from memory), or 'log', cut off at 1.
        """
        z, s = two_sided_z(level), np.where((self.share > 0.0) & (self.share < 1.0), self.share, np.nan)
        if scale == "log-log":
            factor = np.exp(z * np.sqrt(self.greenwood) / -np.log(s))
            return s**factor, s ** (1.0 / factor)
        if scale == "log":
            factor = np.exp(z * np.sqrt(self.greenwood))
            return s / factor, np.minimum(s * factor, 1.0)
        raise UsageError(f"no scale {scale!r}", where="interval", mend="Scales: log-log, log.")

    def interval_at(self, times: ArrayLike, level: float = 0.95, scale: str = "log-log") -> tuple[Floats, Floats]:
        """Low and high at each of `times`; NaN before anything ended."""
        low, high = (self._stepped(np.concatenate([[np.nan], side]), times) for side in self.interval(level, scale))
        return low, high

    def _stepped(self, values: Floats, times: ArrayLike) -> Floats:
        when = np.asarray(times)
        found: Floats = values[np.searchsorted(self.time, when, side="right")]
        nobody_left = len(self.share) > 0 and self.share[-1] == 0.0
        return found if nobody_left else np.where(when > self.last, np.nan, found)


def kaplan_meier(ends: Ends, cause: int | None = None) -> Curve:
    """Share not yet ended, over time; with `cause`, other ends count as followed no further.

    Source: Kaplan & Meier, J. Am. Stat. Assoc. 53 (1958) 457; Greenwood's variance. Ends before censorings of one time.

    >>> from slackwater.audit.statistics.ends import count_ends
    >>> kaplan_meier(count_ends([1, 2, 2, 3], [1, 1, 0, 1])).share.tolist()
    [0.75, 0.5, 0.0]
    """
    there = ends.at_risk
    gone = ends.ended(cause)
    time = np.flatnonzero(gone > 0)
    n, d = there[time].astype(np.float64), gone[time].astype(np.float64)
    stay = n - d
    with np.errstate(divide="ignore"):
        greenwood = np.cumsum(d / (n * stay))
    share = np.asarray(np.cumprod(stay / n), np.float64)
    return Curve(time, there[time], gone[time], share, greenwood, ends.last)


def time_until(curve: Curve, share: float = 0.5, level: float = 0.95, scale: str = "log-log") -> Estimate:
    """The time by which `share` of them had ended: 0.5 for the median. In the curve's unit; None: not reached.

    The first time at which no more than 1 - share are left; the interval holds the times at which the curve's own
    interval crosses that. Source: Brookmeyer & Crowley, Biometrics 38 (1982) 29, from memory.
    """
    left = 1.0 - share + HAIR
    low, high = curve.interval(level, scale)
    ended_all = curve.share == 0.0  # there the formula says nothing, and the sample has no one left
    return Estimate(
        _first(curve.time, curve.share <= left),
        _first(curve.time, (low <= left) | ended_all),
        _first(curve.time, high <= left),
        level,
        f"Kaplan-Meier, {scale} interval",
    )


def _first(time: Ints, held: NDArray[np.bool_]) -> float | None:
    return float(time[np.argmax(held)]) if held.any() else None


def restricted_mean(curve: Curve, until: int, level: float = 0.95) -> Estimate:
    """Mean time to the end, counting no more than `until`; None if follow-up ended before that.

    Where nothing ended before `until` the ends are None, for the formula gives no width there.
    Area under the curve up to `until`; variance from Greenwood's terms, each times the square of the area still to
    come. Source: Irwin 1949 and later textbooks, from memory.
    """
    method = f"restricted mean up to {until}"
    if np.isnan(curve.at([until])[0]):
        return Estimate(None, None, None, level, method)
    early = curve.time < until
    edges = np.concatenate([[0], curve.time[early], [until]])
    areas = np.diff(edges) * np.concatenate([[1.0], curve.share[early]])
    if not early.any():
        return Estimate(float(until), None, None, level, method)
    to_come = areas[::-1].cumsum()[::-1][1:]
    n, d = curve.at_risk[early].astype(np.float64), curve.ended[early]
    there = n > d  # nobody left: no area to come either
    variance = float(np.sum(to_come[there] ** 2 * d[there] / (n[there] * (n[there] - d[there]))))
    mean, reach = float(areas.sum()), two_sided_z(level) * variance**0.5
    return Estimate(mean, max(mean - reach, 0.0), min(mean + reach, float(until)), level, method)


@dataclass(frozen=True)
class Comparison:
    """A test of whether groups differ. observed, expected: ends a group; chance: of such a difference if none is."""

    statistic: float
    degrees: int
    chance: float
    observed: tuple[float, ...]
    expected: tuple[float, ...]
    method: str


def log_rank(groups: Sequence[Ends], cause: int | None = None) -> Comparison:
    """Whether the groups end at one rate; with `cause`, other ends count as followed no further.

    Source: Mantel 1966; Peto & Peto 1972; hypergeometric variance, from memory. It looks at the whole of the curves,
    and where they cross it sees little.
    """
    shape = max(len(group.counts) for group in groups), max(group.counts.shape[1] for group in groups)
    aligned = [Ends(padded(group.counts, *shape)) for group in groups]
    gone = np.stack([group.ended(cause) for group in aligned])
    when = np.flatnonzero(gone.any(axis=0))
    d = gone.take(when, axis=1).astype(np.float64)
    n = np.stack([group.at_risk.take(when) for group in aligned]).astype(np.float64)
    all_d, all_n = d.sum(axis=0), n.sum(axis=0)
    share = n / all_n
    expected = share @ all_d
    spread = np.where(all_n > 1.0, all_d * (all_n - all_d) / np.maximum(all_n - 1.0, 1.0), 0.0)
    covariance = np.diag(share @ spread) - (share * spread) @ share.T
    return compared(d.sum(axis=1), expected, covariance, "log-rank test")


def compared(observed: Floats, expected: Floats, covariance: Floats, method: str) -> Comparison:
    """The quadratic form of observed less expected, over its covariance without the last group."""
    off = (observed - expected)[:-1]
    degrees = int(np.linalg.matrix_rank(covariance[:-1, :-1]))
    statistic = float(off @ np.linalg.pinv(covariance[:-1, :-1]) @ off)
    chance = chi_squared_tail(statistic, degrees) if degrees else float("nan")
    return Comparison(statistic, degrees, chance, tuple(observed.tolist()), tuple(expected.tolist()), method)
