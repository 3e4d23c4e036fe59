"""The pattern of a leak, in a word."""

from __future__ import annotations

import numpy as np
import pytest

from behaviour.leak_filter.made_minutes import made_minutes
from slackwater.leak.filter.pattern import PATTERNS, Pattern, pattern
from slackwater.leak.filter.run import Seen, run_filter

HOUR = 60


def found(given: Seen) -> Pattern:
    return pattern(given, run_filter(given, (10.0,)))


@pytest.mark.parametrize(
    ("word", "flow"),
    [
        ("none", [0.0] * 24 * HOUR),
        ("persistent", [100.0] * 24 * HOUR),
        ("healing", (300.0 * np.exp(-np.arange(24 * HOUR) / 600.0)).tolist()),
        ("healing", [100.0] * 6 * HOUR + [0.0] * 6 * HOUR),
        ("intermittent", ([100.0] * 30 + [0.0] * 40) * 12),
        ("recurring", [100.0] * 6 * HOUR + [0.0] * 8 * HOUR + [80.0] * 3 * HOUR),
    ],
)
def test_each_course_has_its_word(word: str, flow: list[float]) -> None:
    assert found(made_minutes(flow)).word == word


def test_bursts_over_a_quiet_rest_are_effort_only_and_named_as_evidence() -> None:
    given = made_minutes([0.0] * 600, burst=[100, 200, 300, 400])
    assert found(given) == Pattern(
        "effort_only", ((200, 201), (300, 301), (400, 401)), "Air is seen only with effort: a cough, a walk."
    )


def test_a_step_of_suction_is_not_healing() -> None:
    given = made_minutes([100.0] * 600 + [40.0] * 600, suction_cmh2o=[20.0] * 600 + [8.0] * 600)
    assert found(given).word == "persistent"


def test_a_gap_is_no_pause() -> None:
    flow = [100.0] * 1200
    gaps = [k for start in range(100, 1200, 100) for k in range(start, start + 40)]
    assert found(made_minutes(flow, unusable=gaps)).word == "persistent"


def test_too_little_record_has_no_pattern() -> None:
    assert found(made_minutes([0.0] * 30)).word is None


def test_a_recurrence_names_before_pause_and_after() -> None:
    evidence = found(made_minutes([100.0] * 360 + [0.0] * 480 + [80.0] * 180)).evidence
    assert len(evidence) == 3
    assert evidence[0][1] <= evidence[1][1] <= evidence[2][1]


def test_all_words_are_known() -> None:
    assert set(PATTERNS) == {"none", "persistent", "healing", "intermittent", "effort_only", "recurring"}
