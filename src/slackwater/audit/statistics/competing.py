"""Which end comes first, and by when: cumulative incidence where ends compete, and Gray's test of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.audit.statistics.ends import Ends, Ints, padded
from slackwater.audit.statistics.special import two_sided_z
from slackwater.audit.statistics.survival import Comparison, compared

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Incidence:
    """Share that ended by one cause: it stands at `share` from `time` to before the next."""

    time: Ints  # (k,) when anybody ended, by whatever cause
    at_risk: Ints  # (k,)
    share: Floats  # (k,) ended by the cause by then
    variance: Floats  # (k,) of the share
    last: int  # the latest time anybody was followed to
    all_ended: bool

    def at(self, times: ArrayLike) -> Floats:
        """The share at each time; NaN beyond the last follow-up, unless all had ended."""
        return self._stepped(np.concatenate([[0.0], self.share]), times)

    def variance_at(self, times: ArrayLike) -> Floats:
        return self._stepped(np.concatenate([[0.0], self.variance]), times)

    def interval_at(self, times: ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
        """Low and high at each time, on the log-log scale; NaN where the share is 0 or 1.

        Source: Kalbfleisch & Prentice, as in `survival`, from memory.
        """
        share = self.at(times)
        share = np.where((share > 0.0) & (share < 1.0), share, np.nan)
        factor = np.exp(two_sided_z(level) * np.sqrt(self.variance_at(times)) / (share * -np.log(share)))
        return share**factor, share ** (1.0 / factor)

    def _stepped(self, values: Floats, times: ArrayLike) -> Floats:
        when = np.asarray(times)
        found: Floats = values[np.searchsorted(self.time, when, side="right")]
        return found if self.all_ended else np.where(when > self.last, np.nan, found)


def cumulative_incidence(ends: Ends, cause: int) -> Incidence:
    """Share ended by `cause` over time, where others may end otherwise first.

    Source: Aalen & Johansen, Scand. J. Stat. 5 (1978) 141, for one step; the variance sums, over the ends so far, the
    square of what one end more would have moved the share at t, with the finite correction for ties. Argued from the
    estimator's martingale form, from memory; it agrees with R's cmprsk to all digits kept (tests/reference).
    """
    there, of_cause, gone = ends.at_risk, ends.ended(cause), ends.ended()
    time = np.flatnonzero(gone)
    n, d = there[time].astype(np.float64), gone[time].astype(np.float64)
    d1 = of_cause[time].astype(np.float64)
    after = np.cumprod((n - d) / n)
    before = np.concatenate([[1.0], after[:-1]])
    share = np.cumsum(before * d1 / n)
    own = _tie_corrected(d1, n) * (before / n) ** 2
    other = _tie_corrected(d - d1, n) * (before / n) ** 2
    # One end by the cause at s moves the share at t by 1 - (F(t) - F(s)) / S(s), any other by -(F(t) - F(s)) / S(s).
    # Once nobody is left nothing more comes, so F(t) = F(s) and the quotient is nought.
    inverse = np.divide(1.0, after, out=np.zeros_like(after), where=after > 0.0)
    own_level, other_level = 1.0 + share * inverse, share * inverse
    squares = np.cumsum(own * own_level**2 + other * other_level**2)
    crossed = np.cumsum((own * own_level + other * other_level) * inverse)
    slopes = np.cumsum((own + other) * inverse**2)
    variance = squares - 2.0 * share * crossed + share**2 * slopes
    all_ended = bool(len(after)) and after[-1] == 0.0
    return Incidence(time, there[time], share, np.maximum(variance, 0.0), ends.last, bool(all_ended))


def _tie_corrected(d: Floats, n: Floats) -> Floats:
    """d ends of n at one time, as the variance of their number counts them."""
    return d * (1.0 - np.divide(d - 1.0, n - 1.0, out=np.zeros_like(n), where=(n > 1.0) & (d > 0.0)))


def gray_test(groups: Sequence[Ends], cause: int) -> Comparison:
    """Whether the groups' cumulative incidence of `cause` differs.

    A log-rank test in which those who ended otherwise stay in the set at risk, weighted by what censoring leaves of
    it. Source: Gray, Ann. Stat. 16 (1988) 1141, rho 0; the variance derived anew from the influence of each end.
    """
    shape = max(len(group.counts) for group in groups), max(group.counts.shape[1] for group in groups)
    aligned = [Ends(padded(group.counts, *shape)) for group in groups]
    when = np.flatnonzero(sum(group.ended() for group in aligned))
    n = np.stack([group.at_risk[when] for group in aligned]).astype(np.float64)  # (groups, times)
    d = np.stack([group.ended()[when] for group in aligned]).astype(np.float64)
    d1 = np.stack([group.ended(cause)[when] for group in aligned]).astype(np.float64)
    there = n > 0.0
    per_n = np.divide(1.0, n, out=np.zeros_like(n), where=there)
    after = np.asarray(np.cumprod(1.0 - d * per_n, axis=1), np.float64)  # S, each group's own
    before: Floats = np.ones_like(after)
    before[:, 1:] = after[:, :-1]
    share_after = np.cumsum(before * d1 * per_n, axis=1)
    share_before = np.zeros_like(after)
    share_before[:, 1:] = share_after[:, :-1]
    per_before = np.divide(1.0, before, out=np.zeros_like(before), where=there & (before > 0.0))
    free = n * per_before  # those at risk, as if nobody had ended otherwise or otherwise left but by censoring
    own_set = free * (1.0 - share_before)
    all_d1 = d1.sum(axis=0)
    expected = (own_set / own_set.sum(axis=0)) @ all_d1
    covariance = _gray_covariance(n, d - d1, all_d1, before, after, free)
    return compared(d1.sum(axis=1), expected, covariance, "Gray's test")


def _gray_covariance(n: Floats, d2: Floats, all_d1: Floats, before: Floats, after: Floats, free: Floats) -> Floats:
    """(groups, groups). Under the null all groups share one incidence F, estimated from all with weights `free`."""
    groups = len(n)
    all_free = free.sum(axis=0)
    step = all_d1 / all_free
    pooled_after = np.cumsum(step)
    pooled_before = np.zeros_like(step)
    pooled_before[1:] = pooled_after[:-1]
    part = free / all_free
    # weight[i, k]: how an increment of group k's incidence enters group i's score
    weight = free[:, None, :] * (np.eye(groups)[:, :, None] - part[None, :, :])
    reach = np.cumsum(weight * (step / (1.0 - pooled_before)), axis=2)
    to_come = (reach[:, :, -1:] - reach) if reach.size else reach
    there = n > 0.0
    ratio = np.divide(1.0 - pooled_after, after, out=np.zeros_like(after), where=there & (after > 0.0))
    of_cause = weight + to_come * np.where(after > 0.0, 1.0 - ratio, 1.0)[None]
    of_other = to_come * ratio[None]
    ties = 1.0 - np.divide(all_d1 - 1.0, all_free * before - 1.0, out=np.zeros_like(n), where=all_d1 > 1.0)
    variance_1 = np.divide(ties * before * step, n, out=np.zeros_like(n), where=there)
    variance_2 = np.divide(_tie_corrected(d2, n) * before**2, n**2, out=np.zeros_like(n), where=there)
    covariance: Floats = np.einsum("ikt,jkt,kt->ij", of_cause, of_cause, variance_1)
    covariance += np.einsum("ikt,jkt,kt->ij", of_other, of_other, variance_2)
    return covariance
