"""When will the air clause first hold? Exactly, by running the trend filter's own chain forward.

A run of quiet blocks as long as the rule asks must complete. With quiet mass m, arrivals e and quiet
sub-chain Q: m' = m Q + e' - e(t - D + 1) Q^(D - 1), where the last term is the chance to complete just now.
No sampling, so no sampling error; `sampler.py` is its check.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from slackwater.forecast import kernels
from slackwater.leak.filter.model import BLOCK_MIN, Calibration, FilterModel, RecordModel
from slackwater.leak.filter.run import Seen
from slackwater.leak.filter.trend import EFFORT, LEAKS, Chain, chain

Floats = NDArray[np.float64]
_Scalar = TypeVar("_Scalar", np.float64, np.bool_)

HORIZON_MIN = 7 * 24 * 60
# A state whose block keeps the clause less often is taken never to: that moves a chance by 2e-5 at most (ours).
NEGLIGIBLE = 0.1


@dataclass(frozen=True)
class AirClause:
    """What is waited for: recorded flow within the limit for so long without a break.

    bin_min: mean over so many minutes; None: every reading.
    """

    limit_ml_per_min: float
    lasting_min: int
    bin_min: int | None = None


@dataclass(frozen=True)
class Habit:
    """How this stay's largest readings lie over its mean flow, so far.

    mean, spread: of log((largest + softness) / (mean flow + softness)) within a block, while it leaks at rest.
    breaks: share of blocks without a leak at rest that broke the clause all the same: coughs, walks.
    """

    mean: float
    spread: float
    breaks: float


@dataclass(frozen=True, eq=False)
class Times:
    """Distribution of a time: chance that it has come by each of `minutes` (ascending), in steps: a run completes
    at a moment. 1 - chance[-1]: not by then."""

    minutes: Floats
    chance: Floats

    def by(self, minute: float) -> float:
        """Chance that it has come by `minute`.

        >>> Times(np.array([10.0, 20.0]), np.array([0.25, 0.75])).by(15.0)
        0.25
        """
        return float(self.at(np.array([minute]))[0])

    def at(self, minutes: Floats) -> Floats:
        """The same for many."""
        k = np.searchsorted(self.minutes, minutes + 1e-9, side="right") - 1
        return np.where(k >= 0, self.chance[np.maximum(k, 0)], 0.0)

    def quantile(self, share: float) -> float | None:
        """Minutes by which it has come with chance `share`; None where that lies beyond the last minute."""
        at = int(np.searchsorted(self.chance, share))
        return None if at >= len(self.chance) else float(self.minutes[at])


MET_NOW = Times(np.array([0.0, 1.0]), np.array([1.0, 1.0]))


def habit_of(given: Seen, worst_high: Floats, limit_ml_per_min: float, softness: float, model: RecordModel) -> Habit:
    """This stay's habit from its own blocks, the later ones counting more, over a start that all stays share.

    worst_high: largest the clause looked at in each minute, upper bound of its cell, mL/min; NaN where unknown.
    """
    whole = len(given) // BLOCK_MIN

    def blocked(values: NDArray[_Scalar]) -> NDArray[_Scalar]:
        return values[: whole * BLOCK_MIN].reshape(whole, BLOCK_MIN)

    ok = blocked(given.usable) & np.isfinite(blocked(worst_high))
    count = ok.sum(axis=1)
    told = count >= BLOCK_MIN // 2
    count = np.maximum(count, 1)
    flow = np.where(ok, blocked(given.flow), 0.0).sum(axis=1) / count
    cell = np.where(ok, blocked(given.high - given.low), 0.0).sum(axis=1) / count
    worst = np.where(ok, blocked(worst_high), 0.0).max(axis=1, initial=0.0)
    leaking = flow > np.maximum(1.5 * softness, cell)
    weight = np.where(told, np.exp(-np.arange(whole - 1, -1, -1) / model.forgets_blocks), 0.0)
    level = np.maximum(flow, 0.0) + softness
    logs = np.log((np.maximum(worst, 0.0) + softness) / level)
    at_rest = weight * leaking
    total = at_rest.sum() + model.counts_as
    mean = (model.counts_as * model.ratio_mean + (at_rest * logs).sum()) / total
    square = model.counts_as * (model.ratio_spread**2 + (model.ratio_mean - mean) ** 2)
    spread = np.sqrt((square + (at_rest * (logs - mean) ** 2).sum()) / total)
    quiet = weight * ~leaking
    broke = model.counts_as * model.effort_breaks + (quiet * (worst > limit_ml_per_min)).sum()
    return Habit(float(mean), float(max(spread, 0.05)), float(broke / (model.counts_as + quiet.sum())))


def keeps_clause(links: Chain, drive_cmh2o: float, clause: AirClause, habit: Habit, model: RecordModel) -> Floats:
    """Chance, for each state, that a block's record stays within the clause at this driving pressure."""
    soft = links.model.softness_ml_per_min
    leak = links.conductance * drive_cmh2o
    off = (np.log((clause.limit_ml_per_min + soft) / (leak + soft)) - habit.mean) / habit.spread
    keeps = 1.0 / (1.0 + np.exp(-1.702 * np.clip(off, -40.0, 40.0)))  # logistic, near the normal distribution
    keeps = np.where(
        links.kind == LEAKS, keeps, 1.0 - min(model.sealed_breaks + model.sealed_share * habit.breaks, 0.9)
    )
    keeps = np.where(links.kind == EFFORT, 1.0 - min(habit.breaks, 0.9), keeps)
    return np.where(keeps < NEGLIGIBLE, 0.0, keeps)


def air_times(
    state: Floats, filters: FilterModel, trend_chain: Chain | None, drive_cmh2o: float, clause: AirClause, habit: Habit,
    run_min: float, *, horizon_min: int = HORIZON_MIN,
) -> Times:  # fmt: skip
    """Distribution of minutes from now until the clause first holds.

    state: chance of each state of the chain now. run_min: how long the clause's run has lasted by now.
    """
    links = trend_chain or chain(filters.trend)
    lacking = clause.lasting_min - run_min
    if lacking <= 0:
        return MET_NOW
    quiet = keeps_clause(links, drive_cmh2o, clause, habit, filters.record)
    lasting = max(1, round(clause.lasting_min / BLOCK_MIN))
    running = run_min >= BLOCK_MIN / 2
    left = max(1, int(np.ceil(lacking / BLOCK_MIN))) if running else 0
    left = min(left, lasting)
    offset = lacking - left * BLOCK_MIN if running else 0.0  # so that the run under way completes on a block's end
    members = np.flatnonzero(quiet > 0.0).astype(np.int32)
    within = links.passes[np.ix_(members, members)] * quiet[members]
    rest = np.ascontiguousarray(np.linalg.matrix_power(within, lasting - 1)).ravel()
    alive = np.ascontiguousarray(state, dtype=np.float64).copy()
    if running:  # the last block was quiet: what was seen is in the state already
        first, broken = np.where(quiet > 0.0, alive, 0.0), np.zeros_like(alive)
        broken[quiet == 0.0] = alive[quiet == 0.0]
    else:
        first, broken = np.zeros_like(alive), alive.copy()
    steps = max(1, horizon_min // BLOCK_MIN)
    done = np.zeros(steps)
    kernels.first_run(
        alive, broken, first, links.pointer, links.column, links.weight, quiet, members, rest, lasting, left,
        np.zeros(lasting * len(members)), np.zeros(len(links)), done,
    )  # fmt: skip
    minutes = np.concatenate(([0.0], offset + BLOCK_MIN * np.arange(1.0, steps + 1)))
    return Times(minutes, np.concatenate(([0.0], np.minimum(np.cumsum(done), 1.0))))


def calibrated(times: Times, correction: Calibration) -> Times:
    """The chances after the monotone correction learnt on other stays, up to the horizon that was tried."""
    if times is MET_NOW:
        return times
    inside = times.minutes <= correction.horizon_h * 60.0 + 1e-9
    chance = np.interp(times.chance[inside], correction.forecast, correction.observed)
    return Times(times.minutes[inside], np.maximum.accumulate(chance))
