"""Learning moves numbers no further than past stays ask for, says what it does not know, and repeats itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from behaviour.leak_filter.made_minutes import made_minutes
from slackwater.audit.statistics.calibration import slope
from slackwater.errors import RefusedInput
from slackwater.forecast import learn
from slackwater.forecast.air import AirClause, corrected
from slackwater.forecast.learn import (
    GRID_H,
    LEAST_TRUST,
    Case,
    Past,
    calibration,
    cases,
    chances_of,
    corrected_crps,
    learnt,
    scores,
)
from slackwater.forecast.moves import FARTHEST, TRY, Number, learnable, moved, step, tries
from slackwater.forecast.score import FEWEST_LEFT, crps_followed_h, crps_h, still_followed
from slackwater.leak.filter.model import Calibration, FilterModel, TrendModel, from_toml, shipped_model, to_toml

SMALL = FilterModel(trend=TrendModel(levels=14, spacing=0.6))
NUMBERS = ("trend.seals_low_per_h", "trend.speeds.2")


def past(falls_per_h: float, seed: int, bin_min: int | None = None) -> Past:
    """Made: a leak that falls at one speed and seals at 8 mL/min, over 90 h."""
    rng = np.random.default_rng(seed)
    hours = np.arange(90 * 60) / 60.0
    flow = 200.0 * np.exp(-falls_per_h * hours) * np.exp(0.05 * rng.standard_normal(len(hours)))
    given = made_minutes(np.where(200.0 * np.exp(-falls_per_h * hours) < 8.0, 0.0, flow), step=1.0)
    within = given.high <= 20.0
    run = np.zeros(len(flow), dtype=np.int64)
    for k in range(len(flow)):
        run[k] = (run[k - 1] + 1 if k else 1) if within[k] else 0
    return Past(given, AirClause(20.0, 480, bin_min), given.high, within, run >= 480)


@pytest.fixture(scope="module")
def stays() -> list[list[Case]]:
    falls = (0.03, 0.05, 0.06, 0.04, 0.045, 0.055, 0.035, 0.05)
    return [list(cases(past(fall, k), (24, 36))) for k, fall in enumerate(falls)]


def few_numbers(monkeypatch: pytest.MonkeyPatch) -> None:
    every = learnable(SMALL)
    monkeypatch.setattr("slackwater.forecast.moves.learnable", lambda model: {name: every[name] for name in NUMBERS})


# --- cuts -----------------------------------------------------------------------------------------


def test_cuts_where_the_clause_holds_are_left_out_and_those_whose_log_ends_first_are_not() -> None:
    found = list(cases(past(0.2, 1), (24, 36, 48)))
    assert not found  # met at 24 h already
    kept = [(case.minute // 60, case.time_h, case.followed_h) for case in cases(past(0.005, 1), (24, 36, 48))]
    assert kept == [(24, np.inf, 66.0), (36, np.inf, 54.0), (48, np.inf, 42.0)]


def test_logs_that_end_first_turn_neither_the_score_nor_the_correction() -> None:
    """Known by making it: the same forecasts followed to the end. To keep only those of whom all is known would take it
    for granted that it comes sooner than it does."""
    chances, times = bold(4_000)
    whole, ends = np.array(times), np.random.default_rng(8).exponential(40.0, 4_000)
    seen = np.where(whole <= ends, whole, np.inf)
    left = still_followed(GRID_H, seen, ends)
    assert left == pytest.approx(np.maximum(np.exp(-GRID_H / 40.0), FEWEST_LEFT), abs=0.04)
    right = np.mean([crps_h(GRID_H, row, one) for row, one in zip(chances, whole, strict=True)])
    found = [crps_followed_h(GRID_H, row, *one, left) for row, *one in zip(chances, seen, ends, strict=True)]
    assert np.mean(found) == pytest.approx(right, rel=0.05)
    told = (seen <= ends) | (ends >= 48.0)
    before = calibration(chances, times, Calibration())
    after = calibration(chances, seen.tolist(), Calibration(), ends.tolist())
    picked = calibration(chances[told], seen[told].tolist(), Calibration())
    assert after.shift == pytest.approx(before.shift, abs=0.15)
    assert picked.shift[2] > before.shift[2] + 0.4


def test_the_time_is_counted_from_the_cut(stays: list[list[Case]]) -> None:
    case = stays[0][0]
    assert case.time_h == pytest.approx((np.flatnonzero(case.past.met)[0] + 1) / 60 - 24)


# --- which numbers, how far -----------------------------------------------------------------------


def test_each_number_that_is_learnt_can_be_moved_alone_and_back() -> None:
    for name, numbers in learnable(SMALL).items():
        changed = moved(SMALL, numbers, TRY)
        assert changed != SMALL, name
        assert changed.size == SMALL.size
        back = moved(changed, numbers, -TRY)
        for part, field, place in numbers:
            ours, theirs = (getattr(getattr(model, part), field) for model in (back, SMALL))
            assert (ours if place < 0 else ours[place]) == pytest.approx(theirs if place < 0 else theirs[place])


def test_speeds_fall_together() -> None:
    before, after = (
        model.trend.falls_per_h for model in (SMALL, moved(SMALL, learnable(SMALL)["trend.falls_per_h"], 0.5))
    )
    assert np.allclose(np.log(np.array(after) / before), 0.5)


def test_a_chance_stays_one() -> None:
    assert moved(SMALL, (Number("trend", "bursts_effort"),), 3.0).trend.bursts_effort < 1.0


def table(slope: float, spread: float, curved: float, stays: int = 40) -> np.ndarray:
    """Made scores: the first learnable number has this slope, its spread over stays, and curvature; others none."""
    rng = np.random.default_rng(3)
    noise = rng.standard_normal(stays)
    noise = (noise - noise.mean()) / noise.std(ddof=1) * spread
    out = np.full((stays, len(tries(SMALL))), 5.0)
    out[:, 1] += (slope + noise) * TRY + 0.5 * curved * TRY**2
    out[:, 2] += -(slope + noise) * TRY + 0.5 * curved * TRY**2
    return out


def first(scores: np.ndarray) -> tuple[float, float]:
    found, name = step(SMALL, scores), next(iter(learnable(SMALL)))
    return found.by[name], found.error[name]


def test_a_clear_slope_moves_a_number_downhill_and_a_doubtful_one_does_not() -> None:
    assert first(table(0.5, 0.1, 1.0))[0] < -0.3
    assert first(table(-0.5, 0.1, 1.0))[0] > 0.3
    assert first(table(0.1, 1.0, 1.0))[0] == 0.0  # its standard error over 40 stays is 0.16


def test_no_number_is_moved_by_more_than_a_factor_of_two() -> None:
    assert first(table(50.0, 0.1, 0.1))[0] == -FARTHEST


def test_what_the_stays_do_not_tell_is_as_unsure_as_a_factor_of_two() -> None:
    found = step(SMALL, np.full((40, len(tries(SMALL))), 5.0))
    assert set(found.by.values()) == {0.0}
    assert list(found.error.values()) == pytest.approx([FARTHEST] * len(found.error))


def test_more_stays_make_a_number_surer() -> None:
    few, many = (first(table(0.5, 1.0, 2.0, stays))[1] for stays in (20, 320))
    assert many < 0.6 * few


def test_a_step_is_the_same_whatever_the_order_of_the_stays() -> None:
    made = table(0.5, 0.4, 1.0)
    assert step(SMALL, made).by == pytest.approx(step(SMALL, made[::-1]).by)


# --- the correction -------------------------------------------------------------------------------


def bold(n: int, seed: int = 5) -> tuple[np.ndarray, list[float]]:
    """Made: it comes at a constant rate of each one's own; told are log odds a quarter too far out, and 0.4 too low."""
    rng = np.random.default_rng(seed)
    rate = rng.lognormal(np.log(0.03), 0.5, n)
    right = np.clip(1.0 - np.exp(-rate[:, None] * GRID_H), 1e-9, 1.0 - 1e-9)
    odds = 1.25 * (np.log(right / (1.0 - right)) - 0.4)
    return np.where(GRID_H > 0.0, 1.0 / (1.0 + np.exp(-odds)), 0.0), rng.exponential(1.0 / rate).tolist()


def test_a_correction_gets_back_what_was_told_too_boldly() -> None:
    """Known: log odds right = told / 1.25 + 0.4, at every hour; so Cox's slope is 1 afterwards on others like them."""
    found = calibration(*bold(12_000), Calibration())
    assert found.trust == pytest.approx([1 / 1.25] * 4, abs=0.1)
    assert found.shift == pytest.approx([0.4] * 4, abs=0.15)
    chances, times = bold(8_000, seed=6)
    at = int(np.searchsorted(GRID_H, 24.0))
    came = (np.array(times) <= 24.0).astype(float)
    told = corrected(GRID_H, chances, found)[:, at]
    assert slope(chances[:, at], came).value == pytest.approx(1 / 1.25, abs=0.06)
    assert slope(told, came).value == pytest.approx(1.0, abs=0.09)
    assert told.mean() == pytest.approx(came.mean(), abs=0.02)


def test_few_stays_move_the_correction_little_and_from_where_it_was() -> None:
    start = Calibration(shift=(0.1, 0.2, 0.3, 0.4), trust=(0.9, 0.8, 0.7, 0.6))
    few, many = (calibration(*bold(n), start) for n in (12, 6000))
    for row in ("shift", "trust"):
        was, little, far = (np.array(getattr(one, row)) for one in (start, few, many))
        assert np.abs(little - was).max() < 0.12 < np.abs(far - was).max()
    chances, times = bold(12)
    assert calibration(chances[:0], times[:0], start) == start


def test_trust_stays_above_nothing_though_all_came_the_other_way_round() -> None:
    """Else a larger chance would become the smaller."""
    chances, times = bold(3000)
    turned = calibration(chances, (200.0 / (1.0 + np.array(times))).tolist(), Calibration())
    assert min(turned.trust) == LEAST_TRUST


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[calibration]\nhours = [6.0, 12.0]\nshift = [0.1]\ntrust = [1.0, 1.0]", "2 hours, but 1 numbers"),
        ("[calibration_of_means]\nhours = [6.0]\nshift = [0.1]\ntrust = [0.0]", "trust is not above 0"),
        ("[past_of_means]\nhours = [0.0, 1.0]\nlonger = [0.1]", "2 hours, but 1 numbers"),
    ],
)
def test_a_file_whose_correction_cannot_be_meant_is_refused(text: str, said: str) -> None:
    with pytest.raises(RefusedInput, match=said):
        from_toml(text, "ours.toml")


# --- the whole ------------------------------------------------------------------------------------


def test_learning_helps_on_stays_like_those_it_saw_and_repeats_itself(
    stays: list[list[Case]], monkeypatch: pytest.MonkeyPatch
) -> None:
    few_numbers(monkeypatch)
    said: list[str] = []
    found = learnt(stays, SMALL, seed=1, source="made stays", say=said.append)
    assert found.after_h < found.before_h
    assert found.gain_error_h > 0.0
    assert found.cases == sum(map(len, stays))
    assert set(found.uncertainty) == set(NUMBERS)
    assert found.model.provenance == "learnt from made stays"
    assert said
    again = learnt(stays, SMALL, seed=1, source="made stays")
    assert again.model == found.model


def test_a_stay_is_scored_by_numbers_that_never_saw_it(
    stays: list[list[Case]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever is learnt for a quarter, changing the other stays changes it; changing its own does not."""
    few_numbers(monkeypatch)
    seen: list[tuple[set[int], FilterModel]] = []
    real = learn.chances_of

    def spying(part: list[list[Case]], model: FilterModel) -> list[np.ndarray]:
        seen.append(({id(stay) for stay in part}, model))
        return real(part, model)

    monkeypatch.setattr(learn, "chances_of", spying)
    learnt(stays, SMALL, seed=1, source="made stays")
    tried = scores(stays, tries(SMALL), learn.left_of(stays))
    for ids, model in seen[2:]:  # after those of the start: a quarter each
        others = np.array([id(stay) not in ids for stay in stays])
        assert 0 < (~others).sum() <= 2
        assert model == step(SMALL, tried[others]).taken(SMALL)


def test_two_clauses_of_one_stay_are_scored_together_and_corrected_apart() -> None:
    both = [*cases(past(0.04, 1), (24, 36)), *cases(past(0.04, 1, bin_min=10), (24, 36))]
    assert len(learn.by_clause(both)) == 2
    model = replace(SMALL, calibration_of_means=Calibration(shift=(-1.0, -1.0, -1.0, -1.0)))
    plain, halved = (
        corrected_crps(both, chances_of([both], SMALL)[0], one, np.ones(len(GRID_H))) for one in (SMALL, model)
    )
    assert np.array_equal(plain[:2], halved[:2])
    assert not np.array_equal(plain[2:], halved[2:])


def test_a_file_of_numbers_reads_back_the_same() -> None:
    model = shipped_model()
    again = from_toml(to_toml(model, {"trend.speeds.0": 0.2}), "again.toml")
    assert again == model
    assert "not from patients" in model.provenance
