"""Learning moves numbers no further than past stays ask for, says what it does not know, and repeats itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from behaviour.leak_filter.made_minutes import made_minutes
from slackwater.forecast import learn
from slackwater.forecast.air import AirClause
from slackwater.forecast.learn import Case, Past, calibration, cases, chances_of, corrected_crps, learnt, scores
from slackwater.forecast.moves import FARTHEST, TRY, Number, learnable, moved, step, tries
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


def test_cuts_where_the_clause_holds_or_the_future_is_unknown_are_left_out() -> None:
    found = list(cases(past(0.2, 1), (24, 36, 48)))
    assert not found  # met at 24 h already
    kept = [case.minute // 60 for case in cases(past(0.005, 1), (24, 36, 48))]
    assert kept == [24, 36]  # 48 h do not follow the last


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


def test_a_correction_is_monotone_and_does_not_worsen(stays: list[list[Case]]) -> None:
    chances = np.concatenate(chances_of(stays, SMALL))
    times = [case.time_h for stay in stays for case in stay]
    found = calibration(chances, times, Calibration())
    assert list(found.observed) == sorted(found.observed)
    assert found.observed[0] == 0.0

    def mean(model: FilterModel) -> float:
        return float(
            np.mean([corrected_crps(stay, rows, model).mean() for stay, rows in zip(stays, parts, strict=True)])
        )

    parts = chances_of(stays, SMALL)
    assert mean(replace(SMALL, calibration=found)) <= mean(SMALL)


def test_few_stays_move_the_correction_little(stays: list[list[Case]], monkeypatch: pytest.MonkeyPatch) -> None:
    chances = np.concatenate(chances_of(stays, SMALL))
    times = [case.time_h for stay in stays for case in stay]
    held = calibration(chances, times, Calibration())
    monkeypatch.setattr(learn, "CALIBRATION_PULL", 0.0)
    free = calibration(chances, times, Calibration())
    assert (
        np.abs(np.subtract(held.observed, held.forecast)).max()
        < np.abs(np.subtract(free.observed, free.forecast)).max()
    )


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
    tried = scores(stays, tries(SMALL))
    for ids, model in seen[2:]:  # after those of the start: a quarter each
        others = np.array([id(stay) not in ids for stay in stays])
        assert 0 < (~others).sum() <= 2
        assert model == step(SMALL, tried[others]).taken(SMALL)


def test_two_clauses_of_one_stay_are_scored_together_and_corrected_apart() -> None:
    both = [*cases(past(0.04, 1), (24, 36)), *cases(past(0.04, 1, bin_min=10), (24, 36))]
    assert len(learn.by_clause(both)) == 2
    model = replace(SMALL, calibration_of_means=Calibration((0.0, 1.0), (0.0, 0.5), 48.0))
    plain, halved = (corrected_crps(both, chances_of([both], SMALL)[0], one) for one in (SMALL, model))
    assert np.array_equal(plain[:2], halved[:2])
    assert not np.array_equal(plain[2:], halved[2:])


def test_a_file_of_numbers_reads_back_the_same() -> None:
    model = shipped_model()
    again = from_toml(to_toml(model, {"trend.speeds.0": 0.2}), "again.toml")
    assert again == model
    assert "not from patients" in model.provenance
