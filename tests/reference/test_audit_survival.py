"""Survival and competing ends against values computed in R on the same rows (tests/data/real/survival_reference)."""

from __future__ import annotations

import numpy as np
import pytest

from reference.audit_data import computed_in_r, lung, melanoma, mgus2
from slackwater.audit.statistics.competing import cumulative_incidence, gray_test
from slackwater.audit.statistics.survival import kaplan_meier, log_rank, restricted_mean, time_until

R = computed_in_r()


def test_lung_curve_with_its_error_and_interval_as_survival_gives_them() -> None:
    curve = kaplan_meier(lung().counts())
    for row in R["lung"]["km_at"]:
        at = [row["time"]]
        assert curve.at(at)[0] == pytest.approx(row["surv"], abs=5e-7)
        low, high = curve.interval_at(at, scale="log")
        assert (low[0], high[0]) == (pytest.approx(row["lcl"], abs=5e-7), pytest.approx(row["ucl"], abs=5e-7))
        before = np.searchsorted(curve.time, row["time"], side="right") - 1
        assert curve.standard_error()[before] == pytest.approx(row["se"], abs=5e-7)
        # R prints those at risk just before the time asked for
        assert lung().counts().at_risk[row["time"]] == row["n_risk"]


@pytest.mark.parametrize(("sex", "name"), [(None, "km_all"), ("1", "sex=1"), ("2", "sex=2")])
def test_lung_medians_with_their_intervals(sex: str | None, name: str) -> None:
    """310 (285 to 363), men 270, women 426: the published medians of this cohort."""
    expected = R["lung"]["km_all"] if sex is None else R["lung"]["km_sex"][name]
    counts = lung().counts(sex)
    assert (counts.n, int(counts.ended().sum())) == (expected["records"], expected["events"])
    median = time_until(kaplan_meier(counts), 0.5, scale="log")
    assert (median.value, median.low, median.high) == (expected["median"], expected["0.95LCL"], expected["0.95UCL"])


def test_lung_restricted_mean_to_365_days() -> None:
    found = restricted_mean(kaplan_meier(lung().counts()), 365)
    assert found.value == pytest.approx(R["lung"]["rmst_365"], abs=5e-5)


def test_lung_log_rank_by_sex() -> None:
    found = log_rank([lung().counts("1"), lung().counts("2")])
    assert found.statistic == pytest.approx(R["lung"]["logrank_sex_chisq"], abs=5e-6)


@pytest.mark.parametrize(("cause", "name"), [(1, "pcm"), (2, "death")])
def test_mgus2_incidence_by_cause(cause: int, name: str) -> None:
    counts = mgus2().counts()
    assert int(counts.ended(cause).sum()) == R["mgus2"]["n_by_event"][str(cause)]
    found = cumulative_incidence(counts, cause)
    for months, share in R["mgus2"][f"cif_{name}"].items():
        assert found.at([int(months)])[0] == pytest.approx(share, abs=5e-7)


def test_mgus2_variance_as_cmprsk_gives_it() -> None:
    found = cumulative_incidence(mgus2().counts(), 1)
    for months, variance in R["mgus2"]["var_pcm"].items():
        assert found.variance_at([int(months)])[0] == pytest.approx(variance, rel=2e-6)


@pytest.mark.parametrize(("cause", "name"), [(1, "pcm"), (2, "death")])
def test_mgus2_gray_test_by_sex(cause: int, name: str) -> None:
    found = gray_test([mgus2().counts("F"), mgus2().counts("M")], cause)
    expected = R["mgus2"]["gray_test_sex"][name]
    assert found.statistic == pytest.approx(expected["stat"], abs=5e-7)
    assert found.chance == pytest.approx(expected["pv"], abs=5e-7)


def test_one_minus_the_survival_curve_says_too_much_where_ends_compete() -> None:
    counts = mgus2().counts()
    naive = 1.0 - kaplan_meier(counts, cause=1).at([120])[0]
    assert naive == pytest.approx(R["mgus2"]["one_minus_km_pcm_120_naive"], abs=5e-7)
    assert naive > cumulative_incidence(counts, 1).at([120])[0]


@pytest.mark.parametrize("cause", [1, 2])
def test_melanoma_incidence_by_cause(cause: int) -> None:
    found = cumulative_incidence(melanoma().counts(), cause)
    for years, share in R["melanoma"][f"cif_cause{cause}"].items():
        assert found.at([int(years) * 365])[0] == pytest.approx(share, abs=5e-7)
