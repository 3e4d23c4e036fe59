"""A robust line and Student's quantile, against scipy (an outside implementation of the published formulas)."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats

from slackwater.equipment.slopes import MOST_POINTS, students_quantile, theil_sen


@pytest.mark.parametrize("seed", range(20))
def test_slope_and_interval_are_those_of_scipy_ties_and_all(seed: int) -> None:
    """scipy.stats.theilslopes, with ties in x and in y."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(3, 60))
    x = np.sort(rng.integers(0, 25, n)).astype(float)
    y = np.round(50.0 - 0.4 * x + rng.normal(0, 1.5, n))
    line = theil_sen(x, y)
    if len(np.unique(x)) < 2:
        assert line is None
        return
    theirs = scipy.stats.theilslopes(y, x, alpha=0.90)
    assert line is not None
    assert (line.slope, line.at_zero, line.low, line.high) == pytest.approx(tuple(theirs))


def test_a_fifth_of_wild_points_moves_it_less_than_least_squares() -> None:
    rng = np.random.default_rng(5)
    x = np.arange(50.0)
    y = 90.0 - 0.3 * x
    y[rng.choice(50, 10, replace=False)] += 40.0
    line = theil_sen(x, y)
    assert line is not None and line.slope == pytest.approx(-0.3, abs=0.02)
    assert abs(scipy.stats.linregress(x, y).slope + 0.3) > 0.05


def test_one_moment_alone_has_no_slope() -> None:
    assert theil_sen(np.full(5, 2.0), np.arange(5.0)) is None


def test_many_points_are_thinned_and_the_slope_stays() -> None:
    x = np.arange(10.0 * MOST_POINTS)
    line = theil_sen(x, 7.0 - 0.25 * x)
    assert line is not None and line.slope == pytest.approx(-0.25)


@pytest.mark.parametrize("freedom", range(3, 40))
@pytest.mark.parametrize("share", [0.9, 0.95, 0.975])
def test_students_quantile_is_that_of_scipy(share: float, freedom: int) -> None:
    """scipy.stats.t.ppf; the expansion is Abramowitz and Stegun 26.7.5."""
    assert students_quantile(share, freedom) == pytest.approx(scipy.stats.t.ppf(share, freedom), abs=0.02)
