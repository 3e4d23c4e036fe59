"""Minutes: every one of them, weighted by time, within the bounds of whole display cells."""

from __future__ import annotations

import math

import numpy as np
import pytest

from behaviour.trace.made_log import HOUR, MINUTE, NOON, SECOND, made_log, thousandths
from slackwater.reading.log import NONE, STATES
from slackwater.trace.join import place
from slackwater.trace.minutes import minutes


def test_every_minute_has_a_row_missing_ones_too() -> None:
    trace = place([made_log([*range(60), *range(180, 240)], [20] * 120)])
    table = minutes(trace, NOON, NOON + 4 * MINUTE)
    assert table.covered.tolist() == [1, 0, 0, 1]
    assert table.present.tolist() == [1, 0, 0, 1]
    assert table.flow[[0, 3]].tolist() == [20, 20]
    for column in ("flow", "flow_low", "flow_high", "flow_min", "flow_max", "peak_low", "peak_high"):
        assert np.isnan(getattr(table, column)[1:3]).all(), column
    assert table.readings.tolist() == [60, 0, 0, 60]


@pytest.mark.parametrize(("start", "end", "n"), [(0, 60, 1), (59, 61, 2), (30, 90, 2), (-1, 0, 1), (5, 5, 1)])
def test_the_first_minute_is_floored_and_the_last_is_ceiled(start: int, end: int, n: int) -> None:
    table = minutes(place([made_log([0], [0])]), NOON + start * SECOND, NOON + end * SECOND)
    assert table.start_ms % MINUTE == 0
    assert table.start_ms <= NOON + start * SECOND
    assert len(table) == n


def test_an_empty_stretch_of_time_has_no_minutes() -> None:
    assert len(minutes(place([made_log([0], [0])]), NOON, NOON)) == 0


def test_means_are_weighted_by_time() -> None:
    """45 s at 10 and 15 s at 50."""
    table = minutes(place([made_log([0, 45], [10, 50], every=40)]), NOON, NOON + MINUTE)
    assert table.flow.tolist() == [20]


def test_a_row_across_two_minutes_counts_in_each_by_its_part() -> None:
    table = minutes(place([made_log([50, 70], [30, 60], every=20)]), NOON, NOON + 2 * MINUTE)
    assert table.covered.tolist() == [10 / 60, 30 / 60]
    assert table.flow.tolist() == [30, (10 * 30 + 20 * 60) / 30]
    assert table.readings.tolist() == [1, 2]


def test_a_log_of_five_minute_rows_fills_each_minute() -> None:
    table = minutes(place([made_log([0, 300], [30, 60], every=300)]), NOON, NOON + 10 * MINUTE)
    assert table.covered.tolist() == [1] * 10
    assert table.flow.tolist() == [30] * 5 + [60] * 5


def test_a_blank_is_present_but_not_covered() -> None:
    table = minutes(place([made_log([0, 15, 30, 45], [20, None, 20, None], every=15)]), NOON, NOON + MINUTE)
    assert (table.present[0], table.covered[0]) == (1.0, 0.5)
    assert table.flow.tolist() == [20]


@pytest.mark.parametrize(
    ("rounding", "low", "high"),
    [("nearest", 15, 25), ("floor", 20, 30), ("ceil", 10, 20), ("unknown", 10, 30)],
)
def test_the_bounds_are_those_of_the_whole_cell(rounding: str, low: float, high: float) -> None:
    log = made_log([0], [20], every=60, step=10, rounding=rounding)
    table = minutes(place([log]), NOON, NOON + MINUTE)
    assert (table.flow_low[0], table.flow_high[0]) == (low, high)
    assert (table.peak_low[0], table.peak_high[0]) == (low, high)
    assert table.flow[0] == 20


def test_an_exact_log_has_no_cells() -> None:
    table = minutes(place([made_log([0], [20.3], every=60, step=0)]), NOON, NOON + MINUTE)
    assert table.flow_low.tolist() == table.flow_high.tolist() == [20.3]


def test_an_odd_step_is_halved_exactly() -> None:
    table = minutes(place([made_log([0], [0.005], every=60, step=0.005)]), NOON, NOON + MINUTE)
    assert (table.flow_low[0], table.flow_high[0]) == (0.0025, 0.0075)


def test_readings_below_zero_are_shown_as_printed_and_bounded_at_zero() -> None:
    table = minutes(place([made_log([0, 30], [-20, 20], every=30)]), NOON, NOON + MINUTE)
    assert table.flow.tolist() == [0]
    assert table.flow_min.tolist() == [-20]
    assert (table.flow_low[0], table.flow_high[0]) == (7.5, 12.5)  # (0 + 15) / 2, (0 + 25) / 2


def test_the_peak_is_the_cell_of_the_largest_reading() -> None:
    table = minutes(place([made_log([0, 20, 40], [0, 150, 0], every=20)]), NOON, NOON + MINUTE)
    assert (table.flow_min[0], table.flow_max[0]) == (0, 150)
    assert (table.peak_low[0], table.peak_high[0]) == (145, 155)


def test_a_maximum_column_is_heeded_in_the_peak_alone() -> None:
    log = made_log(range(60), [20] * 60, flow_max_ul_per_min=thousandths([80] + [20] * 58 + [None]))
    table = minutes(place([log]), NOON, NOON + MINUTE)
    assert (table.flow[0], table.flow_max[0], table.peak_low[0], table.peak_high[0]) == (20, 80, 75, 85)


def test_after_an_exchange_each_unit_keeps_its_own_cells() -> None:
    one = made_log([0], [20], every=60)
    other = made_log([60], [20], every=60, step=2, rounding="floor", serials=("unit 2",))
    table = minutes(place([one, other]), NOON, NOON + 2 * MINUTE)
    assert table.flow_low.tolist() == [15, 20]
    assert table.flow_high.tolist() == [25, 22]


def test_pressure_is_in_cmh2o_with_suction_below_zero() -> None:
    log = made_log([0, 45], [0, 0], every=40, pressure_mcmh2o=thousandths([-8, -12]))
    table = minutes(place([log]), NOON, NOON + MINUTE)
    assert table.pressure.tolist() == [-9]
    assert (table.pressure_min[0], table.pressure_max[0]) == (-12, -8)
    assert table.pressure_readings.tolist() == [2]
    assert math.isnan(table.pressure_p05[0])


def test_the_units_own_pressure_extremes_are_used_where_it_logs_them() -> None:
    log = made_log(
        [0],
        [0],
        every=60,
        pressure_mcmh2o=thousandths([-8]),
        pressure_min_mcmh2o=thousandths([-11]),
        pressure_max_mcmh2o=thousandths([-4]),
    )
    table = minutes(place([log]), NOON, NOON + MINUTE)
    assert (table.pressure_min[0], table.pressure[0], table.pressure_max[0]) == (-11, -8, -4)


@pytest.mark.parametrize("n", [19, 20, 21, 41, 60])
def test_pressure_percentiles_are_numpys_from_twenty_readings_on(n: int) -> None:
    """The reference is numpy.percentile with linear interpolation."""
    chance = np.random.default_rng(n)
    values = np.round(chance.uniform(-20, 0, n), 1).tolist()
    log = made_log(range(60), [0] * 60, pressure_mcmh2o=thousandths(values + [None] * (60 - n)))
    table = minutes(place([log]), NOON, NOON + MINUTE)
    found = [table.pressure_p05[0], table.pressure_p95[0]]
    if n < 20:
        assert np.isnan(found).all()
    else:
        np.testing.assert_allclose(found, np.percentile(values, [5, 95]), rtol=0, atol=1e-12)


def test_set_suction_battery_and_fluid_are_the_last_known_of_the_minute() -> None:
    log = made_log(
        [0, 20, 40, 60],
        [0] * 4,
        every=20,
        set_suction_mcmh2o=thousandths([-20, -8, None, None]),
        battery_percent=np.array([90, 89, 88, NONE], np.int32),
        fluid_ml=np.array([100, NONE, NONE, 120], np.int32),
    )
    table = minutes(place([log]), NOON, NOON + 2 * MINUTE)
    assert table.set_suction[0] == -8
    assert math.isnan(table.set_suction[1])
    assert table.battery_percent[0] == 88
    assert table.fluid_ml.tolist() == [100, 120]


def test_the_state_is_the_word_that_holds_most_of_the_minute() -> None:
    off, running = STATES.index("off"), STATES.index("running")
    log = made_log([0, 10, 50, 90], [0] * 4, every=40, state=np.array([off, running, off, NONE], np.int32))
    assert minutes(place([log]), NOON, NOON + 3 * MINUTE).state.tolist() == [running, off, NONE]


def test_a_conflict_marks_the_minutes_it_touches() -> None:
    table = minutes(place([made_log([0, 59, 59, 120], [0, 0, 20, 0], every=2)]), NOON, NOON + 3 * MINUTE)
    assert table.conflict.tolist() == [True, True, False]
    assert table.clock.tolist() == [False, False, False]


def test_an_hour_that_happened_twice_marks_two_hours_of_clock() -> None:
    log = made_log(range(0, 3600, 60), [0] * 60, every=60, doubtful=range(60))
    table = minutes(place([log]), NOON, NOON + 3 * HOUR)
    assert table.clock.tolist() == [True] * 120 + [False] * 60
    assert table.covered.tolist() == [0] * 180


def test_arrays_are_read_only() -> None:
    table = minutes(place([made_log([0], [0])]), NOON, NOON + MINUTE)
    for name in ("covered", "flow", "pressure", "state", "conflict", "readings"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(table, name)[0] = 0
