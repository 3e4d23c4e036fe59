"""Forecasts of every method at every cut, the future hidden: for one stay, and scored over all.

The clause is that of air-20-8h. Each method answers for all cuts; where one withholds it is scored as Kaplan-Meier.
Cuts at which the clause holds already are left out of the headline: there every method says 0 h.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import forecast_bench as bench
import forecast_cohort as cohorts
import numpy as np
from baselines import Floats, chain_times, two_states

from slackwater.forecast.air import corrected
from slackwater.forecast.learn import GRID_H, HORIZON_H, LEAST_MIN, Case, cases, forecast_cases
from slackwater.forecast.score import covers
from slackwater.leak.filter.model import shipped_model

CLAUSE = "20-every"
KAPLAN_MEIER, LOG_LINEAR, HMM, OURS = "Kaplan-Meier", "log-linear", "two-state HMM", "ours"
METHODS = (HMM, KAPLAN_MEIER, LOG_LINEAR, OURS)
BLOCK_MIN = 10  # a step of GRID_H
NOMINAL = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)


@dataclass(frozen=True, eq=False)
class Cut:
    """One cut: hours until the clause held, the state it was cut in, and F on GRID_H of each method that answers."""

    time_h: float
    present: int
    chances: dict[str, Floats]


@dataclass(frozen=True, eq=False)
class StayCuts:
    cuts: list[Cut]
    met_already: int
    withheld: int  # by ours


def fair(stay: cohorts.StayMinutes) -> bool:
    """A display so coarse that it can never show the clause has no time to forecast."""
    return str(stay.about[2]) not in bench.TOO_COARSE


def cuts_of(stay: cohorts.StayMinutes, *, times_only: bool = False) -> StayCuts:
    """Every cut that is followed to the horizon. `times_only`: no forecasts, for the population's curves."""
    if not fair(stay):
        return StayCuts([], 0, 0)
    past = bench.past_of(stay, CLAUSE)
    told = list(cases(past, bench.CUTS_H))
    by_minute = {case.minute: case for case in told}
    ours = {} if times_only or not told else _ours(told)
    found, met, withheld = [], 0, 0
    for minute in (60 * hours for hours in bench.CUTS_H):
        if minute + HORIZON_H * 60 > len(past.given):
            continue
        if past.met[minute - 1]:
            met += 1
            continue
        case = by_minute.get(minute) or _withheld(past, minute)
        withheld += minute not in by_minute
        chances = {OURS: ours[minute]} if minute in ours else {}
        if not times_only and past.given.usable[:minute].sum() >= LEAST_MIN:
            chances[LOG_LINEAR] = bench.log_linear(case)
            if (own := _hmm(case)) is not None:
                chances[HMM] = own
        found.append(Cut(case.time_h, bench.present(case), chances))
    return StayCuts(found, met, withheld)


def _ours(told: list[Case]) -> dict[int, Floats]:
    model = shipped_model()
    chances = corrected(GRID_H, forecast_cases(told, model)[0], model.calibration_for(told[0].past.clause.bin_min))
    return {case.minute: row for case, row in zip(told, chances, strict=True)}


def _withheld(past: Any, minute: int) -> Case:
    """A cut for which no forecast would be given: its time is known all the same."""
    later = np.flatnonzero(past.met[minute:])
    broken = np.flatnonzero(~past.within[:minute])
    run = minute - (int(broken[-1]) + 1 if len(broken) else 0)
    time_h = (int(later[0]) + 1) / 60.0 if len(later) else float("inf")
    return Case(past, minute, time_h, min(run, past.clause.lasting_min - 1), float("nan"))


def _hmm(case: Case) -> Floats | None:
    """By the chain of a two-state HMM that saw the past in means over ten minutes."""
    shape = (case.minute // BLOCK_MIN, BLOCK_MIN)
    usable = case.past.given.usable[: case.minute].reshape(shape)
    flow = np.where(usable, case.past.given.flow[: case.minute].reshape(shape), 0.0).sum(axis=1)
    seen = two_states(flow / np.maximum(usable.sum(axis=1), 1), usable.sum(axis=1) >= BLOCK_MIN // 2)
    lasting = case.past.clause.lasting_min // BLOCK_MIN
    return chain_times(seen, case.run_min // BLOCK_MIN, lasting, len(GRID_H) - 1)


def population_curves(earlier: Sequence[StayCuts]) -> dict[int, Floats]:
    """Kaplan-Meier by present state. Every case is followed to the horizon, so the estimate is the plain share."""
    flat = [cut for stay in earlier for cut in stay.cuts]
    curves = {}
    for group in range(4):
        times = np.array([cut.time_h for cut in flat if cut.present == group] or [np.inf])
        curves[group] = (times[:, None] <= GRID_H).mean(axis=0)
    return curves


def figures(stays: Sequence[StayCuts], curves: dict[int, Floats]) -> dict[str, Any]:
    flat = [cut for stay in stays for cut in stay.cuts]
    times, met = [cut.time_h for cut in flat], sum(stay.met_already for stay in stays)
    out: dict[str, Any] = {
        "stays": sum(bool(stay.cuts or stay.met_already) for stay in stays),
        "cuts": len(flat),
        "met_already": met,
        "withheld": sum(stay.withheld for stay in stays),
    }
    if not flat:
        return out
    for method in METHODS:
        answered = sum(method in cut.chances for cut in flat)
        chances = np.array([cut.chances.get(method, curves[cut.present]) for cut in flat])
        scored = bench.scored(list(chances), times, met)
        out[method] = {
            **scored, "answered": len(flat) if method == KAPLAN_MEIER else answered,
            "reliability": bench.reliability(chances, times),
            "coverage": [(share, coverage(chances, times, share)) for share in NOMINAL],
        }  # fmt: skip
    return out


def coverage(chances: Floats, times: Sequence[float], share: float) -> float:
    """How often the central interval of that share held min(T, horizon)."""
    low, high = 0.5 - share / 2, 0.5 + share / 2
    return float(np.mean([covers(GRID_H, row, time, low, high) for row, time in zip(chances, times, strict=True)]))
