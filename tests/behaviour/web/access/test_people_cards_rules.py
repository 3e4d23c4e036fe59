"""People, the first-minutes cards, and the rules: read, compared, tried, approved by two, pinned."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from slackwater.protocol.shipped import shipped_bytes
from slackwater.store.acts import key_of
from slackwater.store.rules import kept_rules
from ward.a_ward import PASSWORD, a_ward, signed_in

ONCE = "abcdefgh1234"


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[tuple[FastAPI, TestClient]]:
    with a_ward(tmp_path) as both:
        yield both


def test_a_keeper_enters_a_person_who_can_then_log_in_and_see_only_their_wards(
    ward: tuple[FastAPI, TestClient],
) -> None:
    _app, client = ward
    csrf = signed_in(client, "keeper")
    new = {
        "name": "New Nurse",
        "login": "new",
        "role": "nurse",
        "wards": "North, South",
        "password": "some other words",
    }
    assert client.post("/people", data={**new, "csrf": csrf, "once": ONCE}).status_code == 303
    assert "North, South" in client.get("/people").text
    client.cookies.clear()
    assert client.post("/login", data={"login": "new", "password": "some other words"}).status_code == 303


@pytest.mark.parametrize("password", ["short", "aaaaaaaaaaaaaaa", ""])
def test_a_poor_password_is_refused_with_the_mend_and_nobody_is_entered(
    ward: tuple[FastAPI, TestClient], password: str
) -> None:
    app, client = ward
    csrf = signed_in(client, "keeper")
    answer = client.post(
        "/people",
        data={"name": "N", "login": "new", "role": "nurse", "password": password, "csrf": csrf, "once": ONCE},
    )
    assert answer.status_code == 422 and "password" in answer.text
    assert app.state.record.thing("person", key_of("person", "new")) is None


def test_changing_ones_password_logs_every_screen_out(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    csrf = signed_in(client, "nurse")
    both = {"present": "a guess", "password": "brand new words", "again": "brand new words", "csrf": csrf, "once": ONCE}
    unlike = {**both, "present": PASSWORD, "again": "brand old words"}
    assert client.post("/password", data=unlike).status_code == 422
    passer_by = client.post("/password", data=both)
    assert passer_by.status_code == 422 and "not the present password" in passer_by.text
    both["present"] = PASSWORD
    assert client.post("/password", data=both).status_code == 303
    assert client.get("/").status_code == 303
    assert client.post("/login", data={"login": "nurse", "password": PASSWORD}).status_code == 401
    assert client.post("/login", data={"login": "nurse", "password": "brand new words"}).status_code == 303


def test_who_looked_is_told_to_those_who_may_know(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    signed_in(client, "registrar")
    client.get("/")
    signed_in(client, "audit_lead")
    assert "Invented registrar" in client.get("/looks").text
    signed_in(client, "nurse")
    assert client.get("/looks").status_code == 403


def test_a_card_shows_the_units_own_words_and_says_so_where_there_are_none(
    ward: tuple[FastAPI, TestClient],
) -> None:
    app, client = ward
    csrf = signed_in(client, "surgeon")
    assert client.get("/first-minutes").text.count("No approved text is recorded here") == 3
    unsigned = {"text": "Cover it.", "approved_by": "", "csrf": csrf, "once": ONCE}
    assert client.post("/first-minutes/fell_out/edit", data=unsigned).status_code == 422
    words = "Cover the hole on three sides.\n<b>Call.</b>"
    signed = {"text": words, "approved_by": "lead surgeon, 14-Jul-2041", "csrf": csrf, "once": ONCE}
    assert client.post("/first-minutes/fell_out/edit", data=signed).status_code == 303
    late = client.post("/first-minutes/fell_out/edit", data={**signed, "text": "Not seen."})
    assert late.status_code == 422 and "Somebody changed this" in late.text and "Cover the hole" in late.text
    client.post("/first-minutes/fell_out/edit", data={**signed, "text": "Second words.", "version": "1"})
    page = client.get("/first-minutes").text
    assert "Second words." in page and "lead surgeon" in page
    with app.state.record.reading() as connection:
        from slackwater.store.rows import versions

        told = [one["text"] for one in versions(connection, "card")]
    assert told == [words, "Second words."], "the text before it stays in the record"


def test_a_rule_is_approved_by_two_people_and_never_twice_by_one(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    text = shipped_bytes("strict-local").decode().replace('status = "example"', 'status = "draft"')
    csrf = signed_in(client, "surgeon")
    answer = client.post("/protocols", data={"text": text, "csrf": csrf, "once": ONCE})
    where = answer.headers["location"]
    assert answer.status_code == 303
    pin = {"drain": key_of_drain(app), "why": "tried here", "csrf": csrf, "once": ONCE}
    assert "0 of 2 people" in client.post(f"{where}/pin", data=pin).text
    assert client.post(f"{where}/approve", data={"csrf": csrf, "once": ONCE}).status_code == 303
    assert client.post(f"{where}/approve", data={"csrf": csrf, "once": ONCE}).status_code == 422
    csrf = signed_in(client, "specialist_nurse")
    client.post(f"{where}/approve", data={"csrf": csrf, "once": ONCE})
    assert "by 2 people" in client.get("/protocols").text
    assert client.post(f"{where}/pin", data={**pin, "csrf": csrf}).status_code == 303
    assert "W-1/1" in client.get(where).text


def key_of_drain(app: FastAPI) -> str:
    return str(next(one.key for one in app.state.record.things("drain") if one.key == key_of_label("W-1")))


def key_of_label(label: str) -> str:
    return key_of("drain", key_of("patient", label), "1")


def test_a_rule_file_that_cannot_be_used_is_refused_with_its_clause_and_what_was_typed_is_kept(
    ward: tuple[FastAPI, TestClient],
) -> None:
    app, client = ward
    before = len(app.state.record.things("protocol"))
    csrf = signed_in(client, "surgeon")
    text = shipped_bytes("air-50-8h").decode().replace('limit = "50 mL/min"', "limit = 50")
    answer = client.post("/protocols", data={"text": text, "csrf": csrf, "once": ONCE})
    assert answer.status_code == 422 and "limit" in answer.text and "lasting" in answer.text
    assert len(app.state.record.things("protocol")) == before


def test_two_versions_are_compared_line_by_line(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    csrf = signed_in(client, "surgeon")
    text = shipped_bytes("air-50-8h").decode().replace("50 mL/min", "30 mL/min")
    where = client.post("/protocols", data={"text": text, "csrf": csrf, "once": ONCE}).headers["location"]
    old = next(one for one in kept_rules(app.state.record) if one.rule.name == "air-50-8h" and "50 mL/min" in one.text)
    page = client.get(f"{where}?beside={old.sha256}").text
    assert "<del>" in page and "<ins>" in page and "30 mL/min" in page


def test_a_dry_run_answers_on_every_drain_and_changes_nothing(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    signed_in(client, "nurse")
    app.state.looks.flush()
    rule = next(one for one in kept_rules(app.state.record) if one.rule.name == "strict-local")
    before = app.state.record.head()
    page = client.get(f"/protocols/{rule.sha256}/dry-run").text
    app_acts_since = [one for one in (app.state.record.head(),) if one.what != "who looked"]
    assert all(one == before for one in app_acts_since)
    for name in ("W-1/1", "W-2/1", "W-3/1"):
        assert name in page
    assert "cannot tell" in page or "not met" in page
