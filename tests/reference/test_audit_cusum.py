"""Risk-adjusted charts and calibration on two surgical series, against values computed in R on the same rows.

Sources and licences: tests/data/real/cardiac_cusum, tests/data/real/thoracic_surgery.
"""

from __future__ import annotations

import csv
from functools import cache

import numpy as np
import pytest

from reference.audit_data import REAL, Column, numbers, table
from slackwater.audit.statistics.calibration import brier, ranked_right
from slackwater.audit.statistics.cusum import cusum, observed_less_expected
from slackwater.audit.statistics.logistic import Logistic, fit_logistic

with (REAL / "cardiac_cusum" / "phase2_reference.csv").open(encoding="utf-8") as _file:
    SURGEONS = list(csv.DictReader(_file))


def outcomes(name: str) -> tuple[Column, Column, Column, list[dict[str, str]]]:
    rows = table(f"cardiac_cusum/{name}")
    died = (numbers(rows, "status") == 1) & (numbers(rows, "time_day") <= 30)
    return numbers(rows, "parsonnet"), died.astype(float), numbers(rows, "surgeon"), rows


@cache
def first_two_years() -> Logistic:
    parsonnet, died, _, rows = outcomes("phase1_all_surgeons")
    assert len(rows) == 1769
    found = fit_logistic(parsonnet, died)
    assert found is not None
    return found


def test_the_risk_model_of_the_first_two_years() -> None:
    """R's glm: -3.792759 + 0.0799054 Parsonnet."""
    assert first_two_years().coefficients == pytest.approx([-3.792759, 0.0799054], abs=5e-7)


@pytest.mark.parametrize("expected", SURGEONS, ids=lambda row: f"surgeon {row['surgeon']}")
def test_both_charts_of_each_surgeon(expected: dict[str, str]) -> None:
    parsonnet, died, surgeon, rows = outcomes("phase2")
    own = surgeon == float(expected["surgeon"])
    risk, happened = first_two_years().chances(parsonnet)[own], died[own]
    assert (int(own.sum()), int(happened.sum())) == (int(expected["n_phase2"]), int(expected["deaths30"]))
    worse, better = cusum(happened, risk, 2.0, 4.5), cusum(happened, risk, 0.5, -4.0)
    assert worse.path.max() == pytest.approx(float(expected["max_upper"]), abs=2e-6)
    assert worse.path[-1] == pytest.approx(float(expected["final_upper"]), abs=2e-6)
    assert better.path.min() == pytest.approx(float(expected["min_lower"]), abs=2e-6)
    for chart, name in ((worse, "first_case_over_4.5"), (better, "first_case_under_minus4")):
        case = float(expected[name]) if expected[name] else None
        assert (None if chart.crossed is None else chart.crossed + 1) == case  # cases are counted from 1
    if expected["date_of_it"]:
        assert worse.crossed is not None
        days = [row["date_day"] for row, chosen in zip(rows, own, strict=True) if chosen]
        assert float(days[worse.crossed]) == float(expected["date_of_it"])
    excess = observed_less_expected(happened, risk)
    assert risk.sum() == pytest.approx(float(expected["expected"]), abs=2e-5)
    assert excess.path[-1] == pytest.approx(float(expected["deaths30"]) - float(expected["expected"]), abs=2e-5)
    assert happened.sum() / risk.sum() == pytest.approx(float(expected["OE"]), abs=1e-6)


def test_death_within_a_year_of_lung_resection() -> None:
    """R's glm on these 235 rows: coefficients to four places, AUC 0.6532, Brier 0.1113; 32 died."""
    rows = table("thoracic_surgery/patients_odd_rows")
    died = numbers(rows, "died_1y")
    assert (len(rows), died.sum()) == (235, 32)
    columns = np.column_stack(
        [
            numbers(rows, "age"),
            numbers(rows, "zubrod") >= 1,
            numbers(rows, "dyspnoea"),
            [row["tumour_size"] in ("OC13", "OC14") for row in rows],
            numbers(rows, "diabetes"),
        ]
    )
    fit = fit_logistic(columns, died)
    assert fit is not None
    assert fit.coefficients == pytest.approx([-2.3678, 0.0018, 0.1177, 0.4918, 1.6048, 1.0678], abs=5.1e-5)
    chance = fit.chances(columns)
    assert ranked_right(chance, died) == pytest.approx(0.6532, abs=5.1e-5)
    assert brier(chance, died) == pytest.approx(0.1113, abs=5.1e-5)
