"""The shipped exercises: one for every doubt and pattern the code knows, each sound, each truth the simulator's own."""

from __future__ import annotations

import ast
import re
from collections import Counter
from importlib.resources import files
from pathlib import Path

import pytest

from property.quick_and_many import DEEP
from slackwater.leak.filter.pattern import PATTERNS
from slackwater.leak.words import REASONS
from slackwater.teach import draw, shipped_exercises
from slackwater.teach.check import check
from slackwater.teach.exercise import kinds
from slackwater.teach.facts import CONDITIONS

ALL = shipped_exercises()
DOCS = (Path(__file__).parents[3] / "docs" / "practice.md").read_text("utf-8")


def test_every_doubt_has_an_exercise() -> None:
    """The list is the code's own: a doubt that is added needs an exercise."""
    assert set(REASONS[1:]) <= {one for exercise in ALL.values() for one in exercise.shows}


def test_every_pattern_has_an_exercise() -> None:
    assert set(PATTERNS) <= {one for exercise in ALL.values() for one in exercise.shows}


def test_every_kind_of_question_is_asked() -> None:
    assert {exercise.kind.name for exercise in ALL.values()} == set(kinds())


def test_every_trap_is_practised_or_the_page_says_why_not() -> None:
    """docs/practice.md lists the traps: with their exercises, or with the reason why no picture can show them."""
    told = {int(number): rest for number, rest in re.findall(r"^\| (\d+) \| (.+) \|$", DOCS, re.M)}
    assert sorted(told) == list(range(1, 31))
    for number, rest in told.items():
        shown = {exercise.name for exercise in ALL.values() if number in exercise.traps}
        named = set(re.findall(r"`([a-z0-9-]+)`", rest)) & set(ALL)
        assert named == shown, f"trap {number}"


def test_an_exercise_may_have_more_than_one_answer() -> None:
    """Or its name would be the answer. Each has drains of at least two truths."""
    for exercise in ALL.values():
        assert len(set(exercise.check.values())) >= 2, exercise.name


def test_the_charge_is_judged_by_the_planner_s_margin() -> None:
    """protocol [trip] of the shipped rule: 45 min planned need 120; one and a half ways are not enough."""
    one = ALL["walk-to-the-film"]
    assert one.margin is not None and one.walk_min == 45.0
    assert one.margin.needed_min(one.walk_min) == 120.0
    for number in range(1, 25):
        facts = draw(one, number).facts(0)
        wanted = "no" if facts.lasts_min < 45.0 else "barely" if facts.lasts_min < 120.0 else "yes"
        assert draw(one, number).truth(0) == wanted
        assert not 60.0 < facts.lasts_min < 120.0 or wanted == "barely"


@pytest.mark.parametrize(
    ("name", "clauses"),
    [("a-days-fluid", ("fluid",)), ("by-the-kilogram", ("fluid",)), ("which-film", ("film", "oxygen", "distress"))],
)
def test_where_a_clause_is_asked_its_own_verdict_agrees(name: str, clauses: tuple[str, ...]) -> None:
    """The truth is counted from the rows as they were made; the rule's verdict from the chart as it was read."""
    exercise = ALL[name]
    for number, answer in exercise.check.items():
        drawn = draw(exercise, number)
        found = drawn.known_at(0).evaluation
        assert found is not None
        status = {one.id: one.status.word for one in found.criteria if one.id in clauses}
        assert set(status) == set(clauses)
        if exercise.kind.name == "fluid":
            assert set(status.values()) == {answer}, f"draw {number}, case {drawn.case.id}"
        else:
            assert ("cannot_tell" in status.values()) is (answer != "current"), f"draw {number}: {status}"


def test_every_fact_is_used() -> None:
    used = {name for one in ALL.values() for ways in one.truth.values() for way in ways for name in way}
    assert set(CONDITIONS) == used


@pytest.mark.parametrize(("file", "may"), [("charted.py", set()), ("facts.py", {"teach"})])
def test_truth_knows_nothing_of_what_we_conclude(file: str, may: set[str]) -> None:
    """Both read the simulator and the rule's words; they may not import leak, assessment, episode or a log."""
    source = (files("slackwater.teach") / file).read_text("utf-8")
    modules = {
        node.module for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("slackwater.")
    }  # fmt: skip
    assert {module.split(".")[1] for module in modules} == {"errors", "protocol", "simulate"} | may
    assert {module for module in modules if ".teach" in module} <= {"slackwater.teach.charted"}


@pytest.mark.parametrize("name", ["top-of-the-scale", "walk-to-the-film"])
def test_two_of_them_are_sound(name: str) -> None:
    assert [one.fault for one in check(ALL[name])] == [""] * len(ALL[name].check)


@pytest.mark.slow
@pytest.mark.parametrize("name", ALL)
def test_each_is_sound_and_shows_what_it_says(name: str) -> None:
    """`check` by its own file; and in those draws the tool's doubts and patterns are those the file names."""
    exercise = ALL[name]
    assert [one.fault for one in check(exercise)] == [""] * len(exercise.check)
    for number in exercise.check:
        drawn = draw(exercise, number)
        leak = drawn.known_at(len(drawn.moments_ms) - 1).leak_trace
        assert leak is not None
        seen = Counter(REASONS[code] for code in leak.reason.tolist() if code)
        missing = set(drawn.case.shows) - set(seen) - {leak.pattern.word}
        assert not missing, f"draw {number}, case {drawn.case.id}: {missing} not in {dict(seen)}, {leak.pattern.word}"


@pytest.mark.slow
def test_the_truth_of_a_case_is_the_same_in_every_draw() -> None:
    """Eight draws each, in the deep run twenty: what [check] says of the named ones holds of the others."""
    for exercise in ALL.values():
        told: dict[str, set[str]] = {}
        for number in range(1, 21 if DEEP else 9):
            drawn = draw(exercise, number)
            told.setdefault(drawn.case.id, set()).update(drawn.truth(k) for k in range(len(drawn.moments_ms)))
        assert all(len(answers) == 1 for answers in told.values()), f"{exercise.name}: {told}"
