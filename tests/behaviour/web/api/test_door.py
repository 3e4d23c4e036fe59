"""The door for programs: who asks comes first, refusals are problems (RFC 9457), denied answers hold nothing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.web.api.a_program import API, AT, LEAKING, LOGGED, Program, a_program, errors
from slackwater.errors import NotWritten
from slackwater.store.acts import key_of
from ward.a_board import looked
from ward.a_ward import PASSWORD

SET = {"once": "a-key-of-ours", "at": AT, "rows": [{"item": "swing", "value": "present"}]}
CANARY = "CANARY-4402"


@pytest.fixture
def program(tmp_path: Path) -> Iterator[Program]:
    with a_program(tmp_path) as one:
        yield one


def test_a_wrong_password_waits_as_on_the_page(program: Program) -> None:
    client = program.client
    client.cookies.clear()
    for _ in range(3):
        wrong = client.post(f"{API}/login", json={"name": "nurse", "password": "not this one at all"})
        assert wrong.status_code == 401 and not client.cookies
    right = client.post(f"{API}/login", json={"name": "nurse", "password": PASSWORD})
    assert right.status_code == 401 and "wait a little" in right.json()["detail"]
    program.bedside.clock.ms += 2000
    assert client.post(f"{API}/login", json={"name": "nurse", "password": PASSWORD}).status_code == 200


def test_who_asks_comes_before_what_was_sent(program: Program) -> None:
    program.client.cookies.clear()
    url = f"{API}/drains/{LOGGED}/chart"
    kinds = ({"content": b"{"}, {"content": b"\xff"}, {"data": {"a": "b"}}, {"json": SET}, {"json": {}})
    assert {program.client.post(url, **kind).status_code for kind in kinds} == {401}


def test_each_malformed_body_is_a_problem_that_names_its_field(program: Program) -> None:
    url, headers = f"{API}/drains/{LOGGED}/chart", program.headers
    json = {**headers, "content-type": "application/json"}
    assert program.client.post(url, content=b"{", headers=json).status_code == 422
    assert program.client.post(url, content=b"\xff", headers=json).status_code == 400
    assert program.client.post(url, data={"a": "b"}, headers=headers).status_code == 415
    assert "field required" in errors(program.post_bare(f"drains/{LOGGED}/chart"))["once"].lower()
    assert "rows.0.word" in errors(program.post(f"drains/{LOGGED}/chart", at=AT, rows=[{"word": 1}]))
    assert program.client.put(url, json=SET, headers=headers).status_code == 405
    assert program.get("nowhere").json()["status"] == 404
    unprintable = program.post(f"drains/{LOGGED}/tasks/%00/done", version=1)  # no database takes such a key
    assert unprintable.status_code == 404


def test_without_the_token_or_from_another_site_nothing_is_taken(program: Program) -> None:
    url = f"{API}/drains/{LOGGED}/chart"
    assert program.client.post(url, json=SET).status_code == 403
    foreign = {**program.headers, "origin": "https://elsewhere.invalid"}
    assert program.client.post(url, json=SET, headers=foreign).status_code == 403


def test_a_locked_screen_tells_programs_nothing_until_the_password(program: Program) -> None:
    assert program.post("lock").status_code == 204
    locked = program.get(f"drains/{LOGGED}/assessment")
    assert locked.status_code == 423 and "W-1" not in locked.text
    assert program.post_bare("unlock", password="not this one at all").status_code == 401
    assert program.post_bare("unlock", password=PASSWORD).json()["name"] == "Invented nurse"
    assert program.get(f"drains/{LOGGED}").status_code == 200
    assert program.post("logout").status_code == 204
    assert program.get("me").status_code == 401


def test_another_wards_drain_is_not_there_whatever_is_sent(program: Program) -> None:
    with program.record.act(by="tests", what="wards") as act:
        (stay,) = act.things("episode", {"patient": key_of("patient", "W-2")})
        act.change("episode", stay.key, {"ward": "North", "initials": CANARY[:6]}, version=stay.version)
        person = act.thing("person", key_of("person", "nurse"))
        assert person is not None
        act.change("person", person.key, {"wards": '["South"]'}, version=person.version)
    program.bedside.app.state.sessions.forget()
    nowhere = program.post("drains/0123456789abcdef0123/chart", **{**SET, "once": "another-key"})
    theirs = program.post(f"drains/{LEAKING}/chart", **{**SET, "once": "another-key"})
    assert theirs.status_code == 404 and theirs.json() == nowhere.json()
    looked(program.bedside.app, program.client)  # the round follows a move within its second
    assert "W-2" not in program.get("drains").text and "W-2" not in program.get("round").text
    pin = {"drain": LEAKING, "why": "tried", "version": 1}
    sha256 = program.told("protocols")["protocols"][0]["sha256"]
    program.as_("surgeon")
    assert program.post(f"protocols/{sha256}/pin", **{**pin, "drain": "0" * 20}).status_code == 404


def test_a_record_that_takes_nothing_is_said_to_be_so(program: Program, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise NotWritten("the disk is full")

    monkeypatch.setattr(program.record, "act", full)
    answer = program.post(f"drains/{LOGGED}/chart", **SET)
    assert answer.status_code == 503 and "disk is full" in answer.json()["detail"]


def test_a_fault_of_the_program_tells_nothing_of_itself(program: Program, monkeypatch: pytest.MonkeyPatch) -> None:
    from starlette.testclient import TestClient

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError(CANARY)

    monkeypatch.setattr(program.record, "act", broken)
    client = TestClient(program.bedside.app, raise_server_exceptions=False, cookies=dict(program.client.cookies))
    answer = client.post(f"{API}/drains/{LOGGED}/chart", json=SET, headers=program.headers)
    assert answer.status_code == 500 and CANARY not in answer.text and "look before" in answer.json()["detail"]


def test_each_route_has_the_rule_of_its_page(program: Program) -> None:
    from slackwater.web.policy import POLICY

    pages = {
        ("GET", "/round"): "/", ("GET", "/drains/{drain}/assessment"): "/drain/{drain}",
        ("POST", "/drains/{drain}/chart"): "/drain/{drain}/set", ("POST", "/drains"): "/drain/new",
        ("POST", "/drains/{drain}/orders/suction"): "/drain/{drain}/order",
        ("POST", "/drains/{drain}/removal"): "/drain/{drain}/remove", ("GET", "/people"): "/people",
        ("GET", "/looks"): "/looks", ("POST", "/cards/{card}"): "/first-minutes/{card}/edit",
        ("POST", "/protocols/{sha256}/approve"): "/protocols/{sha256}/approve",
        ("POST", "/units/{unit}/state"): "/units/{unit}/state",
        ("GET", "/drains/{drain}/sheets"): "/drain/{drain}/sheets",
        ("GET", "/drains/{drain}/sheets/{kind}"): "/drain/{drain}/sheets/{kind}",
        ("GET", "/handover"): "/handover", ("GET", "/checklist"): "/checklist",
    }  # fmt: skip
    for (method, path), page in pages.items():
        assert POLICY[(method, f"{API}{path}")] is POLICY[(method, page)], path
