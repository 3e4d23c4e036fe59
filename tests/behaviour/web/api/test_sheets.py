"""Sheets for programs are those of the terminal and of the pages, byte for byte where time allows; and kept as looks.

Source of the expected bytes: `slackwater sheet` over the same record at the same moment.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from behaviour.web.api.a_program import API, CHARTED, LEAKING, LOGGED, NOW_MS, Program, a_program, errors
from end_to_end.the_command import called
from slackwater.assessment.document import stamp
from slackwater.report.sheets.make import KINDS
from slackwater.store.acts import key_of

PRINTED = stamp(NOW_MS) or ""
INCIDENT = "2041-03-07T06:30:00Z"


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Program]:
    with a_program(tmp_path_factory.mktemp("ward")) as one:
        yield one


def by_the_terminal(program: Program, kind: str, folder: Path, *words: str) -> bytes:
    target = folder / f"{kind}.html"
    place = str(program.record.place.folder)
    said = ("sheet", kind, *words, "--record", place, "--printed", PRINTED, "--out", str(target))
    ran = called(*said, folder=folder)
    assert ran.code in (0, 3), ran.err
    return target.read_bytes()


def test_which_sheets_there_are_is_said_with_what_asks_for_a_moment(program: Program) -> None:
    found = program.told(f"drains/{LOGGED}/sheets")["sheets"]
    assert [one["kind"] for one in found] == list(KINDS)
    assert [one["kind"] for one in found if one["asks_moment"]] == ["incident"]
    page = program.client.get(f"/drain/{LOGGED}/sheets").text
    assert all(one["says"].split(":")[0] in page for one in found)


@pytest.mark.parametrize(("drain", "kind"), [(LOGGED, "handover"), (LEAKING, "removal"), (CHARTED, "explain")])
def test_a_sheet_is_that_of_the_terminal(program: Program, drain: str, kind: str, tmp_path: Path) -> None:
    answer = program.get(f"drains/{drain}/sheets/{kind}", format="html")
    assert answer.status_code == 200 and answer.headers["content-type"] == "text/html; charset=utf-8"
    assert answer.headers["content-disposition"] == f'attachment; filename="{kind}.html"'
    assert answer.headers["cache-control"] == "no-store"
    assert answer.content == by_the_terminal(program, kind, tmp_path, "--drain", drain)


def test_looking_back_is_that_of_the_terminal(program: Program, tmp_path: Path) -> None:
    answer = program.get(f"drains/{LOGGED}/sheets/incident", moment=INCIDENT, format="html")
    assert answer.content == by_the_terminal(program, "incident", tmp_path, "--drain", LOGGED, "--moment", INCIDENT)
    then = program.get(f"drains/{LOGGED}/sheets/handover", at=INCIDENT, format="html")
    assert "Looking back to Thu 07 Mar 2041 06:30" in then.text


def test_the_pdf_is_that_of_the_page(program: Program) -> None:
    answer = program.get(f"drains/{LOGGED}/sheets/handover")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content == program.client.get(f"/drain/{LOGGED}/sheets/handover/pdf").content
    (page, *_) = pypdfium2.PdfDocument(answer.content)
    assert "Patient W-1" in page.get_textpage().get_text_bounded()
    blank = program.get("checklist")
    assert blank.content == program.client.get("/checklist/pdf").content


def test_what_cannot_be_made_is_a_problem(program: Program) -> None:
    drain = f"drains/{LOGGED}/sheets"
    assert "kind" in errors(program.get(f"{drain}/invoice"))
    assert "about a moment" in program.get(f"{drain}/incident").json()["detail"]
    assert "not come yet" in program.get(f"{drain}/incident", moment="2041-03-08T06:30:00Z").json()["detail"]
    assert "moment" in errors(program.get(f"{drain}/incident", moment="2041-03-07T06:30"))
    assert "not in the record then" in program.get(f"{drain}/summary", known="2041-03-01T00:00:00Z").json()["detail"]
    nobody = program.get("handover", ward="no such ward")
    assert nobody.status_code == 404 and nobody.headers["content-type"] == "application/problem+json"


def test_a_sheet_whose_judging_fails_is_refused_and_never_an_older_one(
    program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def broken(*_: Any) -> Any:
        raise ZeroDivisionError

    monkeypatch.setattr(program.bedside.app.state.judges, "ask", broken)
    answer = program.get(f"drains/{LOGGED}/sheets/summary")
    assert answer.status_code == 422 and "paper checklist" in answer.json()["detail"]


def test_a_handover_is_of_the_persons_drains_and_each_is_a_look(tmp_path: Path) -> None:
    with a_program(tmp_path) as program:
        whole = program.get("handover", format="html").text
        assert all(f"Patient W-{number} · drain 1" in whole for number in (1, 2, 3, 4, 5))
        before = Counter(one["drain"] for one in looks(program, "handover"))
        with program.record.act(by="tests", what="wards") as act:
            (stay,) = act.things("episode", {"patient": key_of("patient", "W-2")})
            act.change("episode", stay.key, {"ward": "North"}, version=stay.version)
            (mine,) = act.things("episode", {"patient": key_of("patient", "W-1")})
            act.change("episode", mine.key, {"ward": "South"}, version=mine.version)
            person = act.thing("person", key_of("person", "nurse"))
            assert person is not None
            act.change("person", person.key, {"wards": '["South"]'}, version=person.version)
        program.bedside.app.state.sessions.forget()
        text = program.get("handover", format="html").text
        assert "Patient W-1 · drain 1" in text and "W-2" not in text
        assert program.get("handover", ward="North").status_code == 404
        assert program.get(f"drains/{LEAKING}/sheets/summary").status_code == 404
        program.get(f"drains/{LOGGED}/sheets/removal")
        assert any(one["drain"] == LOGGED for one in looks(program, "sheet"))
        since = Counter(one["drain"] for one in looks(program, "handover")) - before
        assert since[LOGGED] == 1 and LEAKING not in since
        program.client.cookies.clear()
        assert program.client.get(f"{API}/handover").status_code == 401


def looks(program: Program, what: str) -> list[Any]:
    program.bedside.app.state.looks.flush()
    return [one for one in program.record.things("look") if one["what"] == what]
