"""The leak before and after a step of suction: equal coverage on both sides, and no side where too little is known."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

import slackwater
from slackwater.assessment.assessment import Assessment
from slackwater.assessment.suction_steps import LEAST_MIN, SETTLES_MIN, SPAN_MIN
from slackwater.quantities.spans import MINUTE_MS
from slackwater.simulate import scenario, simulate
from slackwater.simulate.unit_types import SANDBAR


@cache
def judged(name: str, hours: float = 30.0) -> Assessment:
    made = simulate(replace(scenario(name), unit=SANDBAR, hours=hours), 7)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    return slackwater.assess(
        [slackwater.read_log(made.logs[0], layout, "log.csv")],
        chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv", None),
        episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        protocol=slackwater.shipped_protocol("air-20-8h"),
    )


def test_a_step_down_takes_flow_with_it_and_leaves_conductance() -> None:
    """The simulated lung does not heal at the step: flow falls with suction, the conductance scarcely moves."""
    step = judged("step_down", 40.0).suction_steps[0]
    assert step.before is not None and step.after is not None
    assert step.before.pressure is not None and step.after.pressure is not None
    assert step.before.pressure < step.after.pressure - 3
    assert step.after.flow < 0.75 * step.before.flow
    assert step.before.conductance is not None and step.after.conductance is not None
    assert step.after.conductance == pytest.approx(step.before.conductance, rel=0.25)


def test_both_sides_hold_equally_many_minutes_and_the_step_itself_is_left_out() -> None:
    step = judged("step_down", 40.0).suction_steps[0]
    assert step.before is not None and step.after is not None
    assert LEAST_MIN <= step.minutes <= SPAN_MIN
    assert step.before.to_ms <= step.at_ms
    assert step.after.from_ms >= step.at_ms + (SETTLES_MIN - 1) * MINUTE_MS


def test_a_stay_without_a_step_has_none() -> None:
    assert judged("none").suction_steps == ()


def test_too_few_assessable_minutes_tell_of_no_side() -> None:
    found = judged("step_down", 40.0)
    at = found.suction_steps[0].at_ms
    short = slackwater.assess(found.trace.logs, chart=found.chart, episode=found.episode, now_ms=at + 15 * MINUTE_MS)  # type: ignore[union-attr]
    step = short.suction_steps[0]
    assert step.minutes < LEAST_MIN
    assert step.before is None and step.after is None
