"""Stays for the forecast bench: minute tables with the truth beside them, kept in a folder so that they are made once.

    python bench/truth/forecast_cohort.py FOLDER --seed 4101 --stays 200

Half are drawn from the wide variety of courses, half from the lobectomy preset; each log is long enough that 48 h
follow the latest cut. Two in three carry no fault. All invented.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.episode.types import Chart, Episode
from slackwater.leak.state import known_minutes, leak_trace
from slackwater.leak.words import NO_REASON, SHARED
from slackwater.protocol.facts import Signal
from slackwater.protocol.status import Status
from slackwater.protocol.windows import lasting_codes, window_codes
from slackwater.reading.layout import Layout
from slackwater.reading.read import read_log
from slackwater.simulate import draw_lobectomy, draw_scenario, simulate
from slackwater.simulate.unit_types import BREAKWATER, EELGRASS, ESTUARY, PEBBLE, SALTMARSH, SANDBAR, SHINGLE
from slackwater.trace.join import place
from slackwater.trace.minutes import minutes

HOURS = 124.0
FROM_THE_TABLE = (
    "flow", "flow_low", "flow_high", "flow_max", "peak_low", "peak_high", "covered", "pressure", "pressure_min",
    "pressure_max", "pressure_p05", "pressure_p95", "set_suction",
)  # fmt: skip
UNITS = (BREAKWATER, EELGRASS, ESTUARY, PEBBLE, SALTMARSH, SANDBAR, SHINGLE)


@dataclass(frozen=True, eq=False)
class StayMinutes:
    """One stay, n minutes from connection. `met_20`, `met_50`: the clause holds at the end of that minute."""

    flow: NDArray[np.float64]
    flow_low: NDArray[np.float64]
    flow_high: NDArray[np.float64]
    flow_max: NDArray[np.float64]
    peak_low: NDArray[np.float64]
    peak_high: NDArray[np.float64]
    covered: NDArray[np.float64]
    pressure: NDArray[np.float64]
    pressure_min: NDArray[np.float64]
    pressure_max: NDArray[np.float64]
    pressure_p05: NDArray[np.float64]
    pressure_p95: NDArray[np.float64]
    set_suction: NDArray[np.float64]
    usable: NDArray[np.bool_]
    known: NDArray[np.bool_]
    met_20: NDArray[np.bool_]
    met_50: NDArray[np.bool_]
    true_rest: NDArray[np.float64]
    true_conductance: NDArray[np.float64]
    true_effort_conductance: NDArray[np.float64]
    true_open: NDArray[np.bool_]
    fault: NDArray[np.bool_]
    about: NDArray[np.str_]  # pattern, kind of draw, unit, hour of the clock at connection


def draw(seed: int, number: int) -> StayMinutes:
    """Stay `number` of the cohort with `seed`; the same whatever the size of the cohort."""
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(number,)))
    kind = "lobectomy" if number % 2 else "wide"
    drawn = draw_lobectomy(rng, prevalence=0.9) if kind == "lobectomy" else draw_scenario(rng)
    faulty = rng.random() < 1 / 3
    unit = UNITS[int(rng.integers(len(UNITS)))]
    drawn = replace(
        drawn, hours=HOURS, unit=unit, exchange=None, zone="UTC", faults=drawn.faults if faulty else (),
    )  # fmt: skip
    stay = simulate(drawn, int(rng.integers(2**31)))
    found = recorded(stay.logs[0], stay.layout_toml, drawn.start_s * 1000)
    n = min(len(found["flow"]), stay.truth.minutes)
    return StayMinutes(
        **{name: values[:n] for name, values in found.items()},
        true_rest=stay.truth.leak_rest_ml_per_min[:n],
        true_conductance=stay.truth.conductance_ml_per_min_per_cmh2o[:n],
        true_effort_conductance=stay.truth.effort_conductance_ml_per_min_per_cmh2o[:n],
        true_open=stay.truth.tube_open[:n],
        fault=np.array([bool(names) for names in stay.truth.faults[:n]]),
        about=np.array([stay.truth.pattern, kind, unit.name, str(drawn.start_s % 86_400 / 3600)]),
    )


def recorded(data: bytes, layout: str, start_ms: int) -> dict[str, NDArray[Any]]:
    """All but the truth, from a log of HOURS; `met` is left to the rule language's own windows."""
    trace = place([read_log(data, Layout.from_toml(layout, "layout.toml"), "log.csv")])
    table = minutes(trace, start_ms, start_ms + round(HOURS * 3_600_000))
    episode = Episode(connected_at=start_ms, shares_space_told=True, space="pleural", drain_number="1")
    leak = leak_trace(trace, table, Chart(), episode, 20.0)
    known = known_minutes(leak)

    def bounded(low: NDArray[np.float64], high: NDArray[np.float64]) -> Signal:
        lower, upper = np.where(known & np.isfinite(low), low, 0.0), np.where(known, high, np.inf)
        return Signal(lower, upper, lower, upper, lower, upper, known, known, leak.top_open, False, 1.0, True)

    floor = np.zeros(len(table), dtype=np.int64)
    codes_20 = window_codes(bounded(table.peak_low, table.peak_high), None, "below", 20.0)
    codes_50 = window_codes(bounded(table.flow_low, table.flow_high), 10, "below", 50.0)
    reason = leak.doubt.reason
    return {
        **{name: getattr(table, name) for name in FROM_THE_TABLE},
        "usable": ((reason == NO_REASON) | (reason == SHARED)) & np.isfinite(table.flow),
        "known": known,
        "met_20": lasting_codes(codes_20, 1, 480, floor)[0] == Status.MET,
        "met_50": lasting_codes(codes_50, 10, 480, floor)[0] == Status.MET,
    }


def kept(folder: Path, seed: int, number: int, make: Callable[[int, int], StayMinutes] = draw) -> StayMinutes:
    """Stay `number` of a seed, from the folder where it is there already."""
    path = folder / f"{seed}-{number:04d}.npz"
    if not path.exists():
        made = make(seed, number)
        partial = path.with_suffix(".part.npz")
        np.savez_compressed(partial, **{field.name: getattr(made, field.name) for field in fields(made)})
        partial.replace(path)
    with np.load(path) as held:
        return StayMinutes(**{field.name: held[field.name] for field in fields(StayMinutes)})


def cohort(folder: Path, seed: int, stays: int) -> list[StayMinutes]:
    """The first `stays` stays of a seed, from the folder where they are there already."""
    folder.mkdir(parents=True, exist_ok=True)
    found = []
    for number in range(stays):
        found.append(kept(folder, seed, number))
        if sys.stderr.isatty():
            print(f"\r{number + 1} of {stays}", end="", file=sys.stderr)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=4101)
    parser.add_argument("--stays", type=int, default=200)
    given = parser.parse_args()
    print(f"{len(cohort(given.folder, given.seed, given.stays))} stays in {given.folder}")


if __name__ == "__main__":
    main()
