"""Getting in: the first start, log-in, lock and quick return, log-out, and what keeps strangers out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from slackwater.errors import NotWritten
from slackwater.store.acts import key_of
from slackwater.store.place import place_of
from slackwater.web import sessions
from slackwater.web.app import create_app
from slackwater.web.headers import MOST_SENT
from slackwater.web.settings import Settings
from ward.a_ward import PASSWORD, Clock, a_ward, signed_in


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def ward(tmp_path: Path, clock: Clock) -> Iterator[tuple[FastAPI, TestClient]]:
    with a_ward(tmp_path, clock) as both:
        yield both


def client_of_a_new_record(folder: Path) -> TestClient:
    return TestClient(create_app(Settings(place_of(folder / "new"), secure=False)), follow_redirects=False)


FIRST = {"name": "Invented Keeper", "login": "keeper", "password": "four invented words", "understood": "understood"}


def test_a_new_record_has_no_password_and_asks_for_the_code_of_its_own_console(tmp_path: Path) -> None:
    with client_of_a_new_record(tmp_path) as client:
        assert client.get("/").headers["location"] == "/first"
        assert client.post("/login", data={"login": "keeper", "password": "keeper"}).status_code in (303, 401)
        wrong = client.post("/first", data={**FIRST, "code": "0000000000000000"})
        assert wrong.status_code == 422 and "not the one" in wrong.text
        code = client.app.state.first_start.code  # type: ignore[attr-defined]
        assert client.post("/first", data={**FIRST, "code": code}).status_code == 303
        assert client.get("/").status_code == 200


def test_the_first_start_is_acknowledged_by_a_named_person_and_that_is_in_the_record(tmp_path: Path) -> None:
    with client_of_a_new_record(tmp_path) as client:
        code = client.app.state.first_start.code  # type: ignore[attr-defined]
        unread = client.post("/first", data={**FIRST, "code": code, "understood": ""})
        assert unread.status_code == 422 and "understood" in unread.text
        client.post("/first", data={**FIRST, "code": code})
        act = client.app.state.record.head()  # type: ignore[attr-defined]
        assert act.by == "Invented Keeper" and "understood" in act.why


def test_the_first_start_closes_behind_the_first_person(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    code = app.state.first_start.code
    assert client.post("/first", data={**FIRST, "code": code}).headers["location"] == "/login"
    assert app.state.record.thing("person", "keeper") is None


def test_a_wrong_password_and_an_unknown_login_get_the_same_answer(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    wrong = client.post("/login", data={"login": "nurse", "password": "not this one"})
    unknown = client.post("/login", data={"login": "nobody", "password": "not this one"})
    assert wrong.status_code == unknown.status_code == 401
    assert wrong.text.replace("nurse", "") == unknown.text.replace("nobody", "")


def test_after_several_wrong_tries_the_right_password_waits_too_and_nobody_is_locked_out_for_good(
    ward: tuple[FastAPI, TestClient], clock: Clock
) -> None:
    _, client = ward
    for _ in range(4):
        client.post("/login", data={"login": "nurse", "password": "not this one"})
    assert client.post("/login", data={"login": "nurse", "password": PASSWORD}).status_code == 401
    clock.ms += 60_000
    assert client.post("/login", data={"login": "nurse", "password": PASSWORD}).status_code == 303


def test_the_cookie_is_for_our_pages_alone(tmp_path: Path) -> None:
    with a_ward(tmp_path) as (_, client):
        cookie = client.post("/login", data={"login": "nurse", "password": PASSWORD}).headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=strict" in cookie


def test_what_the_database_holds_of_a_session_lets_nobody_in(ward: tuple[FastAPI, TestClient]) -> None:
    from slackwater.store.accounts import SESSION

    app, client = ward
    signed_in(client)
    with app.state.record.reading() as connection:
        kept = connection.execute(SESSION.select()).first()
    client.cookies.clear()
    client.cookies.set("slackwater-session", kept.token)
    assert client.get("/").status_code == 303


def test_an_idle_screen_locks_and_the_password_alone_leads_back_to_the_same_page(
    ward: tuple[FastAPI, TestClient], clock: Clock
) -> None:
    _, client = ward
    signed_in(client)
    clock.ms += 301_000
    locked = client.get("/first-minutes")
    assert locked.status_code == 423 and "locked" in locked.text and "No approved text" not in locked.text
    assert client.post("/unlock", data={"password": "not this one", "to": "/first-minutes"}).status_code == 401
    clock.ms += 1000
    back = client.post("/unlock", data={"password": PASSWORD, "to": "/first-minutes"})
    assert back.status_code == 303 and back.headers["location"] == "/first-minutes"
    assert client.get("/first-minutes").status_code == 200


def test_a_page_that_refreshes_by_itself_keeps_nobody_logged_in(ward: tuple[FastAPI, TestClient], clock: Clock) -> None:
    _, client = ward
    signed_in(client)
    for _ in range(7):
        clock.ms += 50_000
        client.get("/", headers={"x-by-itself": "1"})
    assert client.get("/").status_code == 423


def test_whoever_is_entering_is_not_cut_off(ward: tuple[FastAPI, TestClient], clock: Clock) -> None:
    _, client = ward
    csrf = signed_in(client)
    for _ in range(8):
        clock.ms += 50_000
        assert client.post("/touch", headers={"x-csrf-token": csrf}).status_code == 204
    assert client.get("/").status_code == 200


@pytest.mark.parametrize(
    "to",
    [
        "//other.example/x",
        "https://other.example",
        "/\\other.example",
        "/\t/other.example",
        "/\r/x",
        "/a\\b",
        "javascript:1",
    ],
)
def test_log_in_leads_nowhere_but_to_our_own_pages(ward: tuple[FastAPI, TestClient], to: str) -> None:
    _, client = ward
    answer = client.post("/login", data={"login": "nurse", "password": PASSWORD, "to": to})
    assert answer.headers["location"] == "/"


def test_a_form_of_another_site_changes_nothing(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    csrf = signed_in(client)
    assert client.post("/logout").status_code == 403
    assert client.post("/logout", data={"csrf": "x" * 32}).status_code == 403
    foreign = client.post("/logout", data={"csrf": csrf}, headers={"origin": "https://other.example"})
    assert foreign.status_code == 403
    assert client.get("/").status_code == 200
    assert client.post("/logout", data={"csrf": csrf}).status_code == 303
    assert client.get("/").status_code == 303


def test_who_has_left_is_out_at_once_and_what_they_entered_stays(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    signed_in(client, "physiotherapist")
    theirs = dict(client.cookies)
    csrf = signed_in(client, "keeper")
    from slackwater.store.acts import key_of

    person = key_of("person", "physiotherapist")
    assert client.post(f"/people/{person}/left", data={"csrf": csrf}).status_code == 303
    client.cookies.clear()
    client.cookies.update(theirs)
    assert client.get("/").status_code == 303
    assert client.post("/login", data={"login": "physiotherapist", "password": PASSWORD}).status_code == 401
    assert client.get("/").status_code == 303, "logged in, but the person is not let in"
    assert app.state.record.thing("person", person)["name"] == "Invented physiotherapist"


def test_every_answer_forbids_frames_caches_and_foreign_scripts(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    signed_in(client)
    for path in ("/", "/login", "/first-minutes", "/nowhere"):
        headers = client.get(path).headers
        assert headers["cache-control"] == "no-store"
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert "unsafe-inline" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


def test_a_static_name_never_leads_upwards(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    assert client.get("/static/ward.css").status_code == 200
    machine = Path(__file__).as_posix()  # a file that is there, called by its whole path
    own_way = (f"/static/{machine}", f"/static/%2F{machine[1:]}", "/static//ward.css")
    upwards = ("/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/static/..\\app.py")
    for path in (*own_way, *upwards, "/static/", "/static/templates", "/static/ward.css%00"):
        assert client.get(path).status_code == 404


def test_a_full_disk_shuts_nobody_out_of_reading_and_a_screen_can_still_be_locked(
    ward: tuple[FastAPI, TestClient], clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """docs/operating.md: the disk is full, and reading goes on."""

    def full(*_: object, **__: object) -> None:
        raise NotWritten("the disk is full")

    _, client = ward
    csrf = signed_in(client)
    monkeypatch.setattr(sessions, "mark_session", full)
    for _ in range(4):  # longer in all than an idle screen stays open
        clock.ms += 120_000
        assert client.get("/").status_code == 200
    clock.ms += 301_000
    assert client.get("/").status_code == 423, "idle for too long"
    assert client.post("/unlock", data={"password": PASSWORD}).status_code == 303
    assert client.get("/").status_code == 200
    assert client.post("/lock", data={"csrf": csrf}).status_code == 303
    assert client.get("/").status_code == 423
    monkeypatch.undo()
    assert client.post("/unlock", data={"password": PASSWORD}).status_code == 303
    assert client.get("/").status_code == 200


def test_who_left_is_told_no_more_than_a_stranger(ward: tuple[FastAPI, TestClient], clock: Clock) -> None:
    _, client = ward
    csrf = signed_in(client, "keeper")
    assert client.post(f"/people/{key_of('person', 'nurse')}/left", data={"csrf": csrf}).status_code == 303
    clock.ms += 1000
    client.cookies.clear()
    assert client.post("/login", data={"login": "nurse", "password": PASSWORD}).status_code == 401
    told = client.post("/api/v1/login", json={"name": "nurse", "password": PASSWORD})
    assert told.status_code == 401 and "Invented" not in told.text and "set-cookie" not in told.headers


@pytest.mark.parametrize("path", ["/login", "/api/v1/login"])
def test_a_body_without_end_is_not_taken_in(ward: tuple[FastAPI, TestClient], path: str) -> None:
    """Before anybody knows who sends it (OWASP ASVS 5.0.0, 5.2.1: what a request may hold is bounded)."""
    kind = "application/json" if "api" in path else "application/x-www-form-urlencoded"
    pieces = (b"a" * 2**20 for _ in range(MOST_SENT // 2**20 + 1))
    assert ward[1].post(path, content=pieces, headers={"content-type": kind}).status_code == 413
