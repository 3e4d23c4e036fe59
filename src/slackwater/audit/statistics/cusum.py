"""Has the outcome changed, patient by patient, each against his own risk? CUSUM, its limit, and observed less expected.

The chart is only as fair as the risk it is given, and a change in the mix of patients moves how often it crosses its
limit by chance: state the mix beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.errors import UsageError

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Cusum:
    """path: (n,) after each patient; from 0 up for an odds ratio above 1, from 0 down below 1.

    crossed: the first patient (counted from 0) after whom the path lies beyond the limit; None: nowhere.
    left_out: patients whose outcome or risk is not known. They add nothing, and the chart cannot speak for them.
    """

    path: Floats
    odds_ratio: float
    limit: float
    crossed: int | None
    left_out: int


def cusum(happened: ArrayLike, risk: ArrayLike, odds_ratio: float, limit: float) -> Cusum:
    """Whether the odds of the event have become `odds_ratio` times what each patient's risk says.

    happened: (n,) 1, 0 or NaN, in order of time; risk: (n,) 0 to 1 or NaN, from a model made before. odds_ratio: 2
    looks for twice the odds, 0.5 for half; draw both. limit: positive above, negative below; see `limit_for`. The
    path is not set back after it crossed. Source: Steiner et al., Biostatistics 1 (2000) 441.
    """
    if not odds_ratio > 0.0 or odds_ratio == 1.0 or (limit > 0.0) != (odds_ratio > 1.0):
        raise UsageError(
            f"odds ratio {odds_ratio} with limit {limit}",
            where="CUSUM",
            mend="Above 1 the limit is positive, below 1 negative.",
        )
    outcome, chance = _known(happened, risk)
    score = scores(outcome, chance, odds_ratio)
    unknown = np.isnan(score)
    score[unknown] = 0.0
    path = _held_at_nought(score)
    beyond = np.flatnonzero(path > abs(limit))
    return Cusum(
        path if odds_ratio > 1.0 else -path,
        odds_ratio,
        limit,
        int(beyond[0]) if len(beyond) else None,
        int(unknown.sum()),
    )


def scores(happened: Floats, risk: Floats, odds_ratio: float) -> Floats:
    """Log likelihood ratio of each outcome, the odds times `odds_ratio` against as they are. Steiner et al. 2000."""
    return np.asarray(happened * np.log(odds_ratio) - np.log1p(risk * (odds_ratio - 1.0)))


def _held_at_nought(score: Floats) -> Floats:
    """Sums that never fall below 0, along the last axis: the sum less the lowest it has been."""
    total = np.cumsum(score, axis=-1)
    held: Floats = total - np.minimum(np.minimum.accumulate(total, axis=-1), 0.0)
    return held


@dataclass(frozen=True)
class Limit:
    """run_length: patients until a chance crossing, on average, where nothing has changed; error: of the simulation."""

    limit: float
    run_length: float
    error: float
    charts: int
    longest: int


def limit_for(
    risks: ArrayLike, odds_ratio: float, run_length: float, chance: np.random.Generator, charts: int = 1000
) -> Limit:
    """The limit that chance alone crosses once in `run_length` patients of this mix, found by simulation.

    risks: (m,) of past patients, drawn from again; their outcomes are drawn at those risks. Each of `charts` runs is
    followed for four run lengths; one not crossed by then counts as followed, as for any constant rate.
    """
    mix = np.asarray(risks, np.float64)
    if not len(mix) or np.isnan(mix).any() or (mix < 0).any() or (mix > 1).any():
        raise UsageError("a risk is missing or not 0 to 1", where="CUSUM limit", mend="Leave unknown risks out.")
    longest = round(4 * run_length)
    heights, moments = [], []
    for _ in range(charts):
        risk = mix[chance.integers(0, len(mix), longest)]
        path = _held_at_nought(scores((chance.random(longest) < risk).astype(np.float64), risk, odds_ratio))
        highest = np.maximum.accumulate(path)
        new = np.flatnonzero(np.diff(highest, prepend=0.0) > 0.0)
        heights.append(highest[new])
        moments.append(np.append(new + 1, longest))

    def followed(limit: float) -> tuple[float, int]:
        at = [int(np.searchsorted(height, limit, side="right")) for height in heights]
        crossed = sum(k < len(height) for k, height in zip(at, heights, strict=True))
        return float(sum(moment[k] for k, moment in zip(at, moments, strict=True))), crossed

    low, high = 0.0, max(float(height[-1]) if len(height) else 0.0 for height in heights)
    for _ in range(50):
        middle = (low + high) / 2.0
        total, crossed = followed(middle)
        if crossed and total / crossed < run_length:
            low = middle
        else:
            high = middle
    total, crossed = followed(high)
    if not crossed:
        raise UsageError("no chart crossed any limit", where="CUSUM limit", mend="Ask for more charts.")
    mean = total / crossed
    return Limit(high if odds_ratio > 1.0 else -high, mean, mean / crossed**0.5, charts, longest)


@dataclass(frozen=True, eq=False)
class Excess:
    """path: (n,) events so far less those expected; up is more than expected. error: (n,) of it by chance alone."""

    path: Floats
    error: Floats
    left_out: int


def observed_less_expected(happened: ArrayLike, risk: ArrayLike) -> Excess:
    """The running excess of events, to show size where `cusum` shows evidence; it has no limit of its own.

    A variable life-adjusted display with its sign turned. Source: Lovegrove et al., Lancet 350 (1997) 1128, from
    memory. error: square root of the summed risk (1 - risk); for one moment chosen beforehand, not for a look at each.
    """
    outcome, chance = _known(happened, risk)
    off = outcome - chance
    unknown = np.isnan(off)
    off[unknown] = 0.0
    spread = np.where(unknown, 0.0, chance * (1.0 - chance))
    return Excess(np.cumsum(off), np.sqrt(np.cumsum(spread)), int(unknown.sum()))


def _known(happened: ArrayLike, risk: ArrayLike) -> tuple[Floats, Floats]:
    outcome, chance = np.asarray(happened, np.float64), np.asarray(risk, np.float64)
    if outcome.shape != chance.shape or ((chance < 0) | (chance > 1)).any():
        raise UsageError("outcomes and risks do not fit", where="CUSUM", mend="Give one of each, risks from 0 to 1.")
    return outcome, chance
