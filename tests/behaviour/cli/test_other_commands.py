"""The commands beside assess: layouts drafted and checked, rules listed, shown and tested, stays simulated."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import pytest

from end_to_end import a_ward_folder as ward
from end_to_end.the_command import called, files_in
from slackwater.cli.view import answer
from slackwater.protocol.shipped import shipped_names
from slackwater.simulate import scenario_names

ANSWERS = (
    "--set", "time.zone=+00:00", "--set", "time.marks=end", "--set", "flow.statistic=mean", "--set", "flow.unit=mL/min",
    "--set", "flow.column=Air", "--set", "pressure.column=Line", "--set", "pressure.unit=kPa",
    "--set", "pressure.suction_is=positive", "--set", "time.format=%d.%m.%Y %H:%M:%S",
)  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return ward.write(tmp_path)


# --- layout ---------------------------------------------------------------------------------------


def test_a_draft_asks_what_the_header_leaves_open_and_is_not_accepted(folder: Path) -> None:
    ran = called("layout", "propose", "log.csv", "--out", "draft.toml", folder=folder)
    assert ran.code == 0
    assert "? time.zone:" in ran.out
    assert "answer with: --set" in ran.out
    refused = called("assess", "log.csv", "--layout", "draft.toml", folder=folder)
    assert refused.code == 2
    assert "is not settled yet" in refused.err


def test_the_questions_come_as_json_too(folder: Path) -> None:
    found = json.loads(called("layout", "propose", "log.csv", "--out", "draft.toml", "--json", folder=folder).out)
    assert found["layout"] == "draft.toml"
    assert {"key", "question", "choices", "seen"} == set(found["questions"][0])


def test_without_out_the_draft_lies_beside_the_log(folder: Path) -> None:
    called("layout", "propose", "log.csv", folder=folder)
    assert (folder / "log.csv.layout.toml").exists()


def test_a_draft_of_standard_input_goes_to_standard_output_and_its_questions_to_stderr(folder: Path) -> None:
    before = files_in(folder)
    ran = called("layout", "propose", "-", folder=folder, stdin=ward.log().encode())
    assert "unconfirmed = [" in ran.out
    assert "? time.zone" in ran.err
    assert files_in(folder) == before


def test_a_draft_with_every_question_answered_is_a_layout(folder: Path) -> None:
    drafted = called("layout", "propose", "log.csv", "--out", "ours.toml", *ANSWERS, folder=folder)
    assert "unconfirmed = []" in (folder / "ours.toml").read_text(), drafted.out
    ran = called("assess", "log.csv", "--layout", "ours.toml", "--json", folder=folder)
    assert ran.code in (0, 3), ran.err


def test_that_there_is_no_pressure_is_remembered_by_the_draft(folder: Path) -> None:
    (folder / "bare.csv").write_text("t,F,P\n2041-05-06T08:00:00Z,10,-8\n2041-05-06T08:01:00Z,10,-8\n")
    propose = ("layout", "propose", "bare.csv")
    assert "? pressure.column:" in called(*propose, "--set", "flow.column=F", folder=folder).out
    assert "pressure" not in called(*propose, "--set", "pressure.column=none", folder=folder).out
    rest = ("--set", "flow.unit=mL/min", "--set", "flow.statistic=mean", "--set", "time.marks=end")
    assert "nothing left open" in called(*propose, *rest, folder=folder).out
    assert called("assess", "bare.csv", "--layout", "bare.csv.layout.toml", folder=folder).code in (0, 3)
    ran = called(*propose, "--set", "pressure.unit=kPa", folder=folder)
    assert ran.code == 2
    assert "pressure.column" in ran.err


def test_a_packed_log_is_named_as_such(folder: Path) -> None:
    (folder / "log.csv.gz").write_bytes(gzip.compress(ward.log().encode()))
    for words in (
        ["layout", "propose", "log.csv.gz"], ["layout", "check", "layout.toml", "log.csv.gz"], ["assess", "log.csv.gz"],
    ):  # fmt: skip
        ran = called(*words, folder=folder)
        assert ran.code == 2
        assert "log.csv.gz: is compressed (gzip). Unpack it first" in ran.err


def test_a_check_shows_the_rows_as_understood(folder: Path) -> None:
    ran = called("layout", "check", "layout.toml", "log.csv", "--rows", "3", folder=folder)
    assert ran.code == 0
    assert f"{ward.ROWS} rows read = {ward.ROWS} used + 0 refused" in ran.out
    assert "2041-05-06 08:01:00" in ran.out
    assert "-10.40" in ran.out  # 1.02 kPa of suction, in cmH2O
    assert "suction is shown negative" in ran.out
    found = json.loads(called("layout", "check", "layout.toml", "log.csv", "--rows", "3", "--json", folder=folder).out)
    assert [row["line"] for row in found["rows"]] == [4, 5, 6]


def test_the_shipped_layouts_are_listed(folder: Path) -> None:
    assert "plain" in called("layout", "list", folder=folder).out.split()
    assert {"name": "plain"} in json.loads(called("layout", "list", "--json", folder=folder).out)


# --- protocol -------------------------------------------------------------------------------------


def test_the_shipped_rules_are_listed_with_their_status(folder: Path) -> None:
    text = called("protocol", "list", folder=folder).out
    for name in shipped_names():
        assert any(line.startswith(name) and " example " in line for line in text.splitlines()), name
    assert {rule["name"] for rule in json.loads(called("protocol", "list", "--json", folder=folder).out)} == set(
        shipped_names()
    )


@pytest.mark.parametrize("name", shipped_names())
def test_a_shipped_rule_can_be_shown_checked_and_tested(name: str, folder: Path) -> None:
    assert "It supports decisions" in called("protocol", "show", name, folder=folder).out
    checked = json.loads(called("protocol", "check", name, "--json", folder=folder).out)
    assert len(checked["sha256"]) == 64
    assert called("protocol", "test", name, folder=folder).code == 0


def test_a_rule_is_shown_as_json_with_its_sentences_and_sources(folder: Path) -> None:
    shown = json.loads(called("protocol", "show", "air-50-8h", "--json", folder=folder).out)
    assert shown["status"] == "example"
    (air,) = (one for one in shown["removal"] if one["id"] == "air")
    assert "50 mL/min" in air["says"]
    assert len(shown["guards"]) == 2


def test_the_cases_of_a_rule_from_standard_input_are_named(folder: Path) -> None:
    (folder / "some.toml").write_text(
        '[[case]]\nname = "leaks"\ngiven = { air_leak = [["2 h", "400 mL/min"]] }\nexpect = { air = "not_met" }\n'
    )
    rule = ward.RULE.encode()
    refused = called("protocol", "test", "-", folder=folder, stdin=rule)
    assert (refused.code, refused.err.count("\n")) == (2, 1)
    assert "--cases FILE" in refused.err
    assert called("protocol", "test", "-", "--cases", "some.toml", folder=folder, stdin=rule).code == 0
    assert "can be read once" in called("protocol", "test", "-", "--cases", "-", folder=folder, stdin=rule).err


def test_a_case_that_comes_out_otherwise_is_exit_1(folder: Path) -> None:
    (folder / "rule.cases.toml").write_text(
        '[[case]]\nname = "wrong on purpose"\n'
        'given = { air_leak = [["2 h", "400 mL/min"]] }\nexpect = { air = "met" }\n'
    )
    ran = called("protocol", "test", "rule.toml", folder=folder)
    assert ran.code == 1
    assert "DIFFERS" in ran.out
    assert json.loads(called("protocol", "test", "rule.toml", "--json", folder=folder).out)[0]["passed"] is False


def test_the_measures_are_listed(folder: Path) -> None:
    names = {measure["name"] for measure in json.loads(called("protocol", "measures", "--json", folder=folder).out)}
    assert {"air_leak", "fluid_output", "chest_xray", "hours_since"} <= names
    assert "air_leak" in called("protocol", "measures", folder=folder).out


def test_a_rule_may_come_from_standard_input(folder: Path) -> None:
    ran = called("protocol", "check", "-", folder=folder, stdin=ward.RULE.encode())
    assert ran.code == 0
    assert "invented-50" in ran.out


# --- simulate -------------------------------------------------------------------------------------


def test_the_scenarios_are_listed(folder: Path) -> None:
    assert tuple(called("simulate", "--list", folder=folder).out.split()) == scenario_names()


def test_a_cohort_is_one_folder_each_and_the_same_for_the_same_seed(folder: Path) -> None:
    for out in ("one", "two"):
        assert called("simulate", "--cohort", "2", "--seed", "5", "--out", out, folder=folder).code == 0
    first, second = files_in(folder / "one"), files_in(folder / "two")
    assert first == second
    assert len({name.split("/")[0] for name in first}) == 2


# --- how an answer lies on a terminal -------------------------------------------------------------


def test_no_line_of_an_answer_is_wider_than_a_page(folder: Path) -> None:
    for line in called("assess", *ward.ALL, folder=folder).out.splitlines():
        assert len(line) <= 96, line


def test_what_would_settle_a_clause_uses_the_width_there_is(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(answer, "WIDE", 92)  # it is taken from the terminal, which tests may not have
    text = called("assess", *ward.ALL, folder=folder).out
    arrow = text.index("→ the tube shown open within 4 h of the start")
    assert len(text[arrow:].splitlines()[0]) > 40
