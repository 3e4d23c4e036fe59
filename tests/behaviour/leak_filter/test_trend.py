"""Where the leak is going: the trend filter's chain and what it learns from blocks."""

from __future__ import annotations

import numpy as np
import pytest

from behaviour.leak_filter.made_minutes import made_minutes
from slackwater.leak.filter.model import SPEEDS, TrendModel, shipped_model
from slackwater.leak.filter.run import blocks, run_filter, run_trend
from slackwater.leak.filter.trend import EFFORT, LEAKS, SEALED, SHUT, chain

MODEL = shipped_model().trend


def share_of_speed(state: np.ndarray, speed: str) -> float:
    links = chain(MODEL)
    leaking = links.kind == LEAKS
    return float(state[leaking & (links.speed == SPEEDS.index(speed))].sum() / state[leaking].sum())


def test_chances_of_passing_sum_to_one_and_none_is_negative() -> None:
    links = chain(TrendModel())
    assert np.allclose(links.passes.sum(axis=1), 1.0)
    assert links.passes.min() >= 0.0
    assert links.first.sum() == pytest.approx(1.0)


def test_a_leak_that_halves_in_hours_is_fast_and_a_steady_one_is_not() -> None:
    hours = np.arange(24 * 60) / 60.0
    falling = run_filter(made_minutes(400.0 * np.exp(-0.12 * hours)), ()).trend_state
    steady = run_filter(made_minutes(np.full(24 * 60, 200.0)), ()).trend_state
    assert share_of_speed(falling, "fast") > 5 * share_of_speed(steady, "fast")
    assert share_of_speed(falling, "fast") + share_of_speed(falling, "medium") > 0.8
    assert share_of_speed(steady, "stuck") + share_of_speed(steady, "slow") > 0.5


def test_hours_without_flow_and_without_bursts_point_to_sealed() -> None:
    links = chain(MODEL)
    state = run_filter(made_minutes([100.0] * 600 + [0.0] * 600), ()).trend_state
    assert state[links.kind == SEALED].sum() > 0.8


def test_bursts_over_a_quiet_rest_point_to_a_leak_with_effort() -> None:
    links = chain(MODEL)
    quiet = [0.0] * 1200
    with_bursts = run_filter(made_minutes(quiet, burst=range(0, 1200, 15)), ()).trend_state
    assert with_bursts[links.kind == EFFORT].sum() > 0.8


def test_a_leak_that_opens_and_shuts_is_intermittent() -> None:
    flow = ([100.0] * 60 + [0.0] * 60) * 12
    state = run_filter(made_minutes(flow), ()).trend_state
    links = chain(MODEL)
    intermittent = (links.speed == SPEEDS.index("intermittent")) | (links.kind == SHUT)
    assert state[intermittent].sum() > 0.5


def test_a_block_that_is_not_usable_changes_nothing() -> None:
    before = made_minutes([100.0] * 300)
    after = made_minutes([100.0] * 300 + [0.0] * 300, unusable=range(300, 600))
    assert np.array_equal(run_filter(before, ()).trend_state, run_filter(after, ()).trend_state)


def test_going_on_from_a_state_is_the_same_as_in_one_go() -> None:
    whole = blocks(made_minutes(np.linspace(200.0, 20.0, 600)))
    first = type(whole)(*(getattr(whole, name)[:30] for name in whole.__dataclass_fields__))
    second = type(whole)(*(getattr(whole, name)[30:].copy() for name in whole.__dataclass_fields__))
    state, _ = run_trend(first, MODEL)
    assert np.array_equal(run_trend(second, MODEL, state)[0], run_trend(whole, MODEL)[0])
