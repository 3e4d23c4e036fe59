"""Learn the numbers of the trend, the record and the calibration from past stays, and say whether that helped.

The score is the CRPS of the clause's time at several cuts (a proper score, so honest chances win) less a share of
how likely the blocks themselves were. Every stay is forecast by numbers, and corrected by a calibration, that were
learnt without it; those forecasts set the calibration of the numbers learnt from all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import partial
from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.forecast.air import AirClause, Times, air_times, corrected, leaned, log_odds
from slackwater.forecast.habit import habit_of
from slackwater.forecast.moves import step, tries
from slackwater.forecast.score import crps_followed_h, still_followed
from slackwater.leak.filter.model import BLOCK_MIN, Calibration, FilterModel
from slackwater.leak.filter.run import Blocks, Seen, blocks, run_trend

Floats = NDArray[np.float64]

HORIZON_H = 48.0
GRID_H = np.arange(0.0, HORIZON_H + 1e-9, BLOCK_MIN / 60.0)
CUTS_H = (24, 36, 48, 72)
LEAST_MIN = 6 * 60  # usable minutes before a cut counts
LIKELIHOOD_SHARE = 0.3  # hours of CRPS that one unit of mean log likelihood a block is worth (ours)
STAYS_A_TASK = 6
QUARTERS = 4  # parts of the stays, each forecast by what was learnt from the others
CALIBRATION_PULL = 100.0  # log likelihood's curvature that holds shift and trust: few stays move them little (ours)
NEWTON_STEPS, LEAST_TRUST = 25, 0.1


@dataclass(frozen=True, eq=False)
class Past:
    """A past stay: what was seen, and for a clause the largest it looked at and whether it held, a minute each.

    within: minutes known to keep the clause; met: the clause holds at the end of the minute.
    """

    given: Seen
    clause: AirClause
    worst_high: Floats
    within: NDArray[np.bool_]
    met: NDArray[np.bool_]
    operation: str | None = None
    first_hour: float | None = None  # of the ward's clock in the first minute


@dataclass(frozen=True, eq=False)
class Case:
    """A past stay cut after `minute`; time_h: hours from there until the clause held, inf if it never did.

    followed_h: to the end of the log.
    """

    past: Past
    minute: int
    time_h: float
    run_min: int
    drive_cmh2o: float
    followed_h: float = float("inf")


def cases(past: Past, cuts_h: Sequence[int] = CUTS_H) -> Iterator[Case]:
    """The cuts of one stay that a forecast would be given for: enough seen, not in doubt, the clause not met.

    Whether it held later or the log ends first: to leave out the latter would keep those to whom it came soon.
    """
    for hours in cuts_h:
        minute = hours * 60
        if minute + 60 > len(past.given) or past.given.usable[:minute].sum() < LEAST_MIN:
            continue
        lately = past.given.usable[minute - 60 : minute]
        if not lately.any() or past.met[minute - 1]:
            continue
        later = np.flatnonzero(past.met[minute:])
        broken = np.flatnonzero(~past.within[:minute])
        run_min = minute - (int(broken[-1]) + 1 if len(broken) else 0)
        if run_min and past.clause.bin_min is not None:  # the run begins with its first window, not with its end
            run_min += past.clause.bin_min - 1
        drive = float(past.given.drive_cmh2o[minute - 60 : minute][lately].mean())
        time_h = (int(later[0]) + 1) / 60.0 if len(later) else float("inf")
        followed_h = (len(past.given) - minute) / 60.0
        yield Case(past, minute, time_h, min(run_min, past.clause.lasting_min - 1), drive, followed_h)


def forecast_cases(found: Sequence[Case], model: FilterModel) -> tuple[Floats, float]:
    """F on GRID_H for the cases of one stay, in order of time, uncorrected; and mean log likelihood of its blocks."""
    past = found[0].past
    trend = model.trend_for(past.operation)
    gathered = blocks(past.given)
    state, done, out, logs, seen_blocks = None, 0, np.empty((len(found), len(GRID_H))), 0.0, 0
    with_trend = replace(model, trend=trend)
    for k, case in enumerate(found):
        upto = case.minute // BLOCK_MIN
        state, chance = run_trend(_part(gathered, done, upto), trend, state)
        logs += float(np.log(chance).sum())
        seen_blocks += int(gathered.usable[done:upto].sum())
        done = upto
        habit = habit_of(
            past.given.until(case.minute), past.worst_high[: case.minute], past.clause.limit_ml_per_min,
            trend.softness_ml_per_min, model.record, past.first_hour,
        )  # fmt: skip
        hour = None if past.first_hour is None else past.first_hour + case.minute / 60.0
        times = air_times(
            state, with_trend, None, case.drive_cmh2o, past.clause, habit, case.run_min, hour=hour,
            horizon_min=round(HORIZON_H * 60),
        )  # fmt: skip
        out[k] = on_grid(leaned(times, model.past_for(past.clause.bin_min), past.clause, case.run_min))
    return out, logs / max(seen_blocks, 1)


def on_grid(times: Times) -> Floats:
    """F on GRID_H."""
    return times.at(GRID_H * 60.0)


def _part(given: Blocks, first: int, end: int) -> Blocks:
    return Blocks(*(np.ascontiguousarray(getattr(given, field.name)[first:end]) for field in fields(Blocks)))


Stay = Sequence[Case]  # all cases of a stay; those of one clause together


def left_of(stays: Sequence[Stay]) -> Floats:
    """On GRID_H, the chance that a stay's log still goes on where the clause has not held."""
    flat = [case for stay in stays for case in stay]
    return still_followed(
        GRID_H, np.array([case.time_h for case in flat]), np.array([case.followed_h for case in flat])
    )


def scores(stays: Sequence[Stay], models: Sequence[FilterModel], left: Floats) -> Floats:
    """Stays x models: mean CRPS of a stay's cases, hours, less a share of its blocks' mean log likelihood."""
    out = np.empty((len(stays), len(models)))
    for column, model in enumerate(models):
        for row, stay in enumerate(stays):
            found = [forecast_cases(cuts, model) for cuts in by_clause(stay)]
            crps = corrected_crps(stay, np.concatenate([chances for chances, _ in found]), model, left)
            out[row, column] = crps.mean() - LIKELIHOOD_SHARE * np.mean([likely for _, likely in found])
    return out


def chances_of(stays: Sequence[Stay], model: FilterModel) -> list[Floats]:
    """F on GRID_H for the cases of each stay, uncorrected."""
    return [np.concatenate([forecast_cases(cuts, model)[0] for cuts in by_clause(stay)]) for stay in stays]


def corrected_crps(stay: Stay, chances: Floats, model: FilterModel, left: Floats) -> Floats:
    """CRPS of each case, hours, after the model's correction for its clause. left: `left_of` all stays."""
    found = []
    for row, case in zip(chances, stay, strict=True):
        told = corrected(GRID_H, row, model.calibration_for(case.past.clause.bin_min))
        found.append(crps_followed_h(GRID_H, told, case.time_h, case.followed_h, left))
    return np.array(found)


def by_clause(stay: Stay) -> list[list[Case]]:
    """The cases of a stay, a list for each clause."""
    return [list(cuts) for _, cuts in groupby(stay, key=lambda case: id(case.past))]


def calibration(
    chances: Floats, times_h: Sequence[float], start: Calibration, followed_h: Sequence[float] | None = None,
) -> Calibration:  # fmt: skip
    """The correction under which what came within each of its hours is likeliest, pulled to `start`.

    chances: F on GRID_H, forecasts that the other numbers never saw; times_h: when it came; followed_h: how long each
    was followed, None: all of them long enough. At each hour a logistic regression of 'came by then' on the log odds
    told (Cox, Biometrika 45 (1958) 562, from memory), by Newton's steps; those of whom it is known stand for the rest.
    """
    times = np.asarray(times_h)
    followed = np.full(len(times), np.inf) if followed_h is None else np.asarray(followed_h)
    left, found = still_followed(GRID_H, times, followed), []
    for hour, shift, trust in zip(start.hours, start.shift, start.trust, strict=True):
        known = np.minimum(times, hour) <= followed
        stands = known / left[np.searchsorted(GRID_H, np.minimum(times, hour) - 1e-9)]
        chance = chances[:, int(np.searchsorted(GRID_H, hour - 1e-9))]
        found.append(_shift_and_trust(chance, times <= hour, stands, (shift, trust)))
    return replace(start, shift=tuple(one for one, _ in found), trust=tuple(one for _, one in found))


def _shift_and_trust(
    chance: Floats, came: NDArray[np.bool_], stands: Floats, start: tuple[float, float]
) -> tuple[float, float]:
    """stands: for how many each counts."""
    told = (chance > 0.0) & (stands > 0.0)  # what cannot have come yet is not corrected
    given, stands = np.stack([np.ones(int(told.sum())), log_odds(chance[told])], axis=1), stands[told]
    found = first = np.array(start)
    for _ in range(NEWTON_STEPS):
        p = 1.0 / (1.0 + np.exp(-given @ found))
        slope = given.T @ (stands * (came[told] - p)) - CALIBRATION_PULL * (found - first)
        curved = given.T @ (given * (stands * p * (1.0 - p))[:, None]) + CALIBRATION_PULL * np.eye(2)
        found = found + np.linalg.solve(curved, slope)
    return float(found[0]), max(float(found[1]), LEAST_TRUST)


def recalibrated(model: FilterModel, stays: Sequence[Stay], chances: Sequence[Floats]) -> FilterModel:
    """The model with a correction for each kind of clause that the stays hold, fitted to these chances."""
    told: dict[bool, tuple[list[Floats], list[float], list[float]]] = {True: ([], [], []), False: ([], [], [])}
    for stay, rows in zip(stays, chances, strict=True):
        for row, case in zip(rows, stay, strict=True):
            kept, times, followed = told[case.past.clause.bin_min is not None]
            kept.append(row)
            times.append(case.time_h)
            followed.append(case.followed_h)
    means, readings = told[True], told[False]
    if readings[0]:
        model = replace(
            model, calibration=calibration(np.array(readings[0]), readings[1], model.calibration, readings[2])
        )
    if means[0]:
        again = calibration(np.array(means[0]), means[1], model.calibration_of_means, means[2])
        model = replace(model, calibration_of_means=again)
    return model


@dataclass(frozen=True, eq=False)
class Learnt:
    """Learnt numbers and the standard error of their logarithms; mean CRPS in hours before and after.

    Both are over the same cases, each forecast by numbers learnt without its stay; gain_error_h: standard error of
    their difference, by stay.
    """

    model: FilterModel
    uncertainty: Mapping[str, float]
    cases: int
    before_h: float
    after_h: float
    gain_error_h: float


Over = Callable[[Callable[[Any], Any], Iterable[Any]], Iterable[Any]]


def learnt(
    stays: Sequence[Stay], start: FilterModel, *, seed: int, source: str, over: Over = map,
    say: Callable[[str], None] = lambda text: None,
) -> Learnt:  # fmt: skip
    """Learn from all stays; and likewise from all but a quarter, to see what numbers so learnt do on that quarter.

    seed: of the quarters. over: as `map`, perhaps in several processes.
    """
    quarter = np.random.default_rng(seed).permutation(len(stays)) % QUARTERS
    left = left_of(stays)
    tried = _tried(stays, start, left, over, say)
    steps = [step(start, tried[quarter != k]) for k in range(QUARTERS)]
    models, whole = [one.taken(start) for one in steps], step(start, tried)
    say("forecasting the stays left out")
    before = _chances(stays, start, over)
    after = list(before)
    for k in range(QUARTERS):
        at = np.flatnonzero(quarter == k).tolist()
        for one, rows in zip(at, _chances([stays[i] for i in at], models[k], over), strict=True):
            after[one] = rows
    was = [corrected_crps(stay, rows, start, left) for stay, rows in zip(stays, before, strict=True)]
    now = list(was)
    for k in range(QUARTERS):
        others = np.flatnonzero(quarter != k).tolist()
        own_model = recalibrated(models[k], [stays[i] for i in others], [after[i] for i in others])
        for i in np.flatnonzero(quarter == k).tolist():
            now[i] = corrected_crps(stays[i], after[i], own_model, left)
    model = replace(recalibrated(whole.taken(start), stays, after), provenance=f"learnt from {source}")
    n = sum(map(len, stays))
    gain = np.array([(mine - old).sum() for mine, old in zip(now, was, strict=True)])
    off = gain - gain.sum() / n * np.array([len(stay) for stay in stays])
    return Learnt(
        model, whole.error, n, float(np.concatenate(was).mean()), float(np.concatenate(now).mean()),
        float(np.sqrt((off**2).sum() * len(stays) / (len(stays) - 1)) / n),
    )  # fmt: skip


def _tried(stays: Sequence[Stay], model: FilterModel, left: Floats, over: Over, say: Callable[[str], None]) -> Floats:
    parts, found = _parts(stays), []
    for part in over(partial(scores, models=tries(model), left=left), parts):
        found.append(part)
        say(f"trying each number: {len(found)} of {len(parts)} parts")
    return np.concatenate(found)


def _chances(stays: Sequence[Stay], model: FilterModel, over: Over) -> list[Floats]:
    return [rows for part in over(partial(chances_of, model=model), _parts(stays)) for rows in part]


def _parts(stays: Sequence[Stay]) -> list[Sequence[Stay]]:
    """A task each: some stays, so that what is made once a model serves them all."""
    return [stays[k : k + STAYS_A_TASK] for k in range(0, len(stays), STAYS_A_TASK)]
