"""Gaps are stretches without a row; a blank row is none."""

from __future__ import annotations

from behaviour.trace.made_log import NOON, SECOND, made_log
from slackwater.trace.gaps import gaps
from slackwater.trace.join import place
from slackwater.trace.types import Trace


def seconds(trace: Trace, start: float, end: float) -> list[tuple[float, float]]:
    found = gaps(trace, NOON + round(start * SECOND), NOON + round(end * SECOND))
    return [((g.start_ms - NOON) / 1000, (g.end_ms - NOON) / 1000) for g in found]


def test_one_lost_row_is_a_gap_as_long_as_a_row() -> None:
    assert seconds(place([made_log([0, 1, 3, 4], [0] * 4)]), 0, 5) == [(2, 3)]


def test_the_time_before_the_first_row_and_after_the_last_is_a_gap() -> None:
    assert seconds(place([made_log([10], [0])]), 0, 20) == [(0, 10), (11, 20)]


def test_a_sliver_at_the_ends_is_none() -> None:
    assert seconds(place([made_log([0.4, 1.4], [0, 0])]), 0, 2.8) == []


def test_a_blank_row_is_no_gap() -> None:
    assert seconds(place([made_log([0, 1, 2], [0, None, 0])]), 0, 3) == []


def test_only_the_part_asked_about_is_told() -> None:
    trace = place([made_log([0, 100], [0, 0])])
    assert seconds(trace, 50, 60) == [(50, 60)]
    assert seconds(trace, 60, 50) == []


def test_each_unit_is_measured_by_its_own_rows() -> None:
    """Two seconds are a gap among rows of one second, whatever length the other unit's rows have."""
    fine = made_log([0, 1, 4, 5], [0] * 4)
    coarse = made_log([6, 306], [0, 0], every=300, serials=("unit 2",))
    assert seconds(place([fine, coarse]), 0, 606) == [(2, 4)]
