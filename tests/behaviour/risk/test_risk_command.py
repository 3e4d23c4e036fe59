"""`slackwater risk`: exits, text and JSON, cautions, and what it refuses."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from behaviour.risk.a_patient import WHOLE
from end_to_end.the_command import called
from frame.source import ROOT
from frame.test_words import BANNED
from slackwater.risk.inputs import KEYS
from slackwater.risk.prolonged import DEFINITIONS
from slackwater.risk.published import CAUTIONS, NOT_COMPUTED, PUBLISHED

FILE = "[patient]\n" + "".join(f"{name} = {json.dumps(value)}\n" for name, value in WHOLE.items())
PAGE = " ".join((ROOT / "docs" / "risk.md").read_text("utf-8").split())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "patient.toml").write_text(FILE)
    return tmp_path


def test_all_told_is_exit_0(folder: Path) -> None:
    ran = called("risk", "patient.toml", folder=folder)
    assert (ran.code, ran.err) == (0, "")
    for paper in PUBLISHED.values():
        assert paper.name in ran.out
        assert paper.outcome.text in " ".join(ran.out.split())


def test_nothing_known_lists_each_score_with_what_it_needs(folder: Path) -> None:
    ran = called("risk", folder=folder)
    assert ran.code == 3
    text = " ".join(ran.out.split())
    for paper in PUBLISHED.values():
        assert f"cannot tell: needs {', '.join(KEYS[key].label for key in paper.needs)}" in text
        assert ", ".join(paper.needs) in text


@pytest.mark.parametrize("changed", [{"resection": "sleeve"}, {"fev1_percent": 75}])
def test_one_score_that_is_not_told_is_exit_3(folder: Path, changed: dict[str, str | float]) -> None:
    lines = "".join(f"{name} = {json.dumps(value)}\n" for name, value in (WHOLE | changed).items())
    ran = called("risk", "-", "--score", "lee", "--score", "seder", folder=folder, stdin=f"[patient]\n{lines}".encode())
    assert ran.code == 3
    only = called("risk", "patient.toml", "--score", "lee", folder=folder)
    assert only.code == 0
    assert PUBLISHED["seder"].name not in only.out


def test_an_answer_on_the_command_line_counts(folder: Path) -> None:
    ran = called("risk", "--score", "lee", "--set", "adhesions=yes", "--set", "resection=wedge", folder=folder)
    assert "cannot tell: needs FEV1 (% of predicted), DLCO (% of predicted)" in ran.out


def test_refused_input_is_one_line_and_exit_2(folder: Path) -> None:
    for arguments, said in (
        (("--set", "fev1=72"), "--set fev1: is not a key of a score"),
        (("nowhere.toml",), "nowhere.toml: cannot be read"),
        (("--score", "best"), "no score is called 'best'"),
        (("--score", "attaar"), "attaar: weights not seen"),
    ):
        ran = called("risk", *arguments, folder=folder)
        assert (ran.code, ran.out, ran.err.count("\n")) == (2, "", 1)
        assert said in ran.err


def test_cautions_stand_under_every_answer(folder: Path) -> None:
    for arguments in ((), ("patient.toml",), ("--score", "lee")):
        text = " ".join(called("risk", *arguments, folder=folder).out.split())
        for caution in CAUTIONS.values():
            assert caution in text
        for paper in NOT_COMPUTED:
            assert f"{paper.name}: {paper.why}" in text
    for piece in ("not a chance for this patient", "ever a rule for removal", "under local policy", "never 'no'"):
        assert piece in " ".join(CAUTIONS.values())


def test_text_and_json_say_the_same(folder: Path) -> None:
    for arguments in (("patient.toml",), ("--set", "resection=pneumonectomy"), ()):
        text = called("risk", *arguments, folder=folder)
        ran = called("risk", *arguments, "--json", folder=folder)
        assert text.code == ran.code
        found = json.loads(ran.out)
        assert [caution["id"] for caution in found["cautions"]] == list(CAUTIONS)
        for score in found["scores"]:
            assert score["answer"] in " ".join(text.out.split())
            assert (score["status"] == "told") is (score["points"] is not None)
            for key in score:
                assert f"`{key}`" in PAGE, key


def test_a_rivera_index_is_printed_without_a_percentage(folder: Path) -> None:
    text = called("risk", "patient.toml", "--score", "rivera", folder=folder).out.partition("not computed")[0]
    assert ">7 days" in text
    assert "%" not in text


def test_the_keys_are_listed(folder: Path) -> None:
    text = called("risk", "--keys", folder=folder).out
    listed = json.loads(called("risk", "--keys", "--json", folder=folder).out)
    assert [one["key"] for one in listed] == [line.split()[0] for line in text.splitlines()] == list(KEYS)


def test_help_has_an_example(folder: Path) -> None:
    ran = called("risk", "--help", folder=folder)
    assert ran.code == 0
    assert "slackwater risk patient.toml --set" in ran.out


def test_no_line_is_wider_than_a_page_and_no_banned_word_is_said(folder: Path) -> None:
    for arguments in ((), ("patient.toml",), ("--help",)):
        text = called("risk", *arguments, folder=folder).out
        assert all(len(line) <= 96 for line in text.splitlines())
        for sentence in re.split(r"(?<=[.:;])\s", text):
            assert not [word for word, pattern in BANNED.items() if pattern.search(sentence)], sentence


def test_the_page_names_every_score_key_word_and_definition() -> None:
    for paper in PUBLISHED.values():
        assert f"`{paper.id}`" in PAGE
        assert paper.outcome.text in PAGE
    for paper in NOT_COMPUTED:
        assert paper.name in PAGE
    for key in KEYS.values():
        assert f"`{key.name}`" in PAGE
        for word in key.words:
            assert f"`{word}`" in PAGE, word
    for definition in DEFINITIONS:
        assert definition.text in PAGE
