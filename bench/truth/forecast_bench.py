"""The forecast against truth: when will the air clause first hold, with the log cut and the future hidden.

    python bench/truth/forecast_bench.py FOLDER                  cohorts made once in FOLDER, then read
    python bench/truth/forecast_bench.py FOLDER --parameters ours.toml --json figures.json

Scored on min(T, 48 h), T counted from the cut by the rule language's own windows. Beside ours: Kaplan-Meier by
present state (learnt on the other cohort) and a log-linear line through the last 24 h with its own spread. A
forecast that is withheld is scored as Kaplan-Meier. Also: conductance against truth, chance of leaking, day 5.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent))

import forecast_cohort as cohorts

from slackwater.forecast.air import AirClause, corrected
from slackwater.forecast.learn import GRID_H, HORIZON_H, Case, Past, cases, forecast_cases
from slackwater.forecast.outlast import outlasts
from slackwater.forecast.score import concordance, covers, crps_h, mean_h
from slackwater.leak.filter.model import FilterModel, from_toml, shipped_model
from slackwater.leak.filter.run import Seen, blocks, bursts, driving_from, run_filter, run_trend
from slackwater.leak.filter.trend import chain

Floats = NDArray[np.float64]
CLAUSES = {"20-every": AirClause(20.0, 480, None), "50-mean": AirClause(50.0, 480, 10)}
TOO_COARSE = ("breakwater",)  # a printed nought there stands for up to 20: such a log can never show the clause
STEP = {"breakwater": 20, "eelgrass": 5, "estuary": 4, "pebble": 1, "saltmarsh": 1, "sandbar": 2, "shingle": 10}
FAST = ("breakwater", "eelgrass", "estuary", "pebble", "saltmarsh", "sandbar")
CUTS_H = (24, 36, 48, 72)


def display(stay: cohorts.StayMinutes) -> tuple[float, bool]:
    """Step of the display, mL/min, and whether it could show a single cough."""
    unit = str(stay.about[2])
    if unit in STEP:
        return STEP[unit], unit in FAST
    step, every_s = (float(part.split()[0]) for part in unit.split(" every "))  # as the second world says it
    return step, every_s <= 10


def seen_of(stay: cohorts.StayMinutes) -> Seen:
    """What the filters are given of a stay."""
    some = np.isfinite(stay.pressure_p05)
    drive = driving_from(
        stay.pressure, np.where(some, stay.pressure_p05, stay.pressure_min),
        np.where(some, stay.pressure_p95, stay.pressure_max),
    )  # fmt: skip
    at = np.maximum.accumulate(np.where(np.isfinite(drive), np.arange(len(drive)), -1))
    drive = np.where(at >= 0, drive[np.maximum(at, 0)], np.nan)
    usable = stay.usable & np.isfinite(drive)
    step, fast = display(stay)
    burst = np.where(usable, bursts(stay.flow, stay.flow_max, usable, step), -1).astype(np.int8)
    if not fast:
        burst[:] = -1
    return Seen(stay.flow, stay.flow_low, stay.flow_high, drive, usable, burst)


def past_of(stay: cohorts.StayMinutes, name: str) -> Past:
    clause = CLAUSES[name]
    if clause.bin_min is None:
        worst, met = stay.peak_high, stay.met_20
    else:
        known = np.where(stay.known, stay.flow_high, np.nan)
        worst = np.full(len(known), np.nan)
        worst[clause.bin_min - 1 :] = np.lib.stride_tricks.sliding_window_view(known, clause.bin_min).mean(axis=1)
        met = stay.met_50
    with np.errstate(invalid="ignore"):
        within = stay.known & (worst <= clause.limit_ml_per_min)
    first_hour = float(stay.about[3]) if len(stay.about) > 3 else None
    return Past(seen_of(stay), clause, worst, within, met, first_hour=first_hour)


def stays_cases(stays: list[cohorts.StayMinutes], name: str) -> list[list[Case]]:
    return [found for stay in stays if (found := list(cases(past_of(stay, name), CUTS_H)))]


# --- baselines ------------------------------------------------------------------------------------


def present(case: Case) -> int:
    """Present state: leaking in the last hour, or below the limit for some time."""
    return int(np.searchsorted((30, 120, 300), case.run_min, side="right"))


def kaplan_meier(past: list[Case]) -> dict[int, Floats]:
    """F on GRID_H by present state. Every case is followed to the horizon, so the estimate is the plain share."""
    curves = {}
    for group in range(4):
        times = np.array([case.time_h for case in past if present(case) == group] or [np.inf])
        curves[group] = (times[:, None] <= GRID_H).mean(axis=0)
    return curves


def log_linear(case: Case) -> Floats:
    """A line through the logarithm of hourly flow over 24 h, carried to the limit, then the rule's hours more."""
    first = max(0, case.minute - 24 * 60)
    flow = np.where(case.past.given.usable, case.past.given.flow, np.nan)[first : case.minute]
    hourly = np.array([np.nanmean(part) for part in np.array_split(flow, 24) if np.isfinite(part).any()])
    lacks_h = (case.past.clause.lasting_min - case.run_min) / 60.0
    if len(hourly) < 6 or case.run_min > 0:
        return (lacks_h <= GRID_H).astype(np.float64)
    logs = np.log(np.maximum(hourly, 1.0))
    x = np.arange(len(logs)) - len(logs) + 1.0
    slope, level = np.polyfit(x, logs, 1)
    if slope >= -1e-3:
        return np.zeros_like(GRID_H)
    middle = max((np.log(case.past.clause.limit_ml_per_min) - level) / slope, 0.0)
    spread = max(0.6 * middle, 6.0)  # ours: wide, or it would do far worse
    at = (GRID_H - case.past.clause.lasting_min / 60.0 - middle) / spread
    return np.asarray(1.0 / (1.0 + np.exp(-1.702 * at)))


# --- scores ---------------------------------------------------------------------------------------


def scored(chances: list[Floats], times: list[float], met_already: int) -> dict[str, float]:
    """Figures over forecasts; `met_already`: cuts where the clause held, forecast as 0 h by every method."""
    crps = [crps_h(GRID_H, row, time) for row, time in zip(chances, times, strict=True)]
    inside = [covers(GRID_H, row, time) for row, time in zip(chances, times, strict=True)]
    expected = [mean_h(GRID_H, row) for row in chances]
    n = len(times) + met_already
    return {
        "cases": n, "met_already": met_already,
        "crps_h": float(np.sum(crps) / n), "crps_h_not_yet_met": float(np.mean(crps)),
        "covers_80": float((np.sum(inside) + met_already) / n), "covers_80_not_yet_met": float(np.mean(inside)),
        "c_index": concordance([*times, *[0.0] * met_already], [*expected, *[0.0] * met_already], HORIZON_H),
        "c_index_not_yet_met": concordance(times, expected, HORIZON_H),
    }  # fmt: skip


def forecast_figures(
    stays: list[cohorts.StayMinutes], earlier: list[cohorts.StayMinutes], name: str, model: FilterModel
) -> dict[str, Any]:
    fair = [stay for stay in stays if stay.about[2] not in TOO_COARSE]
    found = stays_cases(fair, name)
    flat = [case for group in found for case in group]
    times = [case.time_h for case in flat]
    met = sum(int((stay.met_20 if name == "20-every" else stay.met_50)[h * 60 - 1]) for stay in fair for h in CUTS_H)
    curves = kaplan_meier(
        [case for group in stays_cases([s for s in earlier if s.about[2] not in TOO_COARSE], name) for case in group]
    )
    raw = np.concatenate([forecast_cases(group, model)[0] for group in found])
    ours = corrected(GRID_H, raw, model.calibration_for(CLAUSES[name].bin_min))
    return {
        "Kaplan-Meier": scored([curves[present(case)] for case in flat], times, met),
        "log-linear": scored([log_linear(case) for case in flat], times, met),
        "ours, uncorrected": scored(list(raw), times, met),
        "ours": scored(list(ours), times, met),
        "reliability": reliability(ours, times),
    }


def reliability(chances: Floats, times: list[float]) -> dict[str, list[tuple[float, ...]]]:
    """(mean chance forecast, share that came, cases) by fifths, for each of 6, 12, 24 and 48 h."""
    out = {}
    for hours in (6, 12, 24, 48):
        given = chances[:, int(np.searchsorted(GRID_H, hours - 1e-9))]
        came = np.array(times) <= hours
        fifth = np.minimum((given * 5).astype(int), 4)
        out[str(hours)] = [
            tuple(round(float(v), 3) for v in (given[part].mean(), came[part].mean(), part.sum()))
            for k in range(5)
            if (part := fifth == k).any()
        ]
    return out


def state_figures(stays: list[cohorts.StayMinutes], model: FilterModel) -> dict[str, float]:
    """Conductance's fold error (median over stays of each stay's median), chance of leaking, cover of the interval."""
    folds: dict[str, list[float]] = {"suction": [], "none_added": [], "suction_flow": [], "none_added_flow": []}
    chance, truth, inside = [], [], []
    for stay in stays:
        given = seen_of(stay)
        found = run_filter(given, (20.0,), model=model)
        fine = stay.usable & stay.true_open & ~stay.fault
        chance.append(found.p_at_least[fine, 0])
        truth.append(stay.true_rest[fine] >= 20.0)
        leaking = fine & (stay.true_rest >= 2 * STEP[str(stay.about[2])])
        inside.append(((found.low_ml_per_min <= stay.true_rest) & (stay.true_rest <= found.high_ml_per_min))[leaking])
        with np.errstate(divide="ignore", invalid="ignore"):
            for kind, where in (("suction", stay.pressure < -6.0), ("none_added", stay.pressure >= -6.0)):
                for suffix, true in (("", stay.true_conductance), ("_flow", stay.true_rest / given.drive_cmh2o)):
                    error = np.abs(np.log(found.conductance / true))[leaking & where]
                    error = error[np.isfinite(error)]
                    if len(error) > 30:
                        folds[kind + suffix].append(float(np.median(error)))
    p, y = np.concatenate(chance), np.concatenate(truth)
    return {
        **{f"conductance_fold_{kind}": float(np.exp(np.median(values))) for kind, values in folds.items()},
        "brier_leaking_20": float(((p - y) ** 2).mean()),
        "covers_90_leak": float(np.concatenate(inside).mean()),
    }


def day_5(stays: list[cohorts.StayMinutes], model: FilterModel) -> dict[str, float]:
    """Chance that the leak outlasts 120 h from connection, from the cuts: Brier score, and that of the mean rate."""
    chances, came = [], []
    links = chain(model.trend)
    for stay in stays:
        if len(stay.flow) < 121 * 60:
            continue
        later = (stay.true_conductance + stay.true_effort_conductance)[120 * 60 :].max() > 0
        given = blocks(seen_of(stay))
        for hours in CUTS_H:
            names = given.__dataclass_fields__
            part = type(given)(*(np.ascontiguousarray(getattr(given, name)[: hours * 6]) for name in names))
            state, _ = run_trend(part, model.trend)
            chances.append(outlasts(state, links, (120 - hours) * 60.0))
            came.append(later)
    p, y = np.array(chances), np.array(came)
    return {
        "cases": len(y), "rate": float(y.mean()), "mean_chance": float(p.mean()), "brier": float(((p - y) ** 2).mean()),
        "brier_of_rate": float(y.mean() * (1 - y.mean())),
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=4202, help="cohort that is scored")
    parser.add_argument("--stays", type=int, default=200)
    parser.add_argument("--other-seed", type=int, default=4101, help="cohort the population curves are learnt on")
    parser.add_argument("--other-stays", type=int, default=260)
    parser.add_argument("--parameters", type=Path)
    parser.add_argument("--json", dest="out", type=Path)
    given = parser.parse_args()
    model = from_toml(given.parameters.read_text(), given.parameters.name) if given.parameters else shipped_model()
    stays = cohorts.cohort(given.folder, given.seed, given.stays)
    earlier = cohorts.cohort(given.folder, given.other_seed, given.other_stays)
    figures: dict[str, Any] = {name: forecast_figures(stays, earlier, name, model) for name in CLAUSES}
    figures["state"], figures["day 5"] = state_figures(stays, model), day_5(stays, model)
    for name in CLAUSES:
        print(f"\n{name}: seed {given.seed}, {given.stays} stays, cuts at {CUTS_H} h, on min(T, 48 h)")
        print(f"{'':<20}{'cases':>7}{'CRPS, h':>9}{'not met':>9}{'cover .8':>10}{'not met':>9}{'C':>7}{'not met':>9}")
        for method, row in figures[name].items():
            if method != "reliability":
                print(
                    f"{method:<20}{row['cases']:>7}{row['crps_h']:>9.2f}{row['crps_h_not_yet_met']:>9.2f}"
                    f"{row['covers_80']:>10.3f}{row['covers_80_not_yet_met']:>9.3f}{row['c_index']:>7.3f}"
                    f"{row['c_index_not_yet_met']:>9.3f}"
                )
    for name in ("state", "day 5"):
        print(f"\n{name}: " + ", ".join(f"{key} {value:.4g}" for key, value in figures[name].items()))
    print(f"\nnumbers: {model.provenance}")
    if given.out:
        given.out.write_text(json.dumps(figures, indent=2) + "\n")


if __name__ == "__main__":
    main()
