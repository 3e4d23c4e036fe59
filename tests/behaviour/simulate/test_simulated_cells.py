"""Every logged value is the sensed one, rounded as the unit rounds."""

from __future__ import annotations

import csv
import math
import tomllib
from dataclasses import replace

import numpy as np
import pytest

from slackwater import simulate as sim
from slackwater.reading.layout import Layout
from slackwater.reading.read import read_log
from slackwater.simulate.cell import to_steps
from slackwater.simulate.si import ML_PER_MIN_PER_UNIT, PASCAL_PER_UNIT
from slackwater.simulate.unit_types import UNIT_TYPES


@pytest.mark.parametrize(
    ("rounding", "value", "step", "shown"),
    [
        ("nearest", 14.99, 10.0, 10.0),
        ("nearest", 15.0, 10.0, 20.0),
        ("nearest", 24.99, 10.0, 20.0),
        ("floor", 19.99, 10.0, 10.0),
        ("floor", 20.0, 10.0, 20.0),
        ("ceil", 10.01, 10.0, 20.0),
        ("ceil", 10.0, 10.0, 10.0),
        ("nearest", -3.0, 5.0, -5.0),
        ("floor", 0.3, 0.1, 0.3),  # 0.3 / 0.1 is 2.9999999999999996 in binary
    ],
)
def test_a_cell_is_rounded_by_its_rule(rounding, value, step, shown) -> None:  # type: ignore[no-untyped-def]
    steps = to_steps(np.array([value]), step, rounding)
    assert steps[0] * step == pytest.approx(shown)


@pytest.mark.parametrize("unit", UNIT_TYPES, ids=lambda unit: unit.name)
def test_every_logged_value_is_the_rounded_sensed_value(unit: sim.UnitType) -> None:
    stay = sim.simulate(replace(sim.scenario("step_down"), hours=4.0, unit=unit), 6)
    layout = tomllib.loads(stay.layout_toml)
    lines = stay.logs[0].decode(unit.encoding).splitlines()[len(unit.preamble) :]
    rows = list(csv.DictReader(lines, delimiter=unit.separator))
    rows = rows[1:] if unit.units_line else rows
    flow = [float(row[layout["flow"]["column"]].replace(unit.decimal, ".")) for row in rows]
    pressure = [float(row[layout["pressure"]["column"]].replace(unit.decimal, ".")) for row in rows]
    step, per_unit = unit.flow_step_ml_per_min, ML_PER_MIN_PER_UNIT[unit.flow_unit]
    rounds = {
        "nearest": lambda v: math.floor(v / step + 0.5 + 1e-9),
        "floor": lambda v: math.floor(v / step + 1e-9),
        "ceil": lambda v: math.ceil(v / step - 1e-9),
    }[unit.flow_rounding]
    expected = [rounds(v) * step for v in stay.sensed.flow_ml_per_min.tolist()]
    assert [f * per_unit for f in flow] == pytest.approx(expected, abs=1e-6)
    sign = -1.0 if unit.suction_is == "positive" else 1.0
    true = sign * stay.sensed.pressure_pa / PASCAL_PER_UNIT[unit.pressure_unit]
    assert np.abs(np.array(pressure) - true).max() <= 0.5 * unit.pressure_step + 1e-6


@pytest.mark.parametrize("unit", UNIT_TYPES, ids=lambda unit: unit.name)
def test_a_log_read_by_its_layout_gives_back_every_row_in_bedside_units(unit: sim.UnitType) -> None:
    stay = sim.simulate(replace(sim.scenario("step_down"), hours=4.0, unit=unit), 6)
    log = read_log(stay.logs[0], Layout.from_toml(stay.layout_toml, "layout"), "log")
    steps = to_steps(stay.sensed.flow_ml_per_min, unit.flow_step_ml_per_min, unit.flow_rounding)
    assert (log.flow_ul_per_min / 1000.0).tolist() == pytest.approx((steps * unit.flow_step_ml_per_min).tolist())
    assert log.pressure_mcmh2o is not None
    wide = 0.5 * unit.pressure_step * PASCAL_PER_UNIT[unit.pressure_unit] + 0.2
    assert np.abs(log.pressure_mcmh2o / 1000.0 * 98.0665 - stay.sensed.pressure_pa).max() <= wide
    before = unit.cadence_s if unit.stamp.marks == "start" else 0
    stamped = (stay.scenario.start_s + stay.sensed.end_s - before) * 1000
    if unit.stamp.clock == "%H:%M:%S":
        assert log.time_ms.tolist() == stamped.tolist()


def test_a_unit_that_clips_never_shows_a_negative_flow_and_one_that_does_not_may() -> None:
    clipped = sim.simulate(replace(sim.scenario("none"), hours=4.0), 1)
    free = sim.simulate(replace(sim.scenario("zero_shift_negative"), hours=20.0), 1)
    assert clipped.sensed.flow_ml_per_min.min() >= 0.0
    assert free.sensed.flow_ml_per_min.min() < -5.0


def test_no_invented_unit_has_all_the_habits_of_one_kind_of_real_unit() -> None:
    # Common practice, no source: half-kPa steps, L/min to two decimals, about 10 L/min at the top.
    for unit in UNIT_TYPES:
        alike = [
            unit.flow_unit == "L/min" and unit.flow_step_ml_per_min == 10.0,
            unit.pressure_unit == "kPa" and unit.pressure_step == 0.5,
            9000.0 <= unit.flow_top_ml_per_min <= 11000.0,
            unit.battery_runs_min == 240.0,
        ]
        assert sum(alike) <= 1
