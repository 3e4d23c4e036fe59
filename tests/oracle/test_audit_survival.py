"""Survival by counting, against libraries that sort: lifelines, statsmodels and scipy, on data full of ties."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pytest

from slackwater.audit.statistics.competing import cumulative_incidence, gray_test
from slackwater.audit.statistics.ends import count_ends
from slackwater.audit.statistics.survival import kaplan_meier, log_rank, restricted_mean, time_until

ROUNDS = range(6)


@pytest.fixture(scope="module")
def lifelines() -> ModuleType:
    """Loaded when the first test runs: it takes seconds, and collecting tests should not."""
    import lifelines
    import lifelines.statistics
    import lifelines.utils

    return lifelines


def drawn(round_: int, n: int = 300) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times on few values, some ends censored, two causes, three groups."""
    chance = np.random.default_rng(900 + round_)
    times = chance.integers(0, 5 + 12 * round_, n)
    return times, chance.choice(3, n, p=[0.3, 0.5, 0.2]), chance.integers(0, 3, n)


@pytest.mark.parametrize("round_", ROUNDS)
def test_the_curve_its_interval_and_its_median_are_those_of_lifelines(round_: int, lifelines: Any) -> None:
    times, why, _ = drawn(round_)
    curve = kaplan_meier(count_ends(times, why > 0))
    theirs = lifelines.KaplanMeierFitter().fit(times, why > 0)
    assert curve.share == pytest.approx(theirs.survival_function_at_times(curve.time).to_numpy(), abs=1e-12)
    low, high = curve.interval()
    inner = curve.share > 0.0
    bounds = theirs.confidence_interval_.loc[curve.time]
    assert low[inner] == pytest.approx(bounds.iloc[:, 0].to_numpy()[inner], abs=1e-10)
    assert high[inner] == pytest.approx(bounds.iloc[:, 1].to_numpy()[inner], abs=1e-10)
    assert time_until(curve).value == theirs.median_survival_time_


@pytest.mark.parametrize("round_", ROUNDS)
def test_the_median_s_interval_is_that_of_lifelines(round_: int, lifelines: Any) -> None:
    times, why, _ = drawn(round_)
    median = time_until(kaplan_meier(count_ends(times, why > 0)))
    theirs = lifelines.utils.median_survival_times(
        lifelines.KaplanMeierFitter().fit(times, why > 0).confidence_interval_
    ).iloc[0]
    assert (median.low, median.high) == (theirs.iloc[0], theirs.iloc[1])


@pytest.mark.parametrize("round_", ROUNDS)
def test_the_restricted_mean_is_the_area_that_lifelines_finds(round_: int, lifelines: Any) -> None:
    times, why, _ = drawn(round_)
    until = int(times.max()) // 2 + 1
    theirs = lifelines.utils.restricted_mean_survival_time(lifelines.KaplanMeierFitter().fit(times, why > 0), until)
    assert restricted_mean(kaplan_meier(count_ends(times, why > 0)), until).value == pytest.approx(theirs)


def test_without_censoring_the_restricted_mean_and_its_error_are_the_sample_s() -> None:
    times = drawn(4)[0]
    found = restricted_mean(kaplan_meier(count_ends(times, np.ones(len(times), bool))), 20)
    cut = np.minimum(times, 20)
    assert found.value is not None and found.high is not None
    assert found.value == pytest.approx(cut.mean())
    assert found.high - found.value == pytest.approx(1.959964 * cut.std() / len(cut) ** 0.5, rel=1e-6)


@pytest.mark.parametrize("round_", ROUNDS)
def test_greenwood_is_that_of_statsmodels(round_: int) -> None:
    from statsmodels.duration.survfunc import SurvfuncRight

    times, why, _ = drawn(round_)
    theirs = SurvfuncRight(times + 1, (why > 0).astype(int))  # it refuses a time of 0
    curve = kaplan_meier(count_ends(times, why > 0))
    inner = curve.share > 0.0
    assert curve.share == pytest.approx(theirs.surv_prob, abs=1e-12)
    assert curve.standard_error()[inner] == pytest.approx(theirs.surv_prob_se[inner], abs=1e-12)


@pytest.mark.parametrize("round_", ROUNDS)
def test_two_groups_log_rank_is_that_of_three_libraries(round_: int, lifelines: Any) -> None:
    from scipy.stats import CensoredData, logrank
    from statsmodels.duration.survfunc import survdiff

    times, why, group = drawn(round_)
    two = group < 2
    times, ended, group = times[two], why[two] > 0, group[two]
    ours = log_rank([count_ends(times[group == k], ended[group == k]) for k in range(2)])
    theirs = lifelines.statistics.logrank_test(
        times[group == 0], times[group == 1], ended[group == 0], ended[group == 1]
    )
    assert ours.statistic == pytest.approx(theirs.test_statistic, abs=1e-9)
    assert ours.chance == pytest.approx(theirs.p_value, abs=1e-9)
    assert ours.statistic == pytest.approx(survdiff(times, ended.astype(int), group)[0], abs=1e-9)
    sides = [CensoredData.right_censored(times[group == k], ~ended[group == k]) for k in range(2)]
    assert ours.statistic == pytest.approx(logrank(*sides).statistic ** 2, abs=1e-9)


@pytest.mark.parametrize("round_", ROUNDS)
def test_three_groups_log_rank_is_that_of_lifelines(round_: int, lifelines: Any) -> None:
    times, why, group = drawn(round_)
    ours = log_rank([count_ends(times[group == k], why[group == k] > 0) for k in range(3)])
    theirs = lifelines.statistics.multivariate_logrank_test(times, group, why > 0)
    assert (ours.degrees, ours.statistic) == (2, pytest.approx(theirs.test_statistic, abs=1e-9))
    assert ours.chance == pytest.approx(theirs.p_value, abs=1e-9)


@pytest.mark.parametrize("cause", [1, 2])
def test_incidence_without_ties_is_that_of_lifelines(cause: int, lifelines: Any) -> None:
    """Without ties only: with them lifelines moves times by chance."""
    chance = np.random.default_rng(77)
    times, why = chance.permutation(400)[:200] + 1, chance.choice(3, 200, p=[0.3, 0.5, 0.2])
    theirs = lifelines.AalenJohansenFitter(calculate_variance=True).fit(times, why, event_of_interest=cause)
    ours = cumulative_incidence(count_ends(times, why, 2), cause)
    at = ours.time[5:-5]
    assert ours.at(at) == pytest.approx(theirs.cumulative_density_.loc[at].iloc[:, 0].to_numpy(), abs=1e-12)
    assert ours.variance_at(at) == pytest.approx(theirs.variance_.loc[at].to_numpy(), rel=0.05)


@pytest.mark.parametrize("round_", ROUNDS)
def test_incidence_with_ties_is_that_of_a_slow_sum(round_: int) -> None:
    times, why, _ = drawn(round_)
    found = cumulative_incidence(count_ends(times, why, 2), 1)
    left, share = 1.0, 0.0
    for time in sorted(set(times[why > 0].tolist())):
        there = int((times >= time).sum())
        share += left * int(((times == time) & (why == 1)).sum()) / there
        left *= 1.0 - int(((times == time) & (why > 0)).sum()) / there
        assert found.at([time])[0] == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize("round_", ROUNDS)
def test_with_one_cause_incidence_is_the_rest_of_the_curve(round_: int) -> None:
    """Its variance, one end at a time, is then S² Σ 1 / (n - 1)², a little more than Greenwood's S² Σ 1 / n (n - 1)."""
    chance = np.random.default_rng(round_)
    counts = count_ends(chance.permutation(500)[:150], chance.random(150) < 0.6)
    curve, found = kaplan_meier(counts), cumulative_incidence(counts, 1)
    assert found.share == pytest.approx(1.0 - curve.share, abs=1e-12)
    inner = curve.at_risk > 1
    share, n = curve.share[inner], curve.at_risk[inner]
    assert found.variance[inner] == pytest.approx(share**2 * np.cumsum(1.0 / (n - 1.0) ** 2), rel=1e-9)
    assert (found.variance[inner] >= share**2 * np.cumsum(1.0 / (n * (n - 1.0)))).all()


def test_gray_s_test_is_a_log_rank_test_where_nobody_ends_otherwise() -> None:
    """The same score; the variances estimate one thing and meet as n grows."""
    chance = np.random.default_rng(12)
    groups = [count_ends(chance.integers(1, 200, 4000), chance.random(4000) < 0.7) for _ in range(3)]
    gray, plain = gray_test(groups, 1), log_rank(groups)
    assert gray.expected == pytest.approx(plain.expected)
    assert gray.statistic == pytest.approx(plain.statistic, rel=0.02)


@pytest.mark.slow
def test_gray_s_test_rejects_one_in_twenty_where_groups_are_drawn_alike() -> None:
    chance = np.random.default_rng(3)
    rejected = 0
    for _ in range(2000):
        groups = [
            count_ends(chance.integers(0, 40, n), chance.choice(3, n, p=[0.3, 0.4, 0.3]), 2) for n in (60, 90, 40)
        ]
        rejected += gray_test(groups, 1).chance < 0.05
    assert 0.035 < rejected / 2000 < 0.065  # three standard errors
