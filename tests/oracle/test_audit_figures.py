"""Intervals, agreement, calibration, funnels and limits, against scipy, statsmodels, enumeration and simulation."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.audit.statistics.agreement import kappa
from slackwater.audit.statistics.bootstrap import bootstrap
from slackwater.audit.statistics.calibration import brier, in_the_large, ranked_right, slope
from slackwater.audit.statistics.cusum import limit_for, scores
from slackwater.audit.statistics.funnel import funnel_of_rates, funnel_of_shares, rate_limits, share_limits
from slackwater.audit.statistics.intervals import highest_rate, highest_share, rate, risk_ratio, share
from slackwater.audit.statistics.logistic import fit_logistic

COUNTS = [(0, 1), (0, 30), (1, 30), (7, 9), (30, 30), (135, 720), (5453, 52198)]


@pytest.mark.parametrize(("events", "n"), COUNTS)
@pytest.mark.parametrize("level", [0.9, 0.95, 0.998])
def test_shares_have_the_interval_of_two_libraries(events: int, n: int, level: float) -> None:
    from scipy.stats import binomtest
    from statsmodels.stats.proportion import proportion_confint

    found = share(events, n, level)
    theirs = binomtest(events, n).proportion_ci(level, method="exact")
    assert (found.low, found.high) == (pytest.approx(theirs.low, abs=1e-12), pytest.approx(theirs.high, abs=1e-12))
    assert (found.low, found.high) == pytest.approx(proportion_confint(events, n, 1 - level, "beta"), abs=1e-9)
    one_sided = binomtest(events, n, alternative="less").proportion_ci(level, method="exact").high
    assert highest_share(events, n, level) == pytest.approx(one_sided, abs=1e-12)


@pytest.mark.parametrize("events", [0, 1, 4, 80])
def test_rates_have_the_interval_of_statsmodels(events: int) -> None:
    from scipy.stats import poisson
    from statsmodels.stats.rates import confint_poisson

    found = rate(events, 31.5)
    low, high = confint_poisson(events, 31.5, method="exact-c")
    assert found.low == pytest.approx(0.0 if events == 0 else low, abs=1e-10)
    assert found.high == pytest.approx(high, abs=1e-10)
    bound = highest_rate(events, 31.5)
    assert bound is not None and poisson.cdf(events, bound * 31.5) == pytest.approx(0.05, abs=1e-10)


def test_a_ratio_of_shares_has_the_interval_of_statsmodels() -> None:
    from statsmodels.stats.proportion import confint_proportions_2indep

    found = risk_ratio(76, 385, 51, 397)
    assert (found.low, found.high) == pytest.approx(
        confint_proportions_2indep(76, 385, 51, 397, method="log", compare="ratio"), abs=1e-9
    )


@pytest.mark.parametrize(("ours", "theirs"), [("bca", "BCa"), ("percentile", "percentile")])
def test_one_row_a_patient_the_bootstrap_is_scipy_s_draw_for_draw(ours: str, theirs: str) -> None:
    from scipy.stats import bootstrap as peer

    hours = np.random.default_rng(3).exponential(5.0, 40)
    found = bootstrap(lambda rows: float(np.mean(hours[rows])), range(40), np.random.default_rng(7), 999, method=ours)
    expected = peer((hours,), np.mean, n_resamples=999, method=theirs, rng=np.random.default_rng(7)).confidence_interval
    assert (found.low, found.high) == (pytest.approx(expected.low), pytest.approx(expected.high))


TABLES = [[[20, 5], [10, 15]], [[20, 5, 1], [4, 15, 3], [2, 6, 11]], [[1, 8], [7, 0]]]


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("weights", ["none", "linear", "quadratic"])
def test_kappa_and_its_interval_are_those_of_statsmodels(table: list[list[int]], weights: str) -> None:
    from statsmodels.stats.inter_rater import cohens_kappa

    theirs = cohens_kappa(np.array(table), wt=None if weights == "none" else weights)
    found = kappa(table, weights)
    assert found.value == pytest.approx(theirs.kappa, abs=1e-12)
    assert found.low == pytest.approx(max(theirs.kappa_low, -1.0), abs=1e-9)
    assert found.high == pytest.approx(theirs.kappa_upp, abs=1e-9)


def told(n: int = 400) -> tuple[np.ndarray, np.ndarray]:
    chance = np.random.default_rng(21)
    p = np.round(chance.beta(2, 5, n), 2).clip(0.01, 0.99)
    return p, (chance.random(n) < p**1.3).astype(float)


def test_calibration_is_that_of_statsmodels() -> None:
    import statsmodels.api as sm

    p, y = told()
    odds = np.log(p / (1 - p))
    large = sm.GLM(y, np.ones(len(y)), family=sm.families.Binomial(), offset=odds).fit()
    steep = sm.Logit(y, sm.add_constant(odds)).fit(disp=0)
    for found, fit, which in ((in_the_large(p, y), large, 0), (slope(p, y), steep, 1)):
        assert (found.value, found.low, found.high) == (
            pytest.approx(fit.params[which], abs=1e-6),
            pytest.approx(fit.conf_int()[which][0], abs=1e-5),
            pytest.approx(fit.conf_int()[which][1], abs=1e-5),
        )


def test_scores_and_ranks_by_slow_sums() -> None:
    p, y = told(60)
    assert brier(p, y) == pytest.approx(sum((a - b) ** 2 for a, b in zip(p, y, strict=True)) / 60)
    pairs = [(a > b) + 0.5 * (a == b) for a in p[y == 1] for b in p[y == 0]]
    assert ranked_right(p, y) == pytest.approx(np.mean(pairs))


def test_a_logistic_fit_has_the_errors_of_statsmodels() -> None:
    import statsmodels.api as sm

    chance = np.random.default_rng(8)
    columns = chance.standard_normal((300, 3))
    happened = (chance.random(300) < 1 / (1 + np.exp(1.0 - columns @ [0.5, -0.3, 0.0]))).astype(float)
    fit, theirs = fit_logistic(columns, happened), sm.Logit(happened, sm.add_constant(columns)).fit(disp=0)
    assert fit is not None
    assert fit.coefficients == pytest.approx(theirs.params, abs=1e-7)
    assert fit.errors == pytest.approx(theirs.bse, abs=1e-7)


@pytest.mark.parametrize("level", [0.95, 0.998])
def test_funnel_limits_lie_between_the_quantiles_of_scipy(level: float) -> None:
    from scipy.stats import binom, poisson

    sizes = np.array([1, 5, 40, 333, 2000])
    tails = ((1 - level) / 2, (1 + level) / 2)
    for k, ends in enumerate(share_limits(sizes, 0.12, level)):
        whole = binom.ppf(tails[k], sizes, 0.12)
        assert ((np.maximum(whole - 1, 0) / sizes - 1e-12 <= ends) & (ends <= whole / sizes + 1e-12)).all()
    for k, ends in enumerate(rate_limits(sizes, 0.03, level)):
        whole = poisson.ppf(tails[k], sizes * 0.03)
        assert ((np.maximum(whole - 1, 0) / sizes - 1e-12 <= ends) & (ends <= whole / sizes + 1e-12)).all()


def test_units_that_differ_by_chance_alone_are_not_widened_and_others_are() -> None:
    """Of a normal distribution with its outer tenths pulled in, 0.68 of the variance is left. A beta-binomial has
    1 + (n - 1) / (a + b + 1) times that of a binomial: 4.99 with n = 2000, a = 50, b = 450."""
    chance = np.random.default_rng(2)
    n = np.full(400, 2000)
    alike = funnel_of_shares(chance.binomial(n, 0.1), n)
    assert not alike.widened
    assert alike.spread == pytest.approx(0.68, rel=0.15)
    unlike = funnel_of_shares(chance.binomial(n, chance.beta(50, 450, len(n))), n)
    assert unlike.widened and "widened" in unlike.told
    assert unlike.spread == pytest.approx(0.68 * 4.99, rel=0.15)
    exact = np.stack(share_limits(n, unlike.target, 0.95))
    assert (unlike.low[0] < exact[0]).all() and (unlike.high[0] > exact[1]).all()
    rates = funnel_of_rates(chance.poisson(n * chance.gamma(4, 0.02, len(n))), n)
    assert rates.widened


def exact_run_length(risk: float, odds_ratio: float, limit: float) -> float:
    """Mean patients to a crossing where all have one risk: the chart as a chain of small steps (Brook & Evans 1972).

    The step divides the frequent small move, so that rounding shifts only the rare large one.
    """
    moves = scores(np.array([1.0, 0.0]), np.array([risk, risk]), odds_ratio)
    step = abs(float(moves[1])) / 20
    parts = int(limit / step)
    change = np.zeros((parts + 1, parts + 1))
    for move, weight in zip(moves, (risk, 1.0 - risk), strict=True):
        to = np.maximum(np.arange(parts + 1) + round(float(move) / step), 0)
        within = np.flatnonzero(to <= parts)
        change[within, to[within]] += weight
    return float(np.linalg.solve(np.eye(parts + 1) - change, np.ones(parts + 1))[0])


@pytest.mark.parametrize(("risk", "odds_ratio"), [(0.1, 2.0), (0.1, 0.5), (0.03, 2.0)])
def test_the_simulated_limit_has_the_run_length_of_a_chain(risk: float, odds_ratio: float) -> None:
    found = limit_for([risk], odds_ratio, 400.0, np.random.default_rng(4), 1500)
    near = [exact_run_length(risk, odds_ratio, abs(found.limit) + off) for off in (-0.02, 0.02)]
    assert near[0] - 4 * found.error < 400.0 < near[1] + 4 * found.error
    assert near[0] < near[1] < 2 * near[0]  # the two bounds say something
