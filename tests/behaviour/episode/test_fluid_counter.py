"""A unit's cumulative counter becomes intervals, through its resets and its missing rows."""

from __future__ import annotations

import math

import numpy as np
import pytest

from slackwater.episode.fluid import FluidRecord, fluid_from_counter, last_entry_end, total
from slackwater.errors import UsageError

MINUTE = 60_000
NONE = math.nan


def counter(*values: float, every: int = MINUTE) -> FluidRecord:
    times = np.arange(len(values), dtype=np.int64) * every
    return fluid_from_counter(times, np.array(values, dtype=float), every)


def bounds(record: FluidRecord) -> list[tuple[float, float, str]]:
    return [(one.low_ml, one.high_ml, one.status) for one in record.intervals]


def test_the_rise_between_rows_is_what_drained() -> None:
    read = counter(100, 102, 102, 105)
    assert bounds(read) == [(2, 2, "known"), (0, 0, "known"), (3, 3, "known")]
    assert total(read, 0, 3 * MINUTE).high_ml == 5
    assert last_entry_end(read) == 3 * MINUTE


def test_a_counter_that_begins_anew_keeps_the_total_and_bounds_what_the_reset_hid() -> None:
    # Fastest rise 2 mL a minute, one step of 1 mL: the reset hid at most 2 x (2 + 1) mL (ours).
    read = counter(476, 478, 480, 0, 2)
    assert bounds(read)[2:] == [(0, 6, "reset"), (2, 2, "known")]
    assert "began anew 1 time" in read.notes[0]


def test_what_stands_in_the_fresh_counter_has_drained() -> None:
    assert bounds(counter(476, 478, 480, 3))[2] == (3, 9, "reset")


def test_a_fall_to_a_value_too_large_for_a_fresh_counter_is_a_conflict() -> None:
    # A tilted canister may read 470 after 480; that is neither 470 mL of output nor minus 10.
    assert bounds(counter(476, 478, 480, 470, 471))[2:] == [(0, math.inf, "conflict"), (1, 1, "known")]


def test_a_reset_before_any_rise_was_seen_has_no_upper_bound() -> None:
    assert bounds(counter(480, 0)) == [(0, math.inf, "conflict")]


def test_across_missing_rows_the_rise_is_only_a_lower_bound() -> None:
    assert bounds(counter(100, NONE, 104, 105)) == [(4, math.inf, "unknown"), (1, 1, "known")]


def test_rows_that_are_not_there_are_missing_too() -> None:
    times = np.array([0, 1, 5, 6], dtype=np.int64) * MINUTE
    read = fluid_from_counter(times, np.array([100.0, 101, 104, 105]), MINUTE)
    assert bounds(read) == [(1, 1, "known"), (3, math.inf, "unknown"), (1, 1, "known")]


def test_a_reset_after_missing_rows_of_the_same_day_has_no_upper_bound() -> None:
    assert bounds(counter(100, NONE, 102, 104, 0))[-1] == (0, math.inf, "reset")


def test_missing_rows_two_days_before_a_reset_do_not_matter() -> None:
    values = [100.0, NONE, *(101.0 + i for i in range(60)), 0.0]
    assert math.isfinite(bounds(counter(*values, every=3_600_000))[-1][1])


def test_a_faster_rise_after_the_reset_does_not_change_what_it_hid() -> None:
    before, after = counter(476, 478, 480, 0, 1), counter(476, 478, 480, 0, 90)
    assert bounds(before)[2] == bounds(after)[2]


def test_a_counter_without_values_knows_nothing() -> None:
    for read in (counter(), counter(NONE, NONE), counter(5)):
        assert len(read) == 0
        assert total(read, 0, MINUTE).high_ml == math.inf


def test_times_that_do_not_increase_are_refused() -> None:
    with pytest.raises(UsageError, match="do not increase"):
        fluid_from_counter(np.array([0, 0], dtype=np.int64), np.array([1.0, 2.0]), MINUTE)
    with pytest.raises(UsageError, match="differ in number"):
        fluid_from_counter(np.array([0, 1], dtype=np.int64), np.array([1.0]), MINUTE)
