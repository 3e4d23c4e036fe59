"""When will the air clause first hold? Exactly, by running the trend filter's own chain forward.

A run of quiet blocks as long as the rule asks must complete. Runs are carried by when they began, so that the
hour of the day may change how often a block keeps the clause. No sampling, so no sampling error; `sampler.py` is
its check.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.forecast import kernels
from slackwater.forecast.habit import Habit, keeps_clause, shares_ahead
from slackwater.leak.filter.model import BLOCK_MIN, Calibration, FilterModel, PastModel
from slackwater.leak.filter.trend import Chain, chain

Floats = NDArray[np.float64]

HORIZON_MIN = 7 * 24 * 60
SUREST = 5.0  # log odds: no chance is taken for surer than 0.993 before the correction (ours)


@dataclass(frozen=True)
class AirClause:
    """What is waited for: recorded flow within the limit for so long without a break.

    bin_min: mean over so many minutes; None: every reading.
    """

    limit_ml_per_min: float
    lasting_min: int
    bin_min: int | None = None


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


def air_times(
    state: Floats, filters: FilterModel, trend_chain: Chain | None, drive_cmh2o: float, clause: AirClause, habit: Habit,
    run_min: float, *, hour: float | None = None, horizon_min: int = HORIZON_MIN,
) -> Times:  # fmt: skip
    """Distribution of minutes from now until the clause first holds.

    state: chance of each state of the chain now. run_min: how long the clause's run has lasted by now. hour: of the
    ward's clock now; None where not known.
    """
    links = trend_chain or chain(filters.trend)
    lacking = clause.lasting_min - run_min
    if lacking <= 0:
        return MET_NOW
    quiet = keeps_clause(links, drive_cmh2o, clause.limit_ml_per_min, habit, filters.record)
    lasting = max(1, round(clause.lasting_min / BLOCK_MIN))
    running = run_min >= BLOCK_MIN / 2
    left = min(max(1, int(np.ceil(lacking / BLOCK_MIN))), lasting) if running else 0
    offset = lacking - left * BLOCK_MIN if running else 0.0  # so that the run under way completes on a block's end
    members = np.flatnonzero(quiet.any(axis=0))
    slots = -(-lasting // kernels.WIDE) * kernels.WIDE
    runs, broken = np.zeros((len(members), slots), dtype=np.float32), np.array(state, dtype=np.float64)
    if running:  # the last block was quiet: what was seen is in the state already
        runs[:, left % lasting] = broken[members]
        broken[members] = 0.0
    steps = max(1, horizon_min // BLOCK_MIN)
    done = np.zeros(steps)
    within = Within.of(links, members)
    kernels.first_run(
        broken, runs, links.pointer, links.column, links.weight, within.place, within.pointer, within.column,
        within.weight, quiet, shares_ahead(habit, steps, hour, filters.record), lasting, np.zeros_like(runs),
        np.zeros((2, len(links))), done,
    )  # fmt: skip
    minutes = np.concatenate(([0.0], offset + BLOCK_MIN * np.arange(1.0, steps + 1)))
    return Times(minutes, np.concatenate(([0.0], np.minimum(np.cumsum(done), 1.0))))


@dataclass(frozen=True, eq=False)
class Within:
    """Of a chain, the passes between the states that can keep the clause; rows and columns by their `place`."""

    place: NDArray[np.int32]
    pointer: NDArray[np.int32]
    column: NDArray[np.int32]
    weight: NDArray[np.float32]

    @classmethod
    def of(cls, links: Chain, members: NDArray[np.int64]) -> Within:
        """The part of `links` that joins `members` (ascending)."""
        row = np.full(len(links), -1, dtype=np.int32)
        row[members] = np.arange(len(members))
        to = np.repeat(row, np.diff(links.pointer))
        came = row[links.column]
        keep = (to >= 0) & (came >= 0)
        pointer = np.searchsorted(to[keep], np.arange(len(members) + 1)).astype(np.int32)
        return cls(members.astype(np.int32), pointer, came[keep], links.weight[keep].astype(np.float32))


def leaned(times: Times, past: PastModel, clause: AirClause, run_min: float) -> Times:
    """The times with a share of the plain rate of the past in them."""
    if not past.share or times is MET_NOW:
        return times
    since_h = (times.minutes - (clause.lasting_min - run_min)) / 60.0
    plain = np.where(since_h >= -1e-9, np.interp(since_h, past.hours, past.chances(run_min)), 0.0)
    return Times(times.minutes, np.maximum.accumulate((1.0 - past.share) * times.chance + past.share * plain))


def calibrated(times: Times, correction: Calibration) -> Times:
    """The chances after the correction learnt on other stays, up to the horizon that was tried."""
    if times is MET_NOW:
        return times
    inside = times.minutes <= correction.horizon_h * 60.0 + 1e-9
    return Times(times.minutes[inside], corrected(times.minutes[inside] / 60.0, times.chance[inside], correction))


def corrected(hours: Floats, chance: Floats, correction: Calibration) -> Floats:
    """Chances that it has come by so many hours (last axis), corrected: monotone in time, and in the chance.

    >>> half = Calibration(trust=(0.5, 0.5, 0.5, 0.5))
    >>> corrected(np.array([6.0, 12.0, 24.0]), np.array([0.0, 0.1, 0.9]), half).round(2).tolist()
    [0.0, 0.25, 0.75]
    """
    shift, trust = (np.interp(hours, correction.hours, row) for row in (correction.shift, correction.trust))
    told = 1.0 / (1.0 + np.exp(-(shift + trust * log_odds(chance))))
    return np.asarray(np.maximum.accumulate(np.where(chance > 0.0, told, 0.0), axis=-1))


def log_odds(chance: Floats) -> Floats:
    """Held within `SUREST`."""
    edge = 1.0 / (1.0 + np.exp(SUREST))
    held = np.clip(chance, edge, 1.0 - edge)
    return np.asarray(np.log(held / (1.0 - held)))
