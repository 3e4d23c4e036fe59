"""When will the air clause hold: the exact recursion, its check, and its laws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from behaviour.leak_filter.made_minutes import made_minutes
from slackwater.forecast.air import MET_NOW, AirClause, Times, air_times, calibrated, corrected, leaned
from slackwater.forecast.habit import SHARES, Habit, habit_of, keeps_clause, shares_ahead
from slackwater.forecast.sampler import first_run_blocks, sampled_records
from slackwater.leak.filter.model import Calibration, PastModel, shipped_model
from slackwater.leak.filter.run import run_filter
from slackwater.leak.filter.trend import chain
from slackwater.protocol.facts import Signal
from slackwater.protocol.status import Status
from slackwater.protocol.windows import lasting_codes, window_codes

MODEL = shipped_model()
LINKS = chain(MODEL.trend)
CLAUSE = AirClause(20.0, 480, None)
HABIT = Habit(0.4, 0.4, 0.1, 0.2)
NOON = 12.0
PATHS, BLOCKS = 4000, 288
FOUR_SE = 4 * 0.5 / PATHS**0.5


def exact(run_min: float = 0.0, state: np.ndarray | None = None, clause: AirClause = CLAUSE) -> Times:
    state = LINKS.first if state is None else state
    return air_times(state, MODEL, LINKS, 20.0, clause, HABIT, run_min, hour=NOON, horizon_min=BLOCKS * 10)


def by_block() -> np.ndarray:
    """Blocks x states: chance that the record keeps the clause, through the days and nights from noon on."""
    return keeps_clause(LINKS, 20.0, 20.0, HABIT, MODEL.record)[shares_ahead(HABIT, BLOCKS, NOON, MODEL.record)]


@pytest.mark.parametrize("run_min", [0, 200])
def test_the_recursion_is_what_sampling_tends_to(run_min: int) -> None:
    quiet = by_block()
    state = LINKS.first
    if run_min:  # only states that keep the clause can have a run under way
        state = np.where(quiet[0] > 0, state, 0.0) / state[quiet[0] > 0].sum()
    kept = sampled_records(LINKS, state, quiet, BLOCKS, PATHS, seed=3)
    reached = first_run_blocks(kept, 48, run_min // 10)
    times = exact(run_min, state)
    for hours in (8, 12, 24, 36, 48):
        assert times.by(hours * 60.0) == pytest.approx(np.mean(reached <= hours * 6), abs=FOUR_SE)


def test_sampled_records_through_the_real_evaluator_give_the_same_times() -> None:
    """Paths turned into recorded minutes and judged by the rule language's own windows."""
    quiet = by_block()
    kept = sampled_records(LINKS, LINKS.first, quiet, BLOCKS, 40, seed=5)
    reached = first_run_blocks(kept, 48)
    for path, blocks in zip(kept, reached, strict=True):
        flow = np.repeat(np.where(path, 0.0, 40.0), 10)
        known = np.ones(len(flow), dtype=np.bool_)
        signal = Signal(flow, flow + 1, flow, flow + 1, flow, flow + 1, known, known, True, False, 1.0, True)
        codes = window_codes(signal, None, "below", 20.0)
        met = lasting_codes(codes, 1, 480, np.zeros(len(flow), dtype=np.int64))[0] == Status.MET
        first = float(np.flatnonzero(met)[0] + 1) / 10 if met.any() else np.inf
        assert first == blocks


def test_m31_chances_never_fall_and_quantiles_never_cross() -> None:
    times = exact(120.0)
    assert (np.diff(times.chance) >= 0).all()
    quantiles = [q for share in (0.01, 0.05, 0.1, 0.25, 0.5) if (q := times.quantile(share)) is not None]
    assert quantiles == sorted(quantiles)


def test_m31_nothing_is_said_beyond_the_horizon_that_was_tried() -> None:
    times = calibrated(exact(), Calibration(horizon_h=24.0))
    assert times.minutes[-1] <= 24 * 60
    assert times.quantile(0.999) is None


def test_m31_the_mean_of_tomorrows_chance_is_todays() -> None:
    """Under the filter's own chain: total chance, one block on, over what the record may show by then."""
    quiet = by_block()
    today = exact()
    moved = LINKS.first @ LINKS.passes
    kept, broke = moved * quiet[0], moved * (1 - quiet[0])
    ahead = 0.0
    for share, run_min in ((kept, 10.0), (broke, 0.0)):
        later = air_times(
            share / share.sum(), MODEL, LINKS, 20.0, CLAUSE, HABIT, run_min, hour=NOON + 1 / 6,
            horizon_min=(BLOCKS - 1) * 10,
        )  # fmt: skip
        ahead += float(share.sum()) * later.by(24 * 60.0 - 10.0)
    # a state that scarcely keeps the clause is taken never to, and runs are single precision: that is all
    assert ahead == pytest.approx(today.by(24 * 60.0), abs=1e-5)


def test_a_clause_already_met_is_met_now() -> None:
    assert exact(480.0) is MET_NOW
    assert MET_NOW.quantile(0.5) == 0.0


def test_a_run_under_way_can_complete_before_any_new_one_could() -> None:
    state = np.where(LINKS.kind == 0, 1.0, 0.0)
    times = exact(400.0, state / state.sum())
    assert times.by(79.0) < 0.02
    assert times.by(81.0) > 0.7


def test_a_run_completes_to_the_minute() -> None:
    state = np.where(LINKS.kind == 0, 1.0, 0.0)
    times = exact(473.0, state / state.sum())
    assert times.minutes[1] == 7.0
    assert times.by(7.0) > 0.9


def test_a_larger_leak_waits_longer() -> None:
    medians = []
    for flow in (15.0, 60.0, 400.0):
        state = run_filter(made_minutes([flow] * 720), ()).trend_state
        medians.append(exact(state=state).by(36 * 60.0))
    assert medians == sorted(medians, reverse=True)


def test_a_longer_rule_waits_longer() -> None:
    chances = [exact(clause=AirClause(20.0, minutes, None)).by(24 * 60.0) for minutes in (240, 480, 720)]
    assert chances == sorted(chances, reverse=True)


def test_the_habit_is_learnt_from_this_stays_own_blocks() -> None:
    given = made_minutes([50.0] * 600)
    calm = habit_of(given, given.high, 20.0, 4.0, MODEL.record)
    wild = habit_of(given, given.high * 4, 20.0, 4.0, MODEL.record)
    assert wild.mean > calm.mean + 0.5


def test_bursts_without_a_leak_at_rest_are_counted() -> None:
    given = made_minutes([0.0] * 600)
    worst = given.high.copy()
    worst[::20] = 60.0
    assert habit_of(given, worst, 20.0, 4.0, MODEL.record, NOON).bursts > 0.3
    assert habit_of(given, given.high, 20.0, 4.0, MODEL.record, NOON).bursts < 0.05


def test_bursts_by_day_say_little_of_the_night() -> None:
    """A day of coughs and a night without any: the run completes in the early morning, not in the afternoon."""
    given = made_minutes([0.0] * 24 * 60)
    worst = given.high.copy()
    hours = (NOON + np.arange(len(worst)) / 60.0) % 24.0
    worst[(hours > 7.0) & (hours < 22.0) & (np.arange(len(worst)) % 20 == 0)] = 60.0
    habit = habit_of(given, worst, 20.0, 4.0, MODEL.record, NOON)
    assert habit.asleep < 0.2
    effort = np.where(LINKS.kind == 1, 1.0, 0.0)
    times = air_times(effort, MODEL, LINKS, 20.0, CLAUSE, habit, 0.0, hour=NOON, horizon_min=BLOCKS * 10)
    assert times.by(10 * 60.0) < 0.01
    assert times.by(20 * 60.0) > 0.1


def test_without_a_clock_the_hours_are_all_alike() -> None:
    assert len(set(shares_ahead(HABIT, BLOCKS, None, MODEL.record).tolist())) == 1
    known = shares_ahead(HABIT, BLOCKS, NOON, MODEL.record)
    assert known[0] == SHARES
    assert known[15 * 6] < SHARES / 2  # three at night


def test_a_correction_without_shift_and_with_full_trust_changes_nothing_short_of_the_surest() -> None:
    plain = exact()
    times = calibrated(plain, Calibration())
    same = (plain.chance > 0.007) & (plain.chance < 0.993)
    assert times.chance[same] == pytest.approx(plain.chance[same])
    assert times.chance.max() < 0.994


def test_what_cannot_have_come_yet_keeps_its_chance_of_nothing() -> None:
    times = calibrated(exact(), Calibration(shift=(3.0, 3.0, 3.0, 3.0), trust=(0.2, 0.2, 0.2, 0.2)))
    assert times.by(479.0) == 0.0
    assert times.by(481.0) > 0.5


HARD = (
    Calibration(shift=(1.0, -2.0, 2.0, -1.0), trust=(0.3, 1.8, 0.1, 1.0)),
    MODEL.calibration,
    MODEL.calibration_of_means,
)


@pytest.mark.parametrize("correction", HARD)
def test_corrected_the_chance_never_falls_with_time_and_a_larger_one_stays_the_larger(correction: Calibration) -> None:
    """Over many pairs of forecasts of which one lies nowhere below the other; M12's order and M31a survive so."""
    rng = np.random.default_rng(1)
    hours = np.arange(0.0, 48.01, 1 / 6)
    less = np.cumsum(rng.exponential(size=(60, len(hours))) * (rng.random((60, len(hours))) < 0.1), axis=1)
    less = less / less[:, -1:] * rng.random((60, 1))
    more = np.clip(less + rng.random((60, 1)) * (1.0 - less) * np.linspace(0.0, 1.0, len(hours)), 0.0, 1.0)
    below, above = (corrected(hours, np.maximum.accumulate(one, axis=1), correction) for one in (less, more))
    assert (np.diff(below, axis=1) >= 0).all() and (np.diff(above, axis=1) >= 0).all()
    assert (above >= below).all() and (above > below).any()
    assert ((below >= 0.0) & (above <= 1.0)).all()


def test_as_shipped_no_chance_a_day_or_more_ahead_is_trusted_in_full() -> None:
    """Found on stays of two worlds that no other number was learnt on: docs/how-sure.md, 'Are the chances right?'."""
    for one in (MODEL.calibration, MODEL.calibration_of_means):
        assert one.hours[2:] == (24.0, 48.0) and max(one.trust[2:]) < 0.95


def test_a_share_of_the_plain_rate_lies_between_and_never_falls() -> None:
    times = exact(200.0)
    past = MODEL.past
    mixed = leaned(times, past, CLAUSE, 200.0)
    alone = leaned(times, replace(past, share=1.0), CLAUSE, 200.0)
    assert (np.diff(mixed.chance) >= 0).all()
    low, high = np.minimum(times.chance, alone.chance), np.maximum(times.chance, alone.chance)
    assert ((low - 1e-12 <= mixed.chance) & (mixed.chance <= high + 1e-12)).all()
    assert mixed.by(279.0) == 0.0  # 280 min are still lacking: before that nothing can complete


def test_clauses_on_means_lean_on_a_rate_of_their_own() -> None:
    assert MODEL.past_for(None) is MODEL.past
    assert MODEL.past_for(10) is MODEL.past_of_means
    assert MODEL.past_of_means.share > 0.0 and MODEL.past_of_means.longer != MODEL.past.longer
    assert leaned(exact(), PastModel(), CLAUSE, 0.0).chance.tolist() == exact().chance.tolist()
