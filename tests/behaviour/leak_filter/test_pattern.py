"""The pattern of a leak, in a word. Made-up minutes; what each word asks for is ours (leak/filter/pattern.py)."""

from __future__ import annotations

import numpy as np
import pytest

from behaviour.leak_filter.made_minutes import made_minutes
from slackwater.leak.filter.pattern import PATTERNS, Pattern, pattern
from slackwater.leak.filter.run import Seen, run_filter

HOUR = 60


def found(given: Seen) -> Pattern:
    return pattern(given, run_filter(given, (10.0,)))


def minutes(*parts: tuple[float, float]) -> list[float]:
    """(mL/min, hours), one after the other."""
    return [flow for flow, hours in parts for _ in range(round(hours * HOUR))]


@pytest.mark.parametrize(
    ("word", "flow"),
    [
        ("none", minutes((0, 24))),
        ("persistent", minutes((100, 24))),
        ("healing", (300.0 * np.exp(-np.arange(24 * HOUR) / 600.0)).tolist()),
        ("healing", minutes((100, 6), (0, 6))),
        ("intermittent", minutes((100, 0.5), (0, 0.7)) * 12),
        ("recurring", minutes((100, 6), (0, 8), (80, 3))),
    ],
)
@pytest.mark.parametrize("step", [1.0, 5.0, 10.0])
def test_each_course_has_its_word(word: str, flow: list[float], step: float) -> None:
    assert found(made_minutes(flow, step=step)).word == word


def test_all_words_are_known() -> None:
    assert set(PATTERNS) == {"none", "persistent", "healing", "intermittent", "effort_only", "recurring"}


# --- none -----------------------------------------------------------------------------------------


def test_too_little_record_has_no_pattern() -> None:
    assert found(made_minutes([0.0] * 30)).word is None
    assert found(made_minutes([0.0] * 600, unusable=range(550))).word is None


def test_none_says_where_the_log_could_not_show_a_leak_with_effort() -> None:
    assert "with effort" not in found(made_minutes([0.0] * 600)).sentence
    assert "cannot show one with effort" in found(made_minutes([0.0] * 600, bursts_visible=False)).sentence


def test_a_leak_of_some_minutes_is_none_at_rest() -> None:
    assert found(made_minutes(minutes((0, 5), (60, 0.2), (0, 5)))).word == "none"


# --- effort only ----------------------------------------------------------------------------------


def coughed(bursts: list[int], ml: float, hours: int = 10) -> Seen:
    flow = np.zeros(hours * HOUR)
    flow[bursts] = ml
    return made_minutes(flow.tolist(), step=1.0, burst=bursts)


def test_bursts_over_a_quiet_rest_are_effort_only_and_named_as_evidence() -> None:
    assert found(coughed([100, 200, 300, 400], 12.0)) == Pattern(
        "effort_only", ((200, 201), (300, 301), (400, 401)), "Air is seen only with effort: a cough, a walk."
    )


def test_a_little_air_beside_the_lung_is_no_leak_with_effort_but_is_told() -> None:
    """Boyle: a cough of 60 cmH2O (of 1033) over 50 mL of air presses out 3 mL."""
    word = found(coughed([100, 200, 300, 400], 3.0))
    assert word.word == "none"
    assert "Small bursts with effort" in word.sentence


def test_two_bursts_are_no_pattern() -> None:
    assert found(coughed([100, 200], 12.0)).word == "none"


def test_bursts_of_days_ago_only_are_said_to_be_past() -> None:
    word = found(coughed([10, 20, 30, 40], 12.0, hours=48))
    assert (word.word, word.evidence[-1]) == ("healing", (40, 41))
    assert "scarcely in the latest 24 h" in word.sentence


def test_a_leak_at_rest_is_not_effort_only() -> None:
    flow = np.full(600, 100.0)
    flow[::50] = 140.0
    assert found(made_minutes(flow.tolist(), burst=range(0, 600, 50))).word == "persistent"


# --- persistent -----------------------------------------------------------------------------------


def test_a_step_of_suction_is_not_healing() -> None:
    given = made_minutes([100.0] * 600 + [40.0] * 600, suction_cmh2o=[20.0] * 600 + [8.0] * 600)
    assert found(given).word == "persistent"


def test_a_gap_is_no_pause() -> None:
    flow = [100.0] * 1200
    gaps = [k for start in range(100, 1200, 100) for k in range(start, start + 40)]
    assert found(made_minutes(flow, unusable=gaps)).word == "persistent"


@pytest.mark.parametrize("seed", range(4))
def test_a_leak_that_sways_about_the_level_does_not_come_and_go(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sway = np.cumsum(rng.normal(0.0, 0.05, 36 * HOUR))
    sway -= np.convolve(np.pad(sway, 150, mode="edge"), np.ones(301) / 301, mode="valid")
    assert found(made_minutes((11.0 * np.exp(0.6 * np.tanh(sway))).tolist(), step=1.0)).word == "persistent"


# --- healing --------------------------------------------------------------------------------------


def test_a_fall_names_the_minutes_compared() -> None:
    word = found(made_minutes((300.0 * np.exp(-np.arange(24 * HOUR) / 600.0)).tolist()))
    (first, first_end), (second, second_end) = word.evidence
    assert 0 <= first < first_end <= second < second_end <= 24 * HOUR
    assert word.sentence == "The leak is falling at like suction."


def test_gone_names_the_leak_and_the_time_since() -> None:
    word = found(made_minutes(minutes((100, 6), (0, 6))))
    assert word.evidence[0][1] == pytest.approx(6 * HOUR, abs=10)
    assert word.evidence[1][1] == 12 * HOUR
    assert "6 h or more" in word.sentence


def test_what_the_suction_since_could_hide_is_not_healed() -> None:
    """20 mL/min at -20 would be 2 at -2, which a display in steps of 10 prints as 0."""
    given = made_minutes(minutes((20, 12), (0, 12)), step=10.0, suction_cmh2o=[20.0] * 720 + [2.0] * 720)
    word = found(given)
    assert word.word is None
    assert "could hide" in word.sentence
    like = made_minutes(minutes((20, 12), (0, 12)), step=10.0, suction_cmh2o=18.0)
    assert found(like).word == "healing"


def test_a_leak_too_large_for_the_suction_since_to_hide_is_healed() -> None:
    given = made_minutes(minutes((400, 12), (0, 12)), step=10.0, suction_cmh2o=[20.0] * 720 + [2.0] * 720)
    assert found(given).word == "healing"


# --- intermittent ---------------------------------------------------------------------------------


def test_coming_and_going_is_counted_and_its_latest_episodes_are_named() -> None:
    word = found(made_minutes(minutes((100, 0.5), (0, 0.7)) * 12))
    assert len(word.evidence) == 5
    assert all(20 <= end - first <= 40 for first, end in word.evidence)
    assert "12 times" in word.sentence


def test_four_episodes_are_not_yet_intermittent() -> None:
    assert found(made_minutes(minutes((100, 0.5), (0, 0.7)) * 4)).word != "intermittent"


def test_what_came_and_went_and_then_stayed_away_is_healing() -> None:
    flow = minutes((100, 0.5), (0, 0.7)) * 8
    assert found(made_minutes(flow + minutes((0, 3)))).word == "intermittent"
    assert found(made_minutes(flow + minutes((0, 9)))).word == "healing"


# --- recurring ------------------------------------------------------------------------------------


def test_a_recurrence_names_before_pause_and_after() -> None:
    word = found(made_minutes(minutes((100, 6), (0, 9), (80, 3))))
    before, pause, after = word.evidence
    assert before[1] == pause[0] == pytest.approx(6 * HOUR, abs=10)
    assert pause[1] == after[0] == pytest.approx(15 * HOUR, abs=10)
    assert "gone for 9 h or more and came back" in word.sentence


@pytest.mark.parametrize(("gone_h", "back"), [(4, False), (9, True), (30, True)])
def test_only_a_pause_of_hours_makes_a_return_a_recurrence(gone_h: float, back: bool) -> None:
    assert (found(made_minutes(minutes((100, 6), (0, gone_h), (80, 3)))).word == "recurring") is back


def test_a_pause_that_nobody_recorded_is_none() -> None:
    flow = minutes((100, 6), (0, 9), (80, 3))
    assert found(made_minutes(flow, unusable=range(6 * HOUR, 15 * HOUR))).word != "recurring"


def test_a_leak_hidden_by_less_suction_and_seen_again_with_more_has_not_recurred() -> None:
    suction = [20.0] * 480 + [2.0] * 600 + [20.0] * 300
    given = made_minutes(minutes((20, 8), (0, 10), (20, 5)), step=10.0, suction_cmh2o=suction)
    assert found(given).word == "persistent"


def test_recurring_is_not_said_before_the_return() -> None:
    """Live equals batch: up to the return the same minutes are healing."""
    given = made_minutes(minutes((100, 6), (0, 9), (80, 3)))
    assert found(given.until(14 * HOUR)).word == "healing"
    assert found(given.until(16 * HOUR)).word == "recurring"
