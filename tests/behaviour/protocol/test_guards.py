"""The two guards and the vetoes: each alone keeps zero flow from passing for a healed lung (haz-D15)."""

from __future__ import annotations

from typing import Any

import pytest

from behaviour.protocol.a_rule import air_alone, judge
from slackwater.protocol import Evaluation, Status

RULE = air_alone()
QUIET: dict[str, Any] = {"air_leak": [["20 h", "0 mL/min"]]}


def parts(found: Evaluation) -> dict[str, str]:
    return {part.id: part.status.word for part in (*found.guards, *found.criteria)}


def test_with_nothing_in_the_way_the_rule_is_met() -> None:
    found = judge(RULE, **QUIET)
    assert found.overall is Status.MET
    assert parts(found) == {"tube_open": "met", "effort_seen": "not_applicable", "air": "met"}


ALONE = [
    ({"tube_open": "never"}, "tube_open", "cannot_tell"),
    ({"tube_open": ["1 h ago"]}, "tube_open", "cannot_tell"),  # not near the start of the run
    ({"tube_open": ["7 h ago"]}, "tube_open", "cannot_tell"),  # not near its end
    ({"tube_open": {"swing": ["7 h ago", "1 h ago"]}}, "tube_open", "cannot_tell"),  # a way the rule does not list
    ({"tube_open": ["7 h ago", "1 h ago"], "tube_shut": ["10 min ago"]}, "tube_open", "not_met"),
    ({"effort": [["2 h ago", "leak"]]}, "effort_seen", "not_met"),
    ({"effort": [["12 h ago", "leak"]]}, "effort_seen", "cannot_tell"),
    ({"effort": [["12 h ago", "leak"], ["9 h ago", "no_leak"]]}, "effort_seen", "cannot_tell"),
    ({"effort": [["2 h ago", "leak"], ["2 h ago", "no_leak"]]}, "effort_seen", "not_met"),  # at once: a leak was seen
    ({"effort": [["2 h ago", "no_leak"], ["1 h ago", "leak"]]}, "effort_seen", "not_met"),
    ({"veto": [["1 h ago", "surgical emphysema rose"]]}, "veto_1", "cannot_tell"),
]  # fmt: skip


@pytest.mark.parametrize(("given", "guard", "word"), ALONE, ids=[f"{g} {w}: {n}" for n, (_, g, w) in enumerate(ALONE)])
def test_each_guard_and_veto_blocks_alone(given: dict[str, Any], guard: str, word: str) -> None:
    found = judge(RULE, **{**QUIET, **given})
    said = parts(found)
    assert said.pop(guard) == word
    assert set(said.values()) <= {"met", "not_applicable"}
    assert found.overall.word == word


def test_a_guard_that_blocks_says_what_would_settle_it() -> None:
    for given, guard, _ in ALONE:
        found = judge(RULE, **{**QUIET, **given})
        (one,) = (part for part in found.guards if part.id == guard)
        assert one.needs, guard


SHUT = {"tube_open": ["20 h ago", "7 h ago", "1 h ago"], "tube_shut": ["3 h ago"]}  # and open again an hour ago


@pytest.mark.parametrize(("tried", "word"), [("2 h ago", "not_met"), ("30 min ago", "met"), ("4 h ago", "met")])
def test_a_cough_behind_a_tube_shown_shut_tells_nothing_of_the_leak(tried: str, word: str) -> None:
    """Nothing can come through a shut tube (physics): a leak seen before has to be tried again by an open one."""
    found = judge(RULE, **QUIET, **SHUT, effort=[["5 h ago", "leak"], [tried, "no_leak"]])
    assert parts(found)["effort_seen"] == word


def test_a_leak_seen_with_effort_counts_wherever_the_tube_stood() -> None:
    found = judge(RULE, **QUIET, **SHUT, effort=[["2 h ago", "leak"]])
    assert parts(found)["effort_seen"] == "not_met"


def test_a_rule_that_never_saw_a_leak_with_effort_says_that_the_log_cannot_show_a_cough() -> None:
    (effort,) = (part for part in judge(RULE, **QUIET).guards if part.id == "effort_seen")
    assert effort.status is Status.NOT_APPLICABLE
    assert "cannot show a single cough" in effort.note


def test_the_leak_on_effort_is_its_own_answer_beside_a_clause_that_holds() -> None:
    """Cerfolio 1998 (read): a leak on forced expiration only has not stopped."""
    found = judge(RULE, air_leak=[["20 h", "0 mL/min"]], effort=[["1 h ago", "leak"]])
    assert parts(found)["air"] == "met"
    assert found.overall is Status.NOT_MET


def test_a_step_down_clause_asks_for_no_guard_and_makes_no_removal_verdict() -> None:
    from behaviour.protocol.a_rule import one_clause

    rule = one_clause('measure = "spo2"\nis = "at_least"\nlimit = "92 %"\nwithin = "4 h"', "step_down")
    found = judge(rule, spo2=[["1 h ago", "95 %"]])
    assert found.guards == ()
    assert found.overall is Status.NOT_APPLICABLE
    assert found.step_down_overall is Status.MET
