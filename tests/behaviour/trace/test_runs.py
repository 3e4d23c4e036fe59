"""Runs below a limit and sliding means: what is certain, and what is possible."""

from __future__ import annotations

import math

import numpy as np
import pytest

from behaviour.trace.made_log import MINUTE, NOON, made_log
from slackwater.errors import UsageError
from slackwater.reading.log import NONE
from slackwater.trace.join import place
from slackwater.trace.minutes import minutes
from slackwater.trace.runs import rolling_max, rolling_median, runs_below, sliding_mean_bounds

INF = math.inf
NAN = math.nan


def test_a_gap_ends_the_certain_run_and_continues_the_possible_one() -> None:
    low = np.array([0.0, 0.0, NAN, 0.0, 0.0])
    runs = runs_below(low, low + 10, 50)
    assert runs.certain.tolist() == [1, 2, 0, 1, 2]
    assert runs.possible.tolist() == [1, 2, 3, 4, 5]


def test_a_minute_surely_above_ends_both() -> None:
    runs = runs_below(np.array([0.0, 60, 0]), np.array([10.0, 70, 10]), 50)
    assert runs.certain.tolist() == [1, 0, 1]
    assert runs.possible.tolist() == [1, 0, 1]


def test_a_cell_that_straddles_the_limit_is_doubt() -> None:
    runs = runs_below(np.array([0.0, 45]), np.array([10.0, 55]), 50)
    assert runs.certain.tolist() == [1, 0]
    assert runs.possible.tolist() == [1, 2]


def test_a_mask_of_doubt_makes_any_value_unknown() -> None:
    runs = runs_below(np.array([90.0, 0]), np.array([95.0, 5]), 50, unknown=np.array([True, False]))
    assert runs.certain.tolist() == [0, 1]
    assert runs.possible.tolist() == [1, 2]


@pytest.mark.parametrize(("at_most", "expected"), [(False, [1, 0, 0]), (True, [1, 1, 0])])
def test_at_the_limit_itself_the_comparison_decides(at_most: bool, expected: list[int]) -> None:
    exact = np.array([49.999, 50.0, 50.001])
    runs = runs_below(exact, exact, 50.0, at_most=at_most)
    assert (runs.certain > 0).astype(int).tolist() == expected
    assert (runs.possible > 0).astype(int).tolist() == expected


@pytest.mark.parametrize("value", [49.9, 50.0, 0.1, 33.3, 19.99])
@pytest.mark.parametrize("width", [10, 480])
def test_minutes_at_one_value_mean_that_value_to_the_last_digit(value: float, width: int) -> None:
    """No drift over five days, also after a burst has come and gone."""
    values = np.full(7200, value)
    values[100:140] = 8123.7
    low, high = sliding_mean_bounds(values, values, np.ones(7200), width)
    assert low[-1] == high[-1] == value
    assert low[99] == value or width > 100
    assert (high[200 + width :] == value).all()


def test_a_mean_over_minutes_from_a_log_is_exact() -> None:
    log = made_log(range(1200), [49.9] * 1200, step=0)
    table = minutes(place([log]), NOON, NOON + 20 * MINUTE)
    low, high = sliding_mean_bounds(table.flow_low, table.flow_high, table.covered, 10)
    assert set(low[9:].tolist()) == set(high[9:].tolist()) == {49.9}


def test_a_missing_minute_may_have_held_anything_from_nothing_upwards() -> None:
    values = np.array([30.0, NAN, 30.0, 30.0])
    low, high = sliding_mean_bounds(values, values, np.array([1.0, 0, 1, 1]), 2)
    assert low.tolist() == [15, 15, 15, 30]
    assert high.tolist() == [INF, INF, INF, 30]


def test_a_lower_bound_can_exceed_a_limit_in_spite_of_a_gap() -> None:
    values = np.array([1000.0, NAN])
    low, _ = sliding_mean_bounds(values, values, np.array([1.0, 0]), 2)
    assert low[-1] == 500


def test_a_minute_recorded_in_part_has_no_upper_bound() -> None:
    low, high = sliding_mean_bounds(np.full(1, 40.0), np.full(1, 40.0), np.array([0.25]), 1)
    assert (low[0], high[0]) == (10, INF)


@pytest.mark.parametrize("width", [0, -1, 20_161])
def test_a_window_out_of_range_is_refused(width: int) -> None:
    with pytest.raises(UsageError, match="Ask for 1 to 20160 minutes"):
        sliding_mean_bounds(np.zeros(1), np.zeros(1), np.zeros(1), width)


@pytest.mark.parametrize("width", [1, 2, 7, 480])
@pytest.mark.parametrize("seed", range(3))
def test_rolling_maximum_and_median_are_those_of_each_window(width: int, seed: int) -> None:
    """Against numpy's nanmax and nanmedian of every window by itself."""
    chance = np.random.default_rng(seed)
    values = chance.integers(-5, 40, 700).astype(np.int32)
    values[chance.random(700) < 0.2] = NONE
    floats = np.where(values == NONE, NAN, values.astype(float))
    enough = max(1, width // 2)
    most = rolling_max(floats, width, enough=enough)
    middle = rolling_median(values, width, enough=enough)
    for i in range(700):
        window = floats[max(0, i - width + 1) : i + 1]
        if np.count_nonzero(~np.isnan(window)) < enough:
            assert math.isnan(most[i])
            assert math.isnan(middle[i])
        else:
            assert most[i] == np.nanmax(window)
            assert middle[i] == np.nanmedian(window)


def test_nothing_at_all_has_no_median() -> None:
    assert np.isnan(rolling_median(np.array([NONE, NONE], np.int32), 2)).all()


def test_a_median_of_values_too_far_apart_is_refused() -> None:
    with pytest.raises(UsageError, match="Give them in device steps"):
        rolling_median(np.array([0, 20_000_000], np.int32), 2)


def test_a_window_narrower_than_the_values_it_needs_is_refused() -> None:
    with pytest.raises(UsageError, match="wide enough"):
        rolling_max(np.zeros(3), 2, enough=3)
