"""Charts of a process against worked examples of others, and against the distributions behind their factors."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest

from slackwater.audit.statistics.process_charts import (
    RANGE_FACTOR,
    XMR_FACTOR,
    Phase,
    g_chart,
    p_chart,
    range_chart,
    t_chart,
    u_chart,
    xmr_chart,
)

FLOW_RATES = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_individual_flow_rates_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2, from memory: mean 50.81, mean range 1.8778, limits 45.8159 and 55.8041, with
    the factor 3 / 1.128; 2.66 rounds that."""
    chart = xmr_chart(FLOW_RATES)
    ranges = range_chart(FLOW_RATES)
    assert chart.centre[0] == pytest.approx(50.81)
    assert ranges.centre[0] == pytest.approx(1.8778, abs=5e-5)
    assert (chart.low[0], chart.high[0]) == (pytest.approx(45.8159, abs=1e-3), pytest.approx(55.8041, abs=1e-3))
    assert not chart.marks


def test_the_factors_of_two_are_those_of_a_range_of_two_draws() -> None:
    """The range of two standard draws has mean 2/sqrt(pi) and variance 2 - 4/pi."""
    mean, error = 2.0 / sqrt(pi), sqrt(2.0 - 4.0 / pi)
    assert pytest.approx(3.0 / mean, abs=2e-3) == XMR_FACTOR
    assert pytest.approx(1.0 + 3.0 * error / mean, abs=1e-3) == RANGE_FACTOR


@pytest.mark.parametrize(
    ("events", "samples", "share", "high"),
    [(117, 20, 0.0585, 0.1289), (102, 19, 0.0537, 0.1213)],
)
def test_the_shares_of_a_textbook_exercise(events: int, samples: int, share: float, high: float) -> None:
    """Montgomery, Introduction to Statistical Quality Control, exercise 6-1, samples of 100; read in its printed
    solution: 117 of 20 samples, then 102 of 19 once sample 12 is left out; the lower limit is 0."""
    spread = [events // samples + (k < events % samples) for k in range(samples)]
    chart = p_chart(spread, [100] * samples)
    assert chart.centre[0] == pytest.approx(share, abs=5e-5)
    assert (chart.low[0], chart.high[0]) == (0.0, pytest.approx(high, abs=5e-5))


def test_u_limits_narrow_with_the_exposure() -> None:
    """By hand: 12 events in 600 drain-days are 0.02; 3 sqrt(0.02 / 100) = 0.0424264, at 400 days half of it."""
    chart = u_chart([2, 10, 0], [100.0, 400.0, 100.0])
    assert chart.centre.tolist() == pytest.approx([0.02] * 3)
    assert chart.high.tolist() == pytest.approx([0.0624264, 0.0412132, 0.0624264], abs=1e-7)
    assert chart.low.tolist() == [0.0, 0.0, 0.0]


def test_g_limits_and_the_median_by_hand() -> None:
    """Mean 4, so sqrt(4 * 5) = 4.472136; a geometric with mean 4 has chance 0.2 an event: 1 - 0.8^4 = 0.59 by 3 and
    1 - 0.8^3 = 0.488 by 2, so its median is 3."""
    chart = g_chart([4, 2, 6, 4])
    assert (chart.centre[0], chart.low[0], chart.high[0]) == (4.0, 0.0, pytest.approx(17.416408))
    assert chart.middle[0] == 3.0


def test_t_chart_is_xmr_of_the_bent_times() -> None:
    days = np.array([3.0, 10.0, 1.0, 30.0, 8.0])
    bent = xmr_chart(days ** (1 / 3.6))
    chart = t_chart(days)
    assert chart.centre[0] == pytest.approx(bent.centre[0] ** 3.6)
    assert chart.high[0] == pytest.approx(bent.high[0] ** 3.6)
    assert chart.low[0] == pytest.approx(max(bent.low[0], 0.0) ** 3.6)


def test_times_between_chance_events_are_marked_seldom() -> None:
    """Nelson's power makes exponential times nearly symmetric: about one in a hundred lies outside."""
    times = np.random.default_rng(5).exponential(40.0, 20_000)
    chart = t_chart(times, [Phase(0, None)])
    outside = np.mean((times > chart.high) | (times < chart.low))
    assert outside < 0.01
