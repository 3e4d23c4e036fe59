"""How this stay's record lies over its leak: the usual ratio of the largest reading, and bursts by day and by night.

A clause on every reading is broken by a cough as much as by a leak. People cough and walk when awake, so a run of
eight hours often completes in the early morning; the hour of the day belongs in the forecast.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.filter.model import BLOCK_MIN, RecordModel
from slackwater.leak.filter.run import Seen
from slackwater.leak.filter.trend import LEAKS, SEALED, SHUT, Chain

Floats = NDArray[np.float64]
_Scalar = TypeVar("_Scalar", np.float64, np.bool_)

# A state whose block keeps the clause less often is taken never to: that moves a chance by 2e-5 at most (ours).
NEGLIGIBLE = 0.1
LATELY_BLOCKS = 6  # what 'now' is taken from (ours)


@dataclass(frozen=True)
class Habit:
    """mean, spread: of log((largest + softness) / (mean flow + softness)) in a block without a burst, while it leaks.

    bursts: bursts in a block of waking hours, once no larger leak hides them; asleep: share of that at night.
    """

    mean: float
    spread: float
    bursts: float
    asleep: float


def awake(hours: Floats, model: RecordModel) -> Floats:
    """How far people are awake at these hours of the clock, 0..1.

    >>> awake(np.array([3.0, 12.0]), RecordModel()).round(2).tolist()
    [0.0, 1.0]
    """
    from_noon = (np.asarray(hours) - 12.0) % 24.0

    def passed(hour: float) -> Floats:
        return np.asarray(1.0 / (1.0 + np.exp(-1.7 * (from_noon - (hour - 12.0) % 24.0) / model.edge_h)))

    return np.asarray(1.0 - passed(model.sleeps_h) * (1.0 - passed(model.wakes_h)))


def habit_of(
    given: Seen, worst_high: Floats, limit_ml_per_min: float, softness: float, model: RecordModel,
    first_hour: float | None = None,
) -> Habit:  # fmt: skip
    """This stay's habit from its own blocks, later and like ones counting more, over a start that all stays share.

    worst_high: largest the clause looked at in each minute, upper bound of its cell, mL/min; NaN where unknown.
    first_hour: of the clock in the first minute; None where not known.
    """
    told, flow, cell, worst = _gathered(given, worst_high)
    weight = np.where(told, np.exp(-np.arange(len(told) - 1, -1, -1) / model.forgets_blocks), 0.0)
    leaking = told & (flow > np.maximum(1.5 * softness, cell))
    mean, spread = _usual(np.log((worst + softness) / (flow + softness))[leaking], weight[leaking], model)
    usual = np.where(leaking, (flow + softness) * np.exp(mean + model.far * spread) - softness, np.maximum(flow, cell))
    now = float(flow[told][-LATELY_BLOCKS:].mean()) if told.any() else 0.0
    # what a burst must add to break the clause from the present level, or from below it where that is high
    room = max(limit_ml_per_min - now * float(np.exp(mean)), model.burst_share * limit_ml_per_min)
    burst = told & (worst - usual > room)
    # bursts of a leak ten times the size say little of those to come
    weight = weight * np.exp(-np.abs(np.log((flow + softness) / (now + softness))) / model.alike)
    up, share = _clock(first_hour, len(told), model)
    counted = model.bursts_count_as + float((weight * burst).sum())
    bursts = counted / (model.bursts_count_as / model.bursts + float((weight * share).sum()))
    night = up < 0.5
    due = bursts * float((weight * share)[night].sum())
    own = (model.asleep_counts_as + float((weight * burst)[night].sum())) / (model.asleep_counts_as + due)
    return Habit(mean, spread, bursts, float(min(own * model.asleep, 1.0)))


def _clock(first_hour: float | None, blocks: int, model: RecordModel) -> tuple[Floats, Floats]:
    """How far awake in each block, and the share of the waking hours' bursts expected then."""
    if first_hour is None:
        return np.ones(blocks), np.full(blocks, _mean_share(model.asleep, model))
    up = awake(_hours_from(first_hour, blocks), model)
    return up, model.asleep + (1.0 - model.asleep) * up


def _hours_from(hour: float, blocks: int) -> Floats:
    """Of the clock, in the middle of each block."""
    return np.asarray(hour + (np.arange(blocks) + 0.5) * BLOCK_MIN / 60.0, dtype=np.float64)


def _mean_share(asleep: float, model: RecordModel) -> float:
    """Over a whole day, where the hour is not known."""
    return float(np.mean(asleep + (1.0 - asleep) * awake(np.arange(0.0, 24.0, 0.5), model)))


def _gathered(given: Seen, worst_high: Floats) -> tuple[NDArray[np.bool_], Floats, Floats, Floats]:
    """By block: enough known, mean flow, width of its cell, largest looked at."""
    whole = len(given) // BLOCK_MIN

    def blocked(values: NDArray[_Scalar]) -> NDArray[_Scalar]:
        return values[: whole * BLOCK_MIN].reshape(whole, BLOCK_MIN)

    ok = blocked(given.usable) & np.isfinite(blocked(worst_high))
    count = np.maximum(ok.sum(axis=1), 1)
    flow = np.maximum(np.where(ok, blocked(given.flow), 0.0).sum(axis=1) / count, 0.0)
    cell = np.where(ok, blocked(given.high - given.low), 0.0).sum(axis=1) / count
    worst = np.maximum(np.where(ok, blocked(worst_high), 0.0).max(axis=1, initial=0.0), 0.0)
    return ok.sum(axis=1) >= BLOCK_MIN // 2, flow, cell, worst


def _usual(logs: Floats, weight: Floats, model: RecordModel) -> tuple[float, float]:
    """Middle and spread of the log ratios, so that bursts move them little, pulled to the shared start."""
    total = float(weight.sum())
    if not len(logs):
        return model.ratio_mean, model.ratio_spread
    middle = _middle(logs, weight)
    spread = 1.48 * _middle(np.abs(logs - middle), weight)  # of a normal distribution, from its middle deviation
    own, start = total / (total + model.counts_as), model.counts_as / (total + model.counts_as)
    return float(own * middle + start * model.ratio_mean), max(float(own * spread + start * model.ratio_spread), 0.05)


def _middle(values: Floats, weight: Floats) -> float:
    order = np.argsort(values, kind="stable")
    gathered = np.cumsum(weight[order])
    return float(values[order][min(int(np.searchsorted(gathered, 0.5 * gathered[-1])), len(values) - 1)])


SHARES = 12  # steps in which the share of waking hours is told apart, so that few rows of chances do (ours)


def shares_ahead(habit: Habit, blocks: int, hour: float | None, model: RecordModel) -> NDArray[np.int8]:
    """Share of the waking hours' bursts expected in each coming block, in steps of 1 / SHARES."""
    if hour is None:
        return np.full(blocks, round(SHARES * _mean_share(habit.asleep, model)), dtype=np.int8)
    up = awake(_hours_from(hour, blocks), model)
    return np.rint(SHARES * (habit.asleep + (1.0 - habit.asleep) * up)).astype(np.int8)


def keeps_clause(
    links: Chain, drive_cmh2o: float, limit_ml_per_min: float, habit: Habit, model: RecordModel
) -> Floats:  # fmt: skip
    """Chance, SHARES + 1 x states, that a block's record keeps the limit; by the share of waking hours' bursts."""
    soft = links.model.softness_ml_per_min
    leak = links.conductance * drive_cmh2o
    off = (np.log((limit_ml_per_min + soft) / (leak + soft)) - habit.mean) / habit.spread
    keeps = 1.0 / (1.0 + np.exp(-1.702 * np.clip(off, -40.0, 40.0)))  # logistic, near the normal distribution
    keeps = np.where(links.kind == LEAKS, keeps, 1.0)
    sealed = (links.kind == SEALED) | (links.kind == SHUT)
    bursts = habit.bursts * model.bouts * np.where(sealed, model.sealed_share, 1.0)
    found = keeps * np.exp(-np.arange(SHARES + 1)[:, None] / SHARES * bursts)
    return np.where(found < NEGLIGIBLE, 0.0, found)
