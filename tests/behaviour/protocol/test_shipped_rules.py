"""The shipped examples: what each must carry, and every case beside it."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib.resources import files

import pytest

from slackwater.errors import ProtocolError
from slackwater.protocol import Status
from slackwater.protocol.cases import CaseResult, run_cases
from slackwater.protocol.shipped import shipped, shipped_cases, shipped_names

NAMES = (
    "air-20-8h",
    "air-50-8h",
    "cardiac-150-4h",
    "child-6mlkg-8h",
    "fluid-300",
    "fluid-450",
    "strict-local",
)


@cache
def results(name: str) -> tuple[CaseResult, ...]:
    return run_cases(shipped(name), shipped_cases(name), f"{name}.cases.toml")


ALL = [pytest.param(result, id=f"{name}: {result.name}") for name in NAMES for result in results(name)]


@pytest.mark.parametrize("result", ALL)
def test_each_case_beside_a_rule_holds(result: CaseResult) -> None:
    assert result.passed, result.differences


def test_the_shipped_names_are_these() -> None:
    assert shipped_names() == NAMES


def test_an_unknown_name_is_refused_with_the_nearest_and_the_list() -> None:
    with pytest.raises(ProtocolError) as caught:
        shipped("air-50-8")
    assert "Did you mean 'air-50-8h'?" in str(caught.value)
    assert all(name in str(caught.value) for name in NAMES)


@pytest.mark.parametrize("name", ["../status", "air-50-8h.cases", "", "rules/air-50-8h"])
def test_a_name_cannot_reach_elsewhere(name: str) -> None:
    with pytest.raises(ProtocolError, match="no shipped rule is called"):
        shipped(name)


@pytest.mark.parametrize("name", NAMES)
class TestEachShippedRule:
    def test_is_an_example_under_its_own_name_and_approved_by_nobody(self, name: str) -> None:
        protocol = shipped(name)
        assert (protocol.name, protocol.status, protocol.approved_by) == (name, "example", "")
        assert protocol.file_name == f"{name}.toml"

    def test_has_both_guards_and_no_tolerance_of_gaps(self, name: str) -> None:
        protocol = shipped(name)
        assert protocol.tube_open is not None
        assert protocol.effort_seen is not None
        assert not protocol.guards_waived
        assert protocol.gaps_s == 0

    def test_names_a_source_for_the_rule_for_each_clause_and_each_due_item(self, name: str) -> None:
        protocol = shipped(name)
        parts = (*protocol.removal, *protocol.step_down, *protocol.escalation, *protocol.schedule)
        assert len(protocol.source) > 40
        assert all(part.source for part in parts), [part for part in parts if not part.source]

    def test_says_whom_it_is_for(self, name: str) -> None:
        applies = shipped(name).applies
        assert applies.indication
        assert applies.min_age_years is not None or applies.max_age_years is not None

    def test_gives_placeholders_not_words_to_act_on(self, name: str) -> None:
        for clause in shipped(name).escalation:
            assert clause.say.startswith("EXAMPLE TEXT: replace by the unit's own approved words")

    def test_has_cases_on_edges_missing_data_guards_and_population(self, name: str) -> None:
        found = results(name)
        overall = {result.evaluation.overall for result in found}
        assert len(found) >= 6
        assert overall >= {Status.MET, Status.NOT_MET, Status.CANNOT_TELL, Status.NOT_APPLICABLE}
        assert any("missing" in str(case["given"]) or "blank" in str(case["given"]) for case in cases(name))
        assert any(blocks_alone(result, "tube_open") for result in found)
        assert any(result.evaluation.population.reasons for result in found)


def cases(name: str) -> list[dict[str, object]]:
    listed = tomllib.loads(shipped_cases(name))["case"]
    assert isinstance(listed, list)
    return listed


def blocks_alone(result: CaseResult, guard: str) -> bool:
    """Everything else holds, and that one keeps the whole from being met."""
    found = result.evaluation
    rest = [part.status for part in (*found.guards, *found.criteria) if part.id != guard] + [found.population.status]
    blocking = [part.status for part in found.guards if part.id == guard]
    return (
        all(status in (Status.MET, Status.NOT_APPLICABLE) for status in rest)
        and blocking in ([Status.CANNOT_TELL], [Status.NOT_MET])
        and found.overall is blocking[0]
    )


@pytest.mark.parametrize("guard", ["tube_open", "effort_seen", "veto_1"])
@pytest.mark.parametrize("name", ["air-50-8h", "strict-local"])
def test_there_is_a_case_in_which_each_guard_alone_blocks(name: str, guard: str) -> None:
    """haz-D15: a check that exists but is not wired would leave this case met."""
    assert any(blocks_alone(result, guard) for result in results(name)), guard


@pytest.mark.parametrize("clause", ["air", "fluid", "appearance", "film", "oxygen", "distress", "day"])
def test_there_is_a_case_in_which_each_clause_alone_blocks(clause: str) -> None:
    found = [result.evaluation for result in results("strict-local")]
    assert {c.id for c in found[0].criteria} == {
        "air",
        "fluid",
        "appearance",
        "film",
        "oxygen",
        "distress",
        "day",
    }

    def alone(evaluation: object) -> bool:
        parts = {c.id: c.status for c in (*evaluation.criteria, *evaluation.guards)}  # type: ignore[attr-defined]
        own = parts.pop(clause)
        return own is Status.NOT_MET and all(s in (Status.MET, Status.NOT_APPLICABLE) for s in parts.values())

    assert any(alone(evaluation) for evaluation in found)


def test_the_cardiac_rule_shows_what_early_removal_cost() -> None:
    """EJCTS 2016;49:288-92 (read): adjusted RR 1.70 (1.24-2.33) for removal at midnight."""
    notes = shipped("cardiac-150-4h").notes
    assert "adjusted RR 1.70 (1.24-2.33)" in notes
    assert "midnight" in notes


def test_the_rule_of_20_says_where_its_hours_come_from() -> None:
    protocol = shipped("air-20-8h")
    assert "Brunelli" in protocol.source
    assert "this example joins them" in protocol.source


def test_the_invented_rule_says_so_aloud() -> None:
    protocol = shipped("strict-local")
    assert protocol.source.startswith("invented")
    assert protocol.notes.startswith("INVENTED EXAMPLE")


def test_every_number_of_a_clause_stands_in_its_file_beside_a_source_or_the_word_invented() -> None:
    for name in NAMES:
        for clause in (*shipped(name).removal, *shipped(name).escalation, *shipped(name).step_down):
            assert re.search(r"\b(19|20)\d\d\b|invented|as above|common practice, no source", clause.source), clause


def test_a_rule_file_reads_the_same_whatever_ends_its_lines() -> None:
    from slackwater.protocol import load_protocol

    data = (files("slackwater.protocol") / "rules" / "air-50-8h.toml").read_bytes()
    unix, windows = load_protocol(data, "a"), load_protocol(data.replace(b"\n", b"\r\n"), "a")
    assert unix.removal == windows.removal
    assert unix.sha256 != windows.sha256
