"""Learn the numbers of the trend, the record and the calibration from past stays.

Numbers are moved one at a time, each by a factor, and kept where the score over all stays improves. The score is
the CRPS of the clause's time at several cuts (a proper score, so honest chances win) plus a share of how unlikely
the blocks themselves were (their log likelihood by the same filter). Seeded; no number is taken from a patient.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from slackwater.forecast.air import AirClause, Times, air_times, habit_of
from slackwater.forecast.score import crps_h
from slackwater.leak.filter.model import BLOCK_MIN, Calibration, FilterModel
from slackwater.leak.filter.run import Blocks, Seen, blocks, run_trend

Floats = NDArray[np.float64]

HORIZON_H = 48.0
GRID_H = np.arange(0.0, HORIZON_H + 1e-9, BLOCK_MIN / 60.0)
CUTS_H = (24, 36, 48, 72)
LEAST_MIN = 6 * 60  # usable minutes before a cut counts
LIKELIHOOD_SHARE = 0.3  # hours of CRPS that one unit of mean log likelihood a block is worth (ours)


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


@dataclass(frozen=True, eq=False)
class Case:
    """A past stay cut after `minute`; time_h: hours from there until the clause held, inf if it never did."""

    past: Past
    minute: int
    time_h: float
    run_min: int
    drive_cmh2o: float


def cases(past: Past, cuts_h: Sequence[int] = CUTS_H) -> Iterator[Case]:
    """The cuts of one stay that a forecast would be given for: enough seen, not in doubt, the clause not met."""
    for hours in cuts_h:
        minute = hours * 60
        if minute + 60 > len(past.given) or past.given.usable[:minute].sum() < LEAST_MIN:
            continue
        lately = past.given.usable[minute - 60 : minute]
        if not lately.any() or past.met[minute - 1]:
            continue
        later = np.flatnonzero(past.met[minute:])
        followed_h = (len(past.given) - minute) / 60.0
        if not len(later) and followed_h < HORIZON_H:
            continue  # not known whether it would have held
        broken = np.flatnonzero(~past.within[:minute])
        run_min = minute - (int(broken[-1]) + 1 if len(broken) else 0)
        if run_min and past.clause.bin_min is not None:  # the run begins with its first window, not with its end
            run_min += past.clause.bin_min - 1
        drive = float(past.given.drive_cmh2o[minute - 60 : minute][lately].mean())
        time_h = (int(later[0]) + 1) / 60.0 if len(later) else float("inf")
        yield Case(past, minute, time_h, min(run_min, past.clause.lasting_min - 1), drive)


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
            trend.softness_ml_per_min, model.record,
        )  # fmt: skip
        times = air_times(
            state, with_trend, None, case.drive_cmh2o, past.clause, habit, case.run_min,
            horizon_min=round(HORIZON_H * 60),
        )  # fmt: skip
        out[k] = on_grid(times)
    return out, logs / max(seen_blocks, 1)


def on_grid(times: Times) -> Floats:
    """F on GRID_H."""
    return times.at(GRID_H * 60.0)


def _part(given: Blocks, first: int, end: int) -> Blocks:
    return Blocks(*(np.ascontiguousarray(getattr(given, field.name)[first:end]) for field in fields(Blocks)))


def scores(stays: Sequence[Sequence[Case]], model: FilterModel) -> Floats:
    """One score a stay: mean CRPS of its cases, hours, less a share of its blocks' mean log likelihood."""
    out = np.empty(len(stays))
    for k, found in enumerate(stays):
        chances, likely = forecast_cases(found, model)
        crps = [crps_h(GRID_H, row, case.time_h) for row, case in zip(chances, found, strict=True)]
        out[k] = float(np.mean(crps)) - LIKELIHOOD_SHARE * likely
    return out


Numbers = tuple[str, str, int]  # part, field, index (-1: not a list)


def learnable(model: FilterModel) -> list[Numbers]:
    """Numbers that learning may move: rates and chances of the trend, and the record's."""
    fixed = {"levels", "lowest_ml_per_min", "spacing", "reference_cmh2o", "softness_ml_per_min", "sharpness", "stray"}
    found: list[Numbers] = []
    for part in ("trend", "record"):
        for field in fields(getattr(model, part)):
            value = getattr(getattr(model, part), field.name)
            if field.name not in fixed:
                found += [(part, field.name, k) for k in range(len(value))] if isinstance(value, tuple) else [
                    (part, field.name, -1)
                ]  # fmt: skip
    return found


CHANCES = ("effort_left", "bursts_sealed", "bursts_effort", "bursts_leaking", "sealed", "effort_only", "sealed_breaks",
           "effort_breaks", "sealed_share")  # fmt: skip


def moved(model: FilterModel, number: Numbers, factor: float) -> FilterModel:
    """The model with one number multiplied; chances stay below 0.9."""
    part, name, index = number
    owner = getattr(model, part)
    value = getattr(owner, name)
    if index < 0:
        new = min(value * factor, 0.9) if name in CHANCES else value * factor
    else:
        new = tuple(v * factor if k == index else v for k, v in enumerate(value))
    if name in ("sealed", "effort_only") and model.trend.sealed + model.trend.effort_only > 0.85 and factor > 1:
        return model
    return replace(model, **{part: replace(owner, **{name: new})})


def search(
    stays: Sequence[Sequence[Case]], start: FilterModel, *, seed: int, factors: Sequence[float] = (1.7, 1.3),
    say: Callable[[str], None] | None = None,
) -> FilterModel:  # fmt: skip
    """Move numbers one at a time, in seeded random order, one round a factor; keep what helps."""
    rng = np.random.default_rng(seed)
    best, model = float(scores(stays, start).mean()), start
    for factor in factors:
        numbers = learnable(model)
        for pick in rng.permutation(len(numbers)).tolist():
            for times in (factor, 1.0 / factor):
                tried = moved(model, numbers[pick], times)
                score = float(scores(stays, tried).mean())
                if score < best - 1e-5:
                    best, model = score, tried
                    again = moved(model, numbers[pick], times)
                    score = float(scores(stays, again).mean())
                    if score < best - 1e-5:
                        best, model = score, again
                    if say:
                        say(f"{numbers[pick]} x {times:.2f}: {best:.4f}")
                    break
    return model


def uncertainty(stays: Sequence[Sequence[Case]], model: FilterModel, *, factor: float = 1.3) -> dict[str, float]:
    """Standard error of each number's logarithm, from curvature and spread of the stays' own scores (sandwich)."""
    base = scores(stays, model)
    step = float(np.log(factor))
    found: dict[str, float] = {}
    for part, name, index in learnable(model):
        up = scores(stays, moved(model, (part, name, index), factor))
        down = scores(stays, moved(model, (part, name, index), 1.0 / factor))
        curvature = float((up - 2.0 * base + down).mean()) / step**2
        slope = (up - down) / (2.0 * step)
        key = name if index < 0 else f"{name}.{index}"
        flat = curvature <= 1e-6
        found[f"{part}.{key}"] = float("inf") if flat else float(slope.std() / np.sqrt(len(stays)) / curvature)
    return found


def calibration(stays: Sequence[Sequence[Case]], model: FilterModel, knots: int = 9) -> Calibration:
    """A monotone map of F, so that among stays not used for the other numbers F(T) is evenly spread.

    Stays whose time lies beyond the horizon tell only that F(T) is above F(horizon): the map is fitted to the
    times by least CRPS among maps through (0, 0) and (1, 1), with `knots` even knots, by coordinate descent.
    """
    rows, times = [], []
    for found in stays:
        rows.append(forecast_cases(found, model)[0])
        times += [case.time_h for case in found]
    chances = np.concatenate(rows)
    knot = np.linspace(0.0, 1.0, knots)
    observed = knot.copy()

    def cost(values: Floats) -> float:
        mapped = np.interp(chances, knot, values)
        mean = np.mean([crps_h(GRID_H, row, time) for row, time in zip(mapped, times, strict=True)])
        return float(mean) + 0.5 * float(np.square(np.diff(values - knot)).sum())  # a gentle pull to no change

    best = cost(observed)
    for step in (0.08, 0.04, 0.02):
        for k in [*range(1, knots - 1), knots - 1]:
            for sign in (1.0, -1.0):
                tried = observed.copy()
                tried[k] += sign * step
                tried = np.clip(np.maximum.accumulate(tried), 0.0, 1.0)
                score = cost(tried)
                if score < best - 1e-6:
                    best, observed = score, tried
                    break
    return Calibration(tuple(knot.tolist()), tuple(observed.tolist()), HORIZON_H)


def corrected(chances: Floats, correction: Calibration) -> Floats:
    """Chances after a correction."""
    return np.asarray(np.interp(chances, correction.forecast, correction.observed))


def corrected_model(stays: Sequence[Sequence[Case]], model: FilterModel) -> FilterModel:
    """The model with a correction for each kind of clause that the stays hold."""
    on_means = [cuts for cuts in stays if cuts[0].past.clause.bin_min is not None]
    on_readings = [cuts for cuts in stays if cuts[0].past.clause.bin_min is None]
    found = model
    if on_readings:
        found = replace(found, calibration=calibration(on_readings, model))
    if on_means:
        found = replace(found, calibration_of_means=calibration(on_means, model))
    return found


@dataclass(frozen=True, eq=False)
class Learnt:
    """Learnt numbers; CRPS in hours on stays that neither learning nor calibration saw, before and after."""

    model: FilterModel
    uncertainty: dict[str, float]
    before_h: float
    after_h: float


def learnt(
    stays: Sequence[Sequence[Case]], start: FilterModel, *, seed: int, rounds: int, source: str,
    say: Callable[[str], None] | None = None,
) -> Learnt:  # fmt: skip
    """Learn on three stays of four; calibrate on half of the rest; score on the other half."""
    order = np.random.default_rng(seed).permutation(len(stays)).tolist()
    own = [stays[k] for k in order[: len(stays) * 3 // 4]]
    rest = [stays[k] for k in order[len(stays) * 3 // 4 :]]
    factors = [1.7 * 0.75**k if k < 3 else 1.15 for k in range(rounds)]
    plain = replace(start, calibration=Calibration(), calibration_of_means=Calibration())
    model = search(own, plain, seed=seed, factors=factors, say=say)
    model = replace(corrected_model(rest[::2], model), provenance=f"learnt from {source}")
    doubt = {name: value for name, value in uncertainty(own, model).items() if np.isfinite(value)}
    return Learnt(model, doubt, mean_crps_h(rest[1::2], start), mean_crps_h(rest[1::2], model))


def mean_crps_h(stays: Sequence[Sequence[Case]], model: FilterModel) -> float:
    """Mean CRPS over all cases, hours, with the calibration."""
    found: list[float] = []
    for cuts in stays:
        chances = corrected(forecast_cases(cuts, model)[0], model.calibration_for(cuts[0].past.clause.bin_min))
        found += [crps_h(GRID_H, row, case.time_h) for row, case in zip(chances, cuts, strict=True)]
    return float(np.mean(found)) if found else float("nan")
