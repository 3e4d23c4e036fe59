"""Figures that cannot be told are None or NaN, never nought; what makes no sense is refused in words."""

from __future__ import annotations

import sys
from collections.abc import Callable
from math import nan

import numpy as np
import pytest

from slackwater.audit.statistics.agreement import kappa
from slackwater.audit.statistics.bootstrap import bootstrap, rows_by_patient
from slackwater.audit.statistics.calibration import brier, in_the_large, ranked_right, reliability, slope
from slackwater.audit.statistics.competing import cumulative_incidence, gray_test
from slackwater.audit.statistics.cusum import cusum, limit_for
from slackwater.audit.statistics.ends import count_ends
from slackwater.audit.statistics.funnel import funnel_of_rates, funnel_of_shares
from slackwater.audit.statistics.intervals import rate, risk_ratio, share
from slackwater.audit.statistics.suppress import kept_back
from slackwater.audit.statistics.survival import kaplan_meier, log_rank, restricted_mean, time_until
from slackwater.errors import MissingPart, UsageError


def test_beyond_the_last_follow_up_the_curve_is_not_known() -> None:
    """Two of three ended; the third was followed to 9."""
    curve = kaplan_meier(count_ends([2, 4, 9], [1, 1, 0]))
    assert curve.at([9])[0] == pytest.approx(1 / 3)
    assert np.isnan(curve.at([10])[0])
    assert restricted_mean(curve, 10).value is None
    all_ended = kaplan_meier(count_ends([2, 4, 9], [1, 1, 1]))
    assert all_ended.at([10])[0] == 0.0
    assert restricted_mean(all_ended, 10).value == pytest.approx(5.0)


def test_a_median_not_reached_is_none() -> None:
    curve = kaplan_meier(count_ends([2, 4, 9, 9, 9], [1, 0, 0, 0, 0]))
    found = time_until(curve)
    assert (found.value, found.high) == (None, None)


def test_before_anything_ended_there_is_no_interval() -> None:
    curve = kaplan_meier(count_ends([2, 4], [1, 0]))
    low, high = curve.interval_at([1])
    assert np.isnan(low[0]) and np.isnan(high[0])
    assert restricted_mean(kaplan_meier(count_ends([5, 5], [0, 0])), 4).low is None


def test_nobody_and_no_end_give_no_test() -> None:
    nobody, followed = count_ends([], []), count_ends([3, 4], [0, 0])
    assert kaplan_meier(nobody).last == -1
    for test in (log_rank([followed, followed]), gray_test([followed, followed], 1)):
        assert np.isnan(test.chance) and test.degrees == 0
    assert np.isnan(cumulative_incidence(followed, 1).at([5])[0])


def test_ratios_rates_and_agreement_without_a_ground_are_none() -> None:
    assert risk_ratio(0, 10, 3, 10).value is None
    assert rate(0, 0.0).value is None
    assert kappa([[9, 0], [0, 0]]).value is None  # both always said the same: chance alone would do
    assert kappa([[0, 0], [0, 0]]).value is None
    assert kappa([[9, 0], [0, 4]]).low is None


def test_calibration_where_nothing_happened_or_a_chance_was_certain() -> None:
    assert in_the_large([0.2, 0.3], [0, 0]).value is None
    assert slope([0.2, 0.3, 0.9], [0, 0, 1]).value is None  # told apart in full: no finite slope
    assert slope([0.0, 0.3, 0.4], [0, 0, 1]).value is None
    assert ranked_right([0.2, 0.3], [0, 0]) is None


def test_an_empty_bin_has_no_share() -> None:
    bins = reliability([0.05, 0.95, 1.0], [0, 1, 1], [0.0, 0.1, 0.5, 1.0])
    assert [found.n for found in bins] == [1, 0, 2]
    assert bins[1].told is None and bins[1].came.value is None
    assert bins[2].came.high == 1.0


def test_drawing_again_comes_by_patient_and_gives_no_interval_where_a_draw_cannot_be_told() -> None:
    assert [rows.tolist() for rows in rows_by_patient(["b", "a", "b"])] == [[1], [0, 2]]
    chance = np.random.default_rng(1)
    drains = []

    def both_of_b(rows: np.ndarray) -> float:
        drains.append(sorted(rows.tolist()))
        return float(len(rows))

    bootstrap(both_of_b, ["b", "a", "b"], chance, 30, method="percentile")
    assert all(rows.count(0) == rows.count(2) for rows in drains)
    found = bootstrap(lambda rows: nan if len(set(rows)) < 3 else 1.0, ["a", "b", "c"], chance, 50)
    assert (found.value, found.low) == (1.0, None)
    assert bootstrap(lambda rows: 1.0, ["a", "a"], chance).low is None  # one patient


def test_patients_without_outcome_or_risk_are_left_out_and_counted() -> None:
    chart = cusum([1, nan, 0], [0.1, 0.2, nan], 2.0, 4.5)
    assert chart.left_out == 2
    assert chart.path[0] == chart.path[1] == chart.path[2] > 0


def test_a_unit_without_patients_has_no_place_in_a_funnel() -> None:
    found = funnel_of_shares([1, 0, 2], [10, 0, 12])
    assert np.isnan(found.values[1]) and found.outside()[0][1] == 0
    assert found.spread is None and "too few" in found.told


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: count_ends([1.5], [1]),
        lambda: count_ends([-1], [1]),
        lambda: count_ends([1 << 30], [1]),
        lambda: count_ends([1, 2], [1]),
        lambda: count_ends([1], [2]),
        lambda: count_ends([1], [1]).ended(2),
        lambda: kaplan_meier(count_ends([1, 2], [1, 0])).interval(scale="cubic"),
        lambda: share(3, 2),
        lambda: rate(1, 0.0),
        lambda: kappa([[1, 2, 3], [4, 5, 6]]),
        lambda: kappa([[1, 0], [0, 1]], "cubic"),
        lambda: brier([1.2], [1]),
        lambda: brier([nan], [1]),
        lambda: brier([0.2], [nan]),
        lambda: reliability([0.2], [1], [0.0, 0.5]),
        lambda: cusum([1], [0.1], 2.0, -4.0),
        lambda: cusum([1], [0.1], 1.0, 4.0),
        lambda: cusum([1], [1.4], 2.0, 4.0),
        lambda: limit_for([nan], 2.0, 50.0, np.random.default_rng(1)),
        lambda: funnel_of_shares([1], [0]),
        lambda: funnel_of_rates([0], [0.0]),
        lambda: kept_back([[-1]], 5),
        lambda: bootstrap(lambda rows: 0.0, ["a"], np.random.default_rng(1), method="best"),
    ],
)
def test_what_makes_no_sense_is_refused(wrong: Callable[[], object]) -> None:
    with pytest.raises(UsageError) as refused:
        wrong()
    assert refused.value.mend


def test_without_scipy_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "scipy.special", None)
    monkeypatch.setitem(sys.modules, "scipy", None)
    with pytest.raises(MissingPart, match=r"slackwater\[audit\]"):
        share(1, 10)
