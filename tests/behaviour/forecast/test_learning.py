"""Learning moves numbers only where the score over past stays improves, and is the same for the same seed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from behaviour.leak_filter.made_minutes import made_minutes
from slackwater.forecast import learn
from slackwater.forecast.air import AirClause
from slackwater.forecast.learn import Case, Past, calibration, cases, learnable, mean_crps_h, moved, scores, search
from slackwater.leak.filter.model import FilterModel, TrendModel, from_toml, shipped_model, to_toml

SMALL = FilterModel(trend=TrendModel(levels=14, spacing=0.6))


def past(falls_per_h: float, seed: int) -> Past:
    """Made: a leak that falls at one speed and seals at 8 mL/min, over 90 h."""
    rng = np.random.default_rng(seed)
    hours = np.arange(90 * 60) / 60.0
    flow = 200.0 * np.exp(-falls_per_h * hours) * np.exp(0.05 * rng.standard_normal(len(hours)))
    given = made_minutes(np.where(200.0 * np.exp(-falls_per_h * hours) < 8.0, 0.0, flow), step=1.0)
    within = given.high <= 20.0
    run = np.zeros(len(flow), dtype=np.int64)
    for k in range(len(flow)):
        run[k] = (run[k - 1] + 1 if k else 1) if within[k] else 0
    return Past(given, AirClause(20.0, 480, None), given.high, within, run >= 480)


@pytest.fixture(scope="module")
def stays() -> list[list[Case]]:
    return [list(cases(past(fall, k), (24, 36))) for k, fall in enumerate((0.03, 0.05, 0.06, 0.04))]


def test_cuts_where_the_clause_holds_or_the_future_is_unknown_are_left_out() -> None:
    found = list(cases(past(0.2, 1), (24, 36, 48)))
    assert not found  # met at 24 h already
    kept = [case.minute // 60 for case in cases(past(0.005, 1), (24, 36, 48))]
    assert kept == [24, 36]  # 48 h do not follow the last


def test_the_time_is_counted_from_the_cut(stays: list[list[Case]]) -> None:
    case = stays[0][0]
    assert case.time_h == pytest.approx((np.flatnonzero(case.past.met)[0] + 1) / 60 - 24)


def test_learning_improves_the_score_it_is_given(stays: list[list[Case]], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(learn, "learnable", lambda model: [("trend", "seals_low_per_h", -1), ("trend", "speeds", 2)])
    found = search(stays, SMALL, seed=1, factors=(1.7,))
    assert scores(stays, found).mean() <= scores(stays, SMALL).mean()
    assert found == search(stays, SMALL, seed=1, factors=(1.7,))


def test_a_correction_is_monotone_from_nought_to_one_and_does_not_worsen(stays: list[list[Case]]) -> None:
    found = calibration(stays, SMALL)
    assert list(found.observed) == sorted(found.observed)
    assert found.observed[0] == 0.0
    assert mean_crps_h(stays, replace(SMALL, calibration=found)) <= mean_crps_h(stays, SMALL) + 0.05


def test_each_number_that_is_learnt_can_be_moved_alone() -> None:
    for number in learnable(SMALL):
        changed = moved(SMALL, number, 1.3)
        assert changed != SMALL
        assert changed.size == SMALL.size


def test_a_file_of_numbers_reads_back_the_same() -> None:
    model = shipped_model()
    again = from_toml(to_toml(model), "again.toml")
    assert again == model
    assert "not from patients" in model.provenance
