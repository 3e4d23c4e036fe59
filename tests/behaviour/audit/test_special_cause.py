"""Which points a chart marks, by which rule, and when that is known."""

from __future__ import annotations

from collections.abc import Callable
from math import nan
from pathlib import Path

import numpy as np
import pytest

from slackwater.audit.statistics.process_charts import Phase, g_chart, p_chart, range_chart, xmr_chart
from slackwater.audit.statistics.special_cause import EIGHT_SIX, SEVEN_FIVE, RuleSet, marks
from slackwater.errors import UsageError


def told(
    values: list[float], rules: RuleSet = SEVEN_FIVE, phase: list[int] | None = None
) -> list[tuple[str, int, int, int]]:
    """About a centre of 0 within limits of 10."""
    n = len(values)
    level = [np.full(n, height) for height in (0.0, -10.0, 10.0)]
    found = marks(np.array(values), *level, phase or [0] * n, rules)
    return [(mark.rule, mark.first, mark.last, mark.known_at) for mark in found]


ZIGZAG = [1.0, 2.0] * 8


def test_a_point_outside_is_marked_and_one_on_the_limit_is_not() -> None:
    assert told([10.0, 10.1, -10.0, -10.1]) == [("above the limits", 1, 1, 1), ("below the limits", 3, 3, 3)]


def test_seven_on_a_side_but_not_six() -> None:
    assert told(ZIGZAG[:6]) == []
    assert told(ZIGZAG[:9]) == [("7 above the centre", 0, 8, 6)]
    assert told([-value for value in ZIGZAG[:7]]) == [("7 below the centre", 0, 6, 6)]


def test_the_other_set_asks_for_eight() -> None:
    assert told(ZIGZAG[:7], EIGHT_SIX) == []
    assert told(ZIGZAG[:8], EIGHT_SIX) == [("8 above the centre", 0, 7, 7)]


def test_five_rising_or_falling_count_the_first_point() -> None:
    assert told([-2.0, -1.0, 1.0, 2.0]) == []
    assert told([-2.0, -1.0, 1.0, 2.0, 3.0]) == [("5 rising in a row", 0, 4, 4)]
    assert told([3.0, 2.0, 1.0, -1.0, -2.0, -3.0]) == [("5 falling in a row", 0, 5, 4)]
    assert told([-2.0, -1.0, 1.0, 2.0, 3.0], EIGHT_SIX) == []


def test_two_equal_points_end_a_trend() -> None:
    assert told([-2.0, -1.0, 1.0, 1.0, 2.0, 3.0]) == []


def test_a_point_on_the_centre_is_on_neither_side_and_ends_no_run() -> None:
    assert told([1.0, 2.0, 1.0, 0.0, 1.0, 2.0, 1.0]) == []
    assert told([1.0, 2.0, 1.0, 0.0, 1.0, 2.0, 1.0, 2.0]) == [("7 above the centre", 0, 7, 7)]


def test_a_missing_point_ends_a_run_and_a_trend() -> None:
    assert told([1.0, 2.0, 1.0, nan, 2.0, 1.0, 2.0, 1.0]) == []
    assert told([-2.0, -1.0, nan, 1.0, 2.0, 3.0]) == []


def test_a_new_phase_begins_anew() -> None:
    assert told(ZIGZAG[:8], phase=[0] * 4 + [1] * 4) == []
    assert told([-2.0, -1.0, 1.0, 2.0, 3.0], phase=[0, 0, 0, 1, 1]) == []


def test_limits_of_a_baseline_stay_when_points_are_added() -> None:
    base = [20.0, 24.0, 19.0, 23.0, 21.0, 22.0]
    short, long = xmr_chart(base, [Phase(0, 6)]), xmr_chart([*base, 60.0, 61.0], [Phase(0, 6)])
    assert (short.centre[0], short.high[0]) == (long.centre[-1], long.high[-1])
    assert [(mark.rule, mark.first) for mark in long.marks] == [("above the limits", 6), ("above the limits", 7)]
    assert xmr_chart([*base, 60.0, 61.0]).high[0] > long.high[0]  # without one they let a change hide itself


def test_a_second_phase_has_its_own_limits() -> None:
    chart = xmr_chart([10.0, 12.0, 11.0, 13.0, 30.0, 32.0, 31.0, 33.0], [Phase(0), Phase(4)])
    assert chart.phase == (0, 0, 0, 0, 1, 1, 1, 1)
    assert (chart.centre[0], chart.centre[4]) == (11.5, 31.5)
    assert not chart.marks
    assert np.isnan(range_chart([10.0, 12.0, 30.0, 32.0], [Phase(0), Phase(2)]).values[[0, 2]]).all()


def test_a_missing_value_gives_no_range_to_either_side() -> None:
    chart = xmr_chart([1.0, nan, 9.0, 8.0])
    assert chart.centre[0] == 6.0
    assert chart.high[0] == pytest.approx(6.0 + 2.66 * 1.0)
    assert np.isnan(chart.values[1])


def test_one_value_has_no_limits_and_nobody_has_no_share() -> None:
    lone = xmr_chart([4.0])
    assert np.isnan(lone.low[0]) and np.isnan(lone.high[0])
    chart = p_chart([1, 0, 2], [10, 0, 10])
    assert np.isnan(chart.values[1]) and np.isnan(chart.high[1])
    assert chart.centre[0] == pytest.approx(0.15)


def test_a_g_chart_counts_sides_about_its_median() -> None:
    """Mean 8.75; 1 - (8.75 / 9.75)^7 is the first above a half, so the geometric with that mean has its median at 6."""
    chart = g_chart([1, 30, 3, 7, 2, 20, 5, 2])
    assert chart.centre[0] > chart.middle[0] == 6.0


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: p_chart([3], [2]),
        lambda: p_chart([1, 2], [5]),
        lambda: g_chart([-1.0]),
        lambda: xmr_chart([1.0, 2.0], [Phase(1)]),
        lambda: xmr_chart([1.0, 2.0], [Phase(0), Phase(0)]),
    ],
)
def test_what_makes_no_sense_is_refused(wrong: Callable[[], object]) -> None:
    with pytest.raises(UsageError):
        wrong()


@pytest.mark.slow
@pytest.mark.parametrize(("rules", "percent"), [(SEVEN_FIVE, 34), (EIGHT_SIX, 12)])
def test_steady_charts_are_marked_as_often_as_the_page_says(rules: RuleSet, percent: int) -> None:
    rng = np.random.default_rng(1)
    marked = np.mean([bool(xmr_chart(rng.standard_normal(24), rules=rules).marks) for _ in range(4000)])
    assert 100 * marked == pytest.approx(percent, abs=2.0)
    page = (Path(__file__).parents[3] / "docs" / "statistics.md").read_text("utf-8")
    assert f"{percent} %" in page
