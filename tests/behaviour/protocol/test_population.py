"""Whom a rule is for: outside it gives no answer, and what nobody recorded is never taken for 'no'."""

from __future__ import annotations

from typing import Any

import pytest

from behaviour.protocol.a_rule import TEXT, judge, load
from slackwater.protocol import Evaluation, Status
from slackwater.protocol.facts import Facts
from slackwater.protocol.population import judge_population
from slackwater.protocol.rule import Applies

RULE = load(TEXT)
QUIET = {
    "air_leak": [["30 h", "0 mL/min"]],
    "fluid_output": [["30 h", "10 mL"]],
    "fluid_appearance": [["2 h ago", "serous"]],
    "chest_xray": [["2 h ago", "expanded"]],
    "spo2": [["1 h ago", "97 %"]],
}


def patient(**said: Any) -> Evaluation:
    return judge(
        RULE, **{**QUIET, "fluid_output": [["22 h", "10 mL"], ["8 h", "10 mL"]]}, patient={"weight_kg": 70, **said}
    )


def test_a_patient_inside_gets_an_answer() -> None:
    found = patient()
    assert found.overall is Status.MET
    assert found.population.status is Status.MET
    assert found.population.reasons == ()


OUTSIDE = [
    ({"indication": "trauma"}, "indication is trauma"),
    ({"space": "mediastinal"}, "space of the drain is mediastinal"),
    ({"age_years": 15}, "age 15 is under 16"),
    ({"age_years": 91}, "age 91 is over 90"),
    ({"operation_kind": "pneumonectomy"}, "excluded: pneumonectomy"),
    ({"breathing": "invasive"}, "excluded: invasive"),
]


@pytest.mark.parametrize(("said", "reason"), OUTSIDE, ids=[r for _, r in OUTSIDE])
def test_outside_every_clause_and_the_whole_are_not_applicable_with_the_reason(
    said: dict[str, Any], reason: str
) -> None:
    """haz-D06, haz-D07."""
    found = patient(**said)
    assert found.overall is Status.NOT_APPLICABLE
    assert any(reason in text for text in found.population.reasons)
    assert {part.status for part in (*found.criteria, *found.step_down)} == {Status.NOT_APPLICABLE}
    assert all(part.value is None for part in found.criteria), "a number beside a refusal would be read as an answer"
    assert found.met_since_ms is None
    assert found.first_met_ms is None


UNKNOWN = ["indication", "space", "age_years", "operation_kind", "breathing", "operation_end"]


@pytest.mark.parametrize("key", UNKNOWN)
def test_what_nobody_recorded_holds_the_whole_at_cannot_tell(key: str) -> None:
    found = patient(**{key: "unknown"})
    assert found.overall is Status.CANNOT_TELL
    assert found.population.status is Status.CANNOT_TELL
    assert any("not recorded" in text for text in found.population.reasons)


def test_outside_outweighs_unknown() -> None:
    found = patient(age_years=12, breathing="unknown")
    assert found.overall is Status.NOT_APPLICABLE


@pytest.mark.parametrize("age", [16, 90])
def test_the_age_limits_themselves_lie_inside(age: int) -> None:
    assert patient(age_years=age).overall is Status.MET


def test_after_pneumonectomy_there_is_no_verdict_whatever_the_rule_says_and_escalation_goes_on() -> None:
    """CICM model answer 2009 (read): a hard stop, also where a rule forgot to exclude it."""
    rule = load(TEXT.replace('excludes = ["pneumonectomy", "invasive"]', "excludes = []"))
    found = judge(
        rule,
        **QUIET,
        clamped_for=[["0 min ago", "31 min"]],
        patient={"weight_kg": 70, "operation_kind": "pneumonectomy"},
    )
    assert found.overall is Status.NOT_APPLICABLE
    assert found.step_down_overall is Status.NOT_APPLICABLE
    assert {part.status for part in found.criteria} == {Status.NOT_APPLICABLE}
    assert "no added suction" in found.population.reasons[0]
    assert {part.id: part.status for part in found.escalation}["clamp"] is Status.MET


def about(**said: str | float | None) -> Facts:
    facts = Facts(now_ms=0, grid_start_ms=0, length=0, data_until_ms=None, connected_ms=None)
    return Facts(**{**facts.__dict__, "about": {key.replace("__", "."): value for key, value in said.items()}})


@pytest.mark.parametrize("word", ["empyema", "trauma", "pneumothorax_primary"])
def test_an_excluded_indication_that_nobody_recorded_is_unknown_and_not_no(word: str) -> None:
    applies = Applies(excludes=(word,))
    inside = about(indication="effusion", operation__kind="none", breathing="own", drain__space="pleural")
    assert judge_population(applies, inside).status is Status.MET
    unsaid = about(operation__kind="none", breathing="own", drain__space="pleural")
    assert judge_population(applies, unsaid).status is Status.CANNOT_TELL
    outside = about(indication=word, operation__kind="none", breathing="own", drain__space="pleural")
    assert judge_population(applies, outside).status is Status.NOT_APPLICABLE


def test_a_rule_without_applies_is_for_anyone() -> None:
    assert judge_population(Applies(), about()).status is Status.MET
