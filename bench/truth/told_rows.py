"""Forecasts at moments of stays whose end is known, as `assess` would have told them, and when the clause came.

Two worlds: that of `simulate --cohort`, faults and all, each stay followed 60 h beyond its own end; and the second
world's. At every 12 h each stay is judged with nothing later; what came is read off looking back, as an audit does.
'minutes' are the first world's stays of forecast_cohort.py, cut as forecast_bench.py cuts them.
A folder keeps them, so that they are made once.
"""

from __future__ import annotations

import pickle
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import forecast_bench
import forecast_cohort
import numpy as np
import second_world

import slackwater
from slackwater.audit.forecasts import Came, came_of
from slackwater.forecast.air import AirClause, Times
from slackwater.forecast.learn import GRID_H, cases, forecast_cases
from slackwater.forecast.whole import air_clause, air_clause_times, withheld
from slackwater.leak.filter.model import FilterModel, PastModel, shipped_model
from slackwater.protocol.status import Status
from slackwater.simulate import draw_scenario, simulate
from slackwater.simulate.ending import course_toml

RULES = {"20-every": "air-20-8h", "50-mean": "air-50-8h"}
EVERY_H, BEYOND_H = 12, 60
MOST = 10  # moments of one stay
MS = 3_600_000


@dataclass(frozen=True, eq=False)
class Row:
    """One forecast of one clause. pure: before past stays and the correction; full, audit: what came, in all and as
    followed to the removal (None: told after it). run_min: how long the run had lasted; about: what to group by."""

    stay: str
    clause: str
    moment_h: float
    pure: Times
    air: AirClause
    run_min: float
    full: Came
    audit: Came | None
    about: dict[str, Any]


@dataclass(frozen=True, eq=False)
class Lived:
    logs: list[Any]
    chart: Any
    episode: Any
    start_ms: int
    told_until_ms: int
    removed_ms: int
    about: dict[str, Any]


def cohort_stay(seed: int, number: int) -> Lived:
    """Stay `number` of `simulate --cohort` with this seed, longer; its drain comes out as if it were not."""
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(number,)))
    drawn = draw_scenario(rng)
    made = simulate(replace(drawn, hours=drawn.hours + BEYOND_H), int(rng.integers(2**31)))
    removal = tomllib.loads(course_toml(replace(made, scenario=drawn)))["removal"]
    assert isinstance(removal["time"], datetime)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    start = drawn.start_s * 1000
    return Lived(
        [slackwater.read_log(data, layout, f"log-{k}.csv") for k, data in enumerate(made.logs)],
        slackwater.read_chart(made.chart_csv.encode(), "chart.csv", drawn.zone),
        slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        start, start + round(drawn.hours * MS), round(removal["time"].timestamp() * 1000),
        {
            "pattern": made.truth.pattern, "faults": len(drawn.faults), "unit": drawn.unit.name,
            "step": drawn.unit.flow_step_ml_per_min,
        },
    )  # fmt: skip


def second_stay(seed: int, number: int) -> Lived:
    """Stay `number` of the second world's; nobody takes the drain out."""
    bundle, plan = second_world.bundle_and_plan(seed, number)
    name, data, layout = bundle.logs[0]
    end = bundle.connected_ms + round((plan.hours - 48) * MS)
    return Lived(
        [slackwater.read_log(data, slackwater.Layout.from_toml(layout, "layout.toml"), name)],
        slackwater.read_chart(bundle.chart, "chart.csv"), slackwater.read_episode(bundle.episode, "episode.toml"),
        bundle.connected_ms, end, end + 48 * MS,
        {"pattern": "second", "faults": 0, "unit": f"{plan.cadence} s", "step": plan.flow_step},
    )  # fmt: skip


def rows_of(world: str, seed: int, number: int) -> list[Row]:
    """Every forecast told of one stay."""
    lived = cohort_stay(seed, number) if world == "cohort" else second_stay(seed, number)
    found: list[Row] = []
    for clause, name in RULES.items():
        given = {"chart": lived.chart, "episode": lived.episode, "protocol": slackwater.shipped_protocol(name)}
        whole = slackwater.assess(lived.logs, **given)
        assert whole.evaluation is not None
        later = {one.id: one.timeline for one in whole.evaluation.criteria}
        for k in range(1, MOST + 1):
            moment = lived.start_ms + k * EVERY_H * MS
            if moment > lived.told_until_ms:
                break
            found += _told(lived, given, whole, later, clause, moment, shipped_model(), f"{world} {seed} {number}")
    return found


def _told(
    lived: Lived, given: dict[str, Any], whole: Any, later: dict[str, Any], clause: str, moment: int,
    model: FilterModel, stay: str,
) -> Iterator[Row]:  # fmt: skip
    then = slackwater.assess(lived.logs, now_ms=moment, **given)
    said = then.forecast
    if said is None or then.evaluation is None or then.leak_trace is None or then.data_until_ms is None:
        return
    for one in then.evaluation.criteria:
        hours = said.clauses.get(one.id)
        if hours is None or hours.withheld_because or one.status in (Status.MET, Status.MET_WITH_GAPS):
            continue
        leak = then.leak_trace
        seen = leak.given.until(then.facts.length)
        assert withheld(then.facts, seen) is None and one.clause is not None
        times = air_clause_times(one, one.clause, then.facts, seen, leak.filtered, model, then.first_hour)
        assert isinstance(times, Times)
        told = air_clause(one)
        assert told is not None
        base = then.data_until_ms
        until = whole.facts.now_ms
        yield Row(
            stay, clause, (moment - lived.start_ms) / MS, times, *told, came_of(whole, later[one.id], base, until),
            came_of(whole, later[one.id], base, lived.removed_ms) if moment < lived.removed_ms else None,
            {**lived.about, "hour": then.first_hour, "doubt": not seen.usable[-480:].all()},
        )  # fmt: skip


def minute_rows(seed: int, number: int) -> list[Row]:
    """Every cut of a stay of forecast_cohort.py. Nobody takes the drain out."""
    stay = forecast_cohort.draw(seed, number)
    if stay.about[2] in forecast_bench.TOO_COARSE:
        return []
    plain = replace(shipped_model(), past=PastModel(), past_of_means=PastModel())
    found = []
    for clause in RULES:
        cut = list(cases(forecast_bench.past_of(stay, clause), forecast_bench.CUTS_H))
        for case, row in zip(cut, forecast_cases(cut, plain)[0] if cut else (), strict=True):
            ever = np.isfinite(case.time_h)
            came = Came(
                case.time_h if ever else None, None if ever else case.followed_h, min(case.time_h, case.followed_h)
            )
            found.append(
                Row(
                    f"minutes {seed} {number}", clause, case.minute / 60.0, Times(GRID_H * 60.0, row),
                    case.past.clause, float(case.run_min), came, None, {"pattern": str(stay.about[0])},
                )
            )  # fmt: skip
    return found


def rows(folder: Path, world: str, seed: int, stays: int) -> list[Row]:
    """Of the first `stays` stays of a seed, from the folder where they are there already."""
    folder.mkdir(parents=True, exist_ok=True)
    found: list[Row] = []
    for number in range(stays):
        path = folder / f"{world}-{seed}-{number:04d}.pickle"
        if not path.exists():
            made = minute_rows(seed, number) if world == "minutes" else rows_of(world, seed, number)
            path.write_bytes(pickle.dumps(made))
        found += pickle.loads(path.read_bytes())
        if sys.stderr.isatty():
            print(f"\r{world} {seed}: {number + 1} of {stays}", end="", file=sys.stderr)
    return found
