"""What programs read is what the page, the terminal and the assessment's document say.

Source of every expected value: the same record asked by `slackwater record`, `slackwater assess` and the page.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from behaviour.web.api.a_program import AT, CHARTED, LEAKING, LOGGED, NO_LUNG, Program, a_program, errors
from end_to_end.the_command import called
from slackwater.assessment.schema import schema
from ward.a_board import settled

NEEDED = {"drain", "side", "site", "as_of", "data_until", "age_s", "protocol", "status", "cautions"}


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Program]:
    with a_program(tmp_path_factory.mktemp("ward")) as one:
        yield one


def terminal(program: Program, *words: str) -> Any:
    folder = program.record.place.folder
    ran = called(*words, "--json", "--record", str(folder), folder=folder)
    assert ran.code in (0, 3), ran.err
    return json.loads(ran.out)


@pytest.mark.parametrize("drain", [LOGGED, LEAKING, CHARTED, NO_LUNG])
def test_a_course_is_what_the_terminal_shows(program: Program, drain: str) -> None:
    assert program.course(drain) == terminal(program, "record", "show", drain)


def test_the_list_is_what_the_terminal_lists(program: Program) -> None:
    found = program.told("drains")
    assert found.pop("cautions") and found == terminal(program, "record", "list")


@pytest.mark.parametrize("drain", [LOGGED, NO_LUNG])
@pytest.mark.parametrize("at", [AT, "2041-03-07T03:00:00+01:00"])
def test_an_assessment_is_the_document_of_the_terminal(program: Program, drain: str, at: str) -> None:
    found = program.told(f"drains/{drain}/assessment", at=at)
    assert found["assessment"] == terminal(program, "assess", "--drain", drain, "--at", at)
    jsonschema.validate(found["assessment"], schema())
    whole = found["assessment"]
    assert (found["status"], found["data_until"], found["cautions"]) == (
        whole["overall"], whole["data_until"], whole["cautions"],
    )  # fmt: skip
    rule = whole["protocol"]
    assert found["protocol"] == (None if rule is None else {name: rule[name] for name in ("name", "version", "sha256")})


def test_the_minute_table_is_that_of_the_terminal(program: Program, tmp_path: Path) -> None:
    target = tmp_path / "minutes.csv"
    terminal(program, "assess", "--drain", LOGGED, "--at", AT, "--minutes", str(target))
    answer = program.get(f"drains/{LOGGED}/minutes", at=AT, format="csv")
    assert answer.text == target.read_text()
    assert answer.headers["x-data-until"] and "cau-C5" in answer.headers["x-cautions"]
    columns = program.told(f"drains/{LOGGED}/minutes", at=AT)["columns"]
    assert list(columns) == answer.text.splitlines()[0].split(",")
    assert {len(column) for column in columns.values()} == {len(answer.text.splitlines()) - 1}


def test_a_drain_without_a_log_has_every_minute_and_each_is_missing(program: Program) -> None:
    found = program.told(f"drains/{CHARTED}/minutes", at=AT)
    assert found["data_until"] is None and found["age_s"] is None
    assert set(found["columns"]["reason"]) == {"missing"} and set(found["columns"]["covered"]) == {0.0}
    rows = program.get(f"drains/{CHARTED}/minutes", at=AT, format="csv").text.splitlines()
    assert len(rows) - 1 == len(found["columns"]["minute"]) > 0


def test_the_round_says_what_the_page_says(program: Program) -> None:
    settled(program.bedside.app, program.client)
    found, page = program.told("round"), program.client.get("/").text
    assert [one["drain"] for one in found["lines"]] == [
        part.split('"')[0] for part in page.split('<li class="tile" id="d-')[1:]
    ]
    for line in found["lines"]:
        tile = page.split(f'id="d-{line["drain"]}"')[1].split("</li>")[0]
        assert line["leak"]["word"] in tile and line["rule_name"] in tile
        assert line["status"] == program.told(f"drains/{line['drain']}/assessment")["status"]
        assert {"protocol", "data_until", "age_s"} <= set(line)
    assert {one["id"] for one in found["cautions"]} >= {"cau-C2", "cau-C3", "cau-C5"}


def test_what_is_too_old_for_the_rule_is_gone_from_the_round(program: Program) -> None:
    from slackwater.report.line import RoundLine, Said, Tube
    from slackwater.web.line_shapes import line_shape

    line = RoundLine(
        Tube("key", "W-1", "1"), 0, data_until_ms=0, live_until_ms=60_000, leak=Said("■", "leaking", "120 mL/min"),
        rule=Said("○", "not met"), overall="not_met", judged_by=("rule", "1", "0" * 64),
    )  # fmt: skip
    young, old = line_shape(line, 59_000, True), line_shape(line, 60_000, True)
    assert young.leak is not None and young.status == "not_met" and young.age_s == 59
    assert not {"leaking", "below", "waiting"} & set(old.statuses) and "cannot_tell" in old.statuses
    assert old.leak is None and old.rule is None and old.status == "cannot_tell" and old.old
    unbelieved = line_shape(line, 1000, False)
    assert unbelieved.leak is None and unbelieved.status == "cannot_tell"


@pytest.mark.parametrize("part", ["", "/assessment", "/minutes", "/history", "/bedside", "/sheets"])
def test_every_answer_about_a_drain_says_on_what_it_rests_and_carries_cautions(program: Program, part: str) -> None:
    for drain in (LOGGED, CHARTED):
        found = program.told(f"drains/{drain}{part}")
        assert set(found) >= NEEDED
        assert {one["id"] for one in found["cautions"]} >= {"cau-C1", "cau-C2", "cau-C3", "cau-C4", "cau-C9", "cau-C10"}


def test_looking_back_is_what_was_known_then(program: Program) -> None:
    drain = f"drains/{LOGGED}"
    assert "not in the record then" in program.get(drain, known="2041-03-01T00:00:00Z").json()["detail"]
    assert "has not come yet" in program.get(f"{drain}/assessment", at="2041-03-08T00:00:00Z").json()["detail"]
    assert "offset" in errors(program.get(f"{drain}/assessment", at="2041-03-07T09:00"))["at"]


def test_what_fails_in_the_judges_is_cannot_tell_and_never_the_last_answer(
    program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert program.told(f"drains/{LOGGED}/assessment")["assessment"] is not None

    async def broken(*_: Any) -> Any:
        raise ZeroDivisionError

    monkeypatch.setattr(program.bedside.app.state.judges, "ask", broken)
    found = program.told(f"drains/{LOGGED}/assessment")
    assert found["assessment"] is None and found["status"] == "cannot_tell" and "paper checklist" in found["failed"]
    assert found["cautions"]


def test_nothing_anywhere_is_a_boolean_called_ready(program: Program) -> None:
    document = program.told("openapi.json")
    named = [name for part in document["components"]["schemas"].values() for name in part.get("properties", {})]
    assert "ready" not in named and "cautions" in named
    assert all(path.startswith("/api/v1/") for path in document["paths"])


def test_units_rules_and_cards_are_those_of_the_pages(program: Program) -> None:
    rules = program.told("protocols")["protocols"]
    assert {one["name"] for one in rules} == {"air-50-8h", "strict-local"}
    one = program.told(f"protocols/{rules[0]['sha256']}")
    page = program.client.get(f"/protocols/{rules[0]['sha256']}").text
    assert one["removal"] and all(clause["id"].replace("_", " ") in page for clause in one["removal"])
    tried = program.told(f"protocols/{rules[0]['sha256']}/dry-run")
    assert {one["name"] for one in tried["drains"]} == {"W-1/1", "W-2/1", "W-3/1", "W-4/1", "W-5/1"}
    assert [one["card"] for one in program.told("cards")["cards"]] == ["came_apart", "fell_out", "distress"]
    assert program.told("units")["units"] == []


def test_reading_is_a_look_as_on_the_page(program: Program) -> None:
    program.told(f"drains/{LOGGED}/assessment")
    program.as_("audit_lead")
    try:
        looks = program.told("looks")["looks"]
        assert any(one["name"] == "Invented nurse" and one["what"] == "drain" for one in looks)
        assert program.get("people").status_code == 403
    finally:
        program.as_("nurse")
