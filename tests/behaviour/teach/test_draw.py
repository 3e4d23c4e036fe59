"""A draw: the same numbers give the same drain, another gives another, and nothing is known before its time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from slackwater.errors import UsageError
from slackwater.report.pack import packed
from slackwater.teach import draw, shipped_exercises
from slackwater.teach.draw import Drawn, first_draw
from slackwater.teach.facts import Facts

SWING = shipped_exercises()["no-swing"]


@pytest.fixture(scope="module")
def kinked() -> Drawn:
    return draw(SWING, 5)


def test_the_same_draw_is_the_same_drain(kinked: Drawn) -> None:
    again = draw(SWING, 5)
    assert (again.stay.logs, again.stay.chart_csv, again.moments_ms) == (
        kinked.stay.logs, kinked.stay.chart_csv, kinked.moments_ms,
    )  # fmt: skip


def test_another_draw_is_another_drain_though_the_case_be_the_same(kinked: Drawn) -> None:
    other = draw(SWING, 8)
    assert other.case.id == kinked.case.id
    assert other.stay.logs != kinked.stay.logs
    assert other.moments_ms != kinked.moments_ms  # nor is it the hour that is learnt by heart


def test_no_look_ahead(kinked: Drawn) -> None:
    """What is known at the first moment is the same, whatever the log and the chart say later."""
    then = kinked.moment_ms(0)
    known = packed(kinked.known_at(0))
    log = kinked.stay.logs[0].splitlines(keepends=True)
    stamps = kinked.logs[0].time_ms
    cut = len(log) - int((stamps > then).sum())
    head, *chart = kinked.stay.chart_csv.splitlines(keepends=True)
    entries = kinked.known_at(len(kinked.moments_ms) - 1).chart.entries
    assert len({entry.line for entry in entries if entry.recorded > then}) > 0
    lines = {entry.line for entry in kinked.known_at(0).chart.entries}
    kept = [row for number, row in enumerate(chart, start=2) if number in lines]
    stay = replace(kinked.stay, logs=(b"".join(log[:cut]),), chart_csv=head + "".join(kept))
    shorter = replace(kinked, stay=stay)
    assert packed(shorter.known_at(0)) == known
    assert known["data_until"] <= then
    assert all(event["at"] <= then for event in known["events"])


def test_the_truth_does_not_ask_what_we_conclude(kinked: Drawn) -> None:
    """Draw 5 is a kinked tube: by the simulator, whatever the log shows."""
    assert kinked.truth(0) == "shut"
    blank = replace(kinked, stay=replace(kinked.stay, logs=()))
    assert blank.truth(0) == "shut"


def test_a_truth_that_is_not_one_answer_is_a_fault_of_the_file(kinked: Drawn) -> None:
    both = replace(kinked, exercise=replace(SWING, truth={"shut": ({},), "open": ({},)}))
    with pytest.raises(UsageError, match="shut and open true of draw 5"):
        both.truth(0)


def test_two_at_one_desk_begin_elsewhere() -> None:
    assert first_draw("a", "no-swing") != first_draw("b", "no-swing")


def test_a_moment_that_is_not_there_is_refused(kinked: Drawn) -> None:
    with pytest.raises(UsageError, match="no moment 9"):
        kinked.moment_ms(8)


def test_the_rule_is_counted_on_the_simulator_s_air() -> None:
    """Of draw 2 of the eight hours: the run is over eight hours, and no minute of it hides behind a fault."""
    kept = draw(shipped_exercises()["eight-hours"], 2)
    facts = kept.facts(1)
    assert (facts.asked_min, facts.hidden_min) == (480, 0)
    assert facts.run_min >= 480
    air = kept.stay.truth.leak_rest_ml_per_min
    leaking = replace(kept.stay, truth=replace(kept.stay.truth, leak_rest_ml_per_min=np.full_like(air, 60.0)))
    assert Facts(leaking, facts.minute, facts.protocol).run_min == 0
