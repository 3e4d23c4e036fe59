"""The forecast of a rule: each clause, the whole, and what waits on a person.

It never counts as a clause. Withheld where it was never tried or the data are thin, with the reason.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from slackwater.forecast.air import MET_NOW, AirClause, Floats, Times, air_times, calibrated, leaned
from slackwater.forecast.fluid import Charted, fluid_times
from slackwater.forecast.fluid import why_withheld as fluid_withheld
from slackwater.forecast.habit import habit_of
from slackwater.forecast.outlast import outlasts
from slackwater.leak.filter.model import FilterModel, shipped_model
from slackwater.leak.filter.run import Filtered, Seen
from slackwater.leak.filter.trend import chain
from slackwater.protocol.evaluation import Evaluation, Judged
from slackwater.protocol.facts import Facts, Flags, Signal
from slackwater.protocol.rule import Clause
from slackwater.protocol.status import HOLDS, Status
from slackwater.protocol.windows import SCALE, window_bounds, window_codes
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS

SHARES = {"q05": 0.05, "q10": 0.10, "q25": 0.25, "q50": 0.50, "q75": 0.75, "q90": 0.90, "q95": 0.95}
BY_HOURS = (6, 12, 24, 48)
LEAST_ASSESSABLE_MIN = 6 * 60
OLDEST_MIN = 60
YOUNGEST_YEARS = 16.0  # the stays it was tried on are adults'
OUTLASTS_H = 120.0  # day 5


@dataclass(frozen=True)
class Hours:
    """Hours from `data_until` until a clause (or the whole) first holds.

    quantiles: q05 to q95; None where that lies beyond the horizon the forecast was tried to.
    probability_by_hours: chance that it has held by then. withheld_because: a sentence, with all else None.
    """

    quantiles: Mapping[str, float | None] | None
    probability_by_hours: Mapping[int, float] | None
    withheld_because: str | None = None


@dataclass(frozen=True)
class Outlasts:
    """Chance that the leak outlasts day 5: that it has not sealed for good 120 h after `clock` (at_ms)."""

    chance: float | None
    clock: str  # "operation.end" or "connected"
    at_ms: int | None
    withheld_because: str | None = None


@dataclass(frozen=True)
class Forecast:
    """An estimate beside the answer; it is never a clause."""

    clauses: Mapping[str, Hours]  # by clause id; those that can be forecast or are withheld
    whole: Hours  # of all clauses that can be forecast: the rule itself may wait longer, on a person
    waiting_on_person: tuple[str, ...]  # ids of clauses and guards that somebody must look at; never forecast
    outlasts_day_5: Outlasts
    horizon_h: float
    provenance: str


def forecast(
    evaluation: Evaluation, facts: Facts, given: Seen, filtered: Filtered, *, fluid: Sequence[Charted] = (),
    doubt: str | None = None, model: FilterModel | None = None, first_hour: float | None = None,
) -> Forecast:  # fmt: skip
    """The forecast at `facts.now_ms`, on the minutes of `facts`' grid (`given` covers the same minutes or more).

    fluid: charted amounts, hours from the end of the data. doubt: a reason of the caller's to withhold all.
    first_hour: of the ward's clock in the grid's first minute, 0..24; None where not known.
    """
    model = model or shipped_model()
    given = given.until(facts.length)
    reason = doubt or withheld(facts, given)
    found: dict[str, Hours] = {}
    times: list[Times] = []
    waiting: list[str] = []
    reasons: list[str] = []
    for judged in evaluation.criteria:
        clause = judged.clause
        if clause is None or judged.status is Status.NOT_APPLICABLE:
            continue
        if clause.measure.kind in ("word", "number", "span") and judged.status not in HOLDS:
            waiting.append(judged.id)
            continue
        one = _clause_times(judged, clause, facts, given, filtered, fluid, model, reason, first_hour)
        if isinstance(one, str):
            found[judged.id] = Hours(None, None, one)
            reasons.append(one)
        else:
            found[judged.id] = hours(one)
            times.append(one)
    waiting += [guard.id for guard in evaluation.guards if guard.status not in (*HOLDS, Status.NOT_APPLICABLE)]
    if evaluation.population.status is Status.NOT_APPLICABLE:
        whole = Hours(None, None, "the rule is not made for this patient")
    elif reasons:
        whole = Hours(None, None, reasons[0])
    elif not times:
        whole = Hours(None, None, "no clause of this rule can be forecast")
    elif waiting and all(one is MET_NOW for one in times):
        whole = Hours(None, None, "all that can be forecast holds; what is left waits on a person")
    else:
        whole = hours(latest(times))
    return Forecast(
        found, whole, tuple(waiting), _outlasts(facts, filtered, reason), model.calibration.horizon_h, model.provenance
    )


def withheld(facts: Facts, given: Seen) -> str | None:
    """Why nothing of the air can be forecast here; None where it can."""
    about = facts.about
    age = about.get("patient.age_years")
    if about.get("operation.kind") == "pneumonectomy":
        return "after pneumonectomy air has another meaning"
    if about.get("drain.space") in ("mediastinal", "pericardial"):
        return "outside the pleural space air has another meaning"
    if about.get("breathing") in ("invasive", "niv_cpap"):
        return "the patient's breathing is supported with pressure, where the forecast was never tried"
    if isinstance(age, int | float) and age < YOUNGEST_YEARS:
        return "the forecast was never tried for children"
    if not len(given) or int(given.usable.sum()) < LEAST_ASSESSABLE_MIN:
        return "fewer than 6 h of assessable data since connection"
    if facts.data_until_ms is not None and facts.now_ms - facts.data_until_ms > OLDEST_MIN * MINUTE_MS:
        return "the last data are over an hour old"
    if not given.usable[-OLDEST_MIN:].any():
        return "the last hour of data is missing or in doubt"
    return None


def latest(times: Sequence[Times]) -> Times:
    """The time by which all have come, taken as independent: the chances multiply."""
    end = min(float(one.minutes[-1]) for one in times if one is not MET_NOW) if any(
        one is not MET_NOW for one in times
    ) else 1.0  # fmt: skip
    if all(one is MET_NOW for one in times):
        return MET_NOW
    grid = np.unique(np.concatenate([one.minutes for one in times if one is not MET_NOW]))
    grid = grid[grid <= end]
    chance = np.ones(len(grid))
    for one in times:
        if one is not MET_NOW:
            chance = chance * one.at(grid)
    return Times(grid, chance)


def hours(times: Times) -> Hours:
    """As the assessment says it."""
    if times is MET_NOW:
        return Hours(dict.fromkeys(SHARES, 0.0), dict.fromkeys(BY_HOURS, 1.0))
    quantiles = {name: _tenth(times.quantile(share), share) for name, share in SHARES.items()}
    end_h = float(times.minutes[-1]) / 60.0
    by = {hour: round(times.by(hour * 60.0), 4) for hour in BY_HOURS if hour <= end_h + 0.5}
    return Hours(quantiles, by)


def _tenth(minutes: float | None, share: float) -> float | None:
    """In tenths of an hour, rounded outward: a run completes at a moment, and no forecast is finer than that."""
    if minutes is None:
        return None
    tenths = minutes / 6.0
    return (math.floor(tenths) if share < 0.5 else math.ceil(tenths) if share > 0.5 else round(tenths)) / 10.0


def _clause_times(
    judged: Judged, clause: Clause, facts: Facts, given: Seen, filtered: Filtered, fluid: Sequence[Charted],
    model: FilterModel, reason: str | None, first_hour: float | None,
) -> Times | str:  # fmt: skip
    if judged.status in HOLDS:
        return MET_NOW
    kind = clause.measure.kind
    if kind == "since":
        return _since_times(clause, facts, model)
    if kind == "amount":
        return reason_fluid if (reason_fluid := fluid_withheld(fluid)) else _fluid_times(clause, facts, fluid, model)
    if reason is not None:
        return reason
    if kind != "signal" or clause.lasting_s is None or clause.comparison not in ("below", "at_most"):
        return "this clause is of a kind that is not forecast"
    times, about = air_clause_times(judged, clause, facts, given, filtered, model, first_hour), air_clause(judged)
    if isinstance(times, str) or about is None:
        return times
    air, run = about
    return calibrated(leaned(times, model.past_for(air.bin_min), air, run), model.calibration_for(air.bin_min))


def air_clause(judged: Judged) -> tuple[AirClause, float] | None:
    """What an air clause waits for, and for how many minutes its run has lasted; None for any other clause."""
    clause = judged.clause
    if clause is None or clause.limit is None or clause.lasting_s is None:
        return None
    air = AirClause(clause.limit, round(clause.lasting_s / 60.0), clause.bin_min)
    run = judged.run.seconds / 60.0 if judged.run is not None else 0.0
    return air, min(run, air.lasting_min - 1.0)


def air_clause_times(
    judged: Judged, clause: Clause, facts: Facts, given: Seen, filtered: Filtered, model: FilterModel,
    first_hour: float | None,
) -> Times | str:  # fmt: skip
    """When an air clause will hold, uncorrected and without what past stays tell; or why nothing is said."""
    signal = facts.signals.get((clause.measure_name, clause.scope))
    found = air_clause(judged)
    if signal is None or found is None or clause.limit is None:
        return "no log holds this measure"
    within = window_codes(signal, clause.bin_min, clause.comparison, clause.limit) == Status.MET
    if straddles(signal, within, clause.limit):
        return "the unit's step straddles the limit, so that its readings can never show it kept"
    if judged.note.startswith("every reading is a mean"):
        return judged.note
    trend = filtered.trend_model
    own = replace(model, trend=trend)
    worst = largest_looked_at(signal, clause)
    air, run = found
    habit = habit_of(given, worst, air.limit_ml_per_min, trend.softness_ml_per_min, model.record, first_hour)
    lately = np.where(given.usable, given.drive_cmh2o, np.nan)[-OLDEST_MIN:]
    drive = float(np.nanmean(lately))
    return air_times(
        filtered.trend_state, own, chain(trend), drive, air, habit, run,
        hour=None if first_hour is None else first_hour + len(given) / 60.0,
        horizon_min=round(model.calibration.horizon_h * 60.0),
    )  # fmt: skip


def straddles(signal: Signal, within: Flags, limit: float) -> bool:
    """No known minute was ever within, though the lowest cell reaches below the limit: the step is too coarse."""
    known = signal.known
    if not known.any() or within.any():
        return False
    lowest = int(np.argmin(np.where(known, signal.mean_high, np.inf)))
    return bool(signal.peak_low[lowest] < limit <= signal.peak_high[lowest])


def largest_looked_at(signal: Signal, clause: Clause) -> Floats:
    """Upper bound of what the clause compares, a minute each, mL/min; NaN where it is not bounded."""
    _, high, unbounded, empty, divisor = window_bounds(signal, clause.bin_min, clause.comparison, None)
    return np.where(unbounded | empty, np.nan, high / (np.maximum(divisor, 1) * SCALE))


def _fluid_times(clause: Clause, facts: Facts, fluid: Sequence[Charted], model: FilterModel) -> Times | str:
    if clause.limit is None or clause.within_s is None or clause.lasting_s is not None:
        return "this clause is of a kind that is not forecast"
    limit = clause.limit
    if clause.per_kg:
        if facts.weight_kg is None:
            return "the patient's weight is not known"
        limit = limit * facts.weight_kg
    times = fluid_times(fluid, limit, clause.within_s / 3600.0)
    return _upto(times, model.calibration.horizon_h)


def _upto(times: Times, horizon_h: float) -> Times:
    if times is MET_NOW:
        return times
    inside = times.minutes <= horizon_h * 60.0 + 1e-9
    return Times(times.minutes[inside], times.chance[inside])


def _since_times(clause: Clause, facts: Facts, model: FilterModel) -> Times | str:
    """Time itself: known to the minute, once its event is."""
    events = facts.events.get(clause.of or "", ())
    if not events or clause.limit is None or clause.comparison not in ("at_least", "above"):
        return "the event it counts from is not recorded"
    until = facts.data_until_ms if facts.data_until_ms is not None else facts.now_ms
    lacks = (events[-1] + clause.limit * 1000.0 - until) / MINUTE_MS
    if lacks <= 0:
        return MET_NOW
    end = model.calibration.horizon_h * 60.0
    grid = np.unique(np.concatenate((np.arange(0.0, end + 1, 10.0), [lacks, lacks - 1e-6])))
    grid = grid[(grid >= 0) & (grid <= end)]
    return Times(grid, (grid >= lacks).astype(np.float64))


def _outlasts(facts: Facts, filtered: Filtered, reason: str | None) -> Outlasts:
    end = facts.about.get("operation.end")
    clock, start = ("operation.end", int(end)) if isinstance(end, int | float) else ("connected", facts.connected_ms)
    if start is None:
        return Outlasts(None, clock, None, "neither the end of the operation nor the connection is known")
    at_ms = start + round(OUTLASTS_H * HOUR_MS)
    if reason is not None:
        return Outlasts(None, clock, at_ms, reason)
    until = facts.data_until_ms if facts.data_until_ms is not None else facts.now_ms
    if until >= at_ms:
        return Outlasts(None, clock, at_ms, "day 5 has passed")
    ahead_min = (at_ms - until) / MINUTE_MS
    return Outlasts(round(outlasts(filtered.trend_state, chain(filtered.trend_model), ahead_min), 4), clock, at_ms)


__all__ = ["MET_NOW", "Charted", "Forecast", "Hours", "Outlasts", "forecast"]
