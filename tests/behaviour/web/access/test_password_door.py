"""The password's door: the same work for everybody, waits but no lock-out, a session of one's own, and its cookie.

OWASP ASVS 5.0.0, chapters 6 (authentication) and 7 (sessions); safety hazards I02, I05, I06.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError
from fastapi import FastAPI
from starlette.testclient import TestClient

from slackwater.store.accounts import SESSION, open_session, put_account
from slackwater.store.acts import key_of
from slackwater.web import passwords
from slackwater.web.guard import COOKIE
from slackwater.web.passwords import wait_ms
from slackwater.web.policy import POLICY
from slackwater.web.routes import every
from ward.a_ward import NOW_MS, PASSWORD, Clock, a_ward, signed_in

WRONG = "not this one at all"


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def ward(tmp_path: Path, clock: Clock) -> Iterator[tuple[FastAPI, TestClient]]:
    with a_ward(tmp_path, clock) as both:
        yield both


@pytest.fixture
def checked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The hashes that passwords were held against."""
    seen: list[str] = []

    class Counted(PasswordHasher):
        def verify(self, hash: str | bytes, password: str | bytes) -> bool:
            seen.append(str(hash))
            if password != PASSWORD:
                raise VerifyMismatchError
            return True

    monkeypatch.setattr(passwords, "_HASHER", Counted())
    return seen


def log_in(client: TestClient, login: str, password: str) -> int:
    client.cookies.clear()
    return client.post("/login", data={"login": login, "password": password}).status_code


def parameters(kept: str) -> str:
    """What the work depends on: argon2's kind, version, memory, passes, lanes."""
    return kept.rpartition("$")[0].rpartition("$")[0]


def test_every_try_costs_one_check_of_the_same_cost_whoever_is_named(
    ward: tuple[FastAPI, TestClient], checked: list[str], clock: Clock
) -> None:
    """Counted, not timed: an unknown login, a known one, one without a password, and one that must wait."""
    app, client = ward
    put_account(app.state.record, key_of("person", "registrar"), "registrar", None)
    for login, password in (
        ("nobody", PASSWORD),
        ("nurse", WRONG),
        ("registrar", PASSWORD),
        ("", WRONG),
        ("x" * 5000, WRONG),
    ):
        checked.clear()
        assert log_in(client, login, password) == 401
        assert len(checked) == 1, login
        assert parameters(checked[0]) == parameters(passwords.hashed(PASSWORD)), login
    for _ in range(4):
        log_in(client, "nurse", WRONG)
    checked.clear()
    assert log_in(client, "nurse", PASSWORD) == 401
    assert len(checked) == 1, "while it waits, too"
    clock.ms += 60_000
    assert log_in(client, "nurse", PASSWORD) == 303


def test_the_wait_grows_to_half_a_minute_and_no_further() -> None:
    waits = [wait_ms(failed) for failed in range(40)]
    assert waits[:3] == [0, 0, 0] and waits == sorted(waits) and max(waits) == 30_000


def test_one_account_that_waits_keeps_nobody_else_out(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    for _ in range(6):
        log_in(client, "nurse", WRONG)
    assert log_in(client, "nurse", PASSWORD) == 401
    assert log_in(client, "surgeon", PASSWORD) == 303


def test_unlocking_waits_as_logging_in_does(ward: tuple[FastAPI, TestClient], clock: Clock) -> None:
    _, client = ward
    csrf = signed_in(client)
    client.post("/lock", data={"csrf": csrf})
    for _ in range(5):
        assert client.post("/unlock", data={"password": WRONG}).status_code == 401
    assert client.post("/unlock", data={"password": PASSWORD}).status_code == 401
    clock.ms += 60_000
    assert client.post("/unlock", data={"password": PASSWORD}).status_code == 303


def test_whoever_logs_in_gets_a_session_of_their_own(ward: tuple[FastAPI, TestClient]) -> None:
    """Session fixation: what the browser held before, of somebody else or made up, is not what it holds after."""
    _, client = ward
    signed_in(client, "surgeon")
    theirs = client.cookies[COOKIE]
    for before in (theirs, "made-up-by-somebody"):
        client.cookies.clear()
        client.cookies.set(COOKIE, before)
        answer = client.post("/login", data={"login": "nurse", "password": PASSWORD})
        new = answer.headers["set-cookie"].partition("=")[2].partition(";")[0]
        assert answer.status_code == 303 and new != before and len(new) >= 43


def test_log_out_ends_the_session_on_the_server_too(ward: tuple[FastAPI, TestClient]) -> None:
    app, client = ward
    csrf = signed_in(client)
    held = client.cookies[COOKIE]
    client.post("/logout", data={"csrf": csrf})
    client.cookies.clear()
    client.cookies.set(COOKIE, held)
    assert client.get("/").status_code == 303
    with app.state.record.reading() as connection:
        assert connection.execute(SESSION.select()).first() is None


def test_a_session_ends_however_much_it_is_used(tmp_path: Path, clock: Clock) -> None:
    with a_ward(tmp_path, clock, session_s=600, idle_s=300) as (_, client):
        signed_in(client)
        for _ in range(4):
            clock.ms += 140_000
            assert client.get("/first-minutes").status_code == 200
        clock.ms += 140_000
        assert client.get("/first-minutes").status_code == 303


def test_behind_a_proxy_that_speaks_tls_the_cookie_is_for_tls_alone(tmp_path: Path) -> None:
    with a_ward(tmp_path, secure=True) as (_, client):
        cookie = client.post("/login", data={"login": "nurse", "password": PASSWORD}).headers["set-cookie"]
    assert {"Secure", "HttpOnly", "SameSite=strict", "Path=/"} <= {one.strip() for one in cookie.split(";")}
    assert "Domain" not in cookie, "for this host alone"


def test_a_lock_keeps_the_form_that_was_half_written(ward: tuple[FastAPI, TestClient], clock: Clock) -> None:
    """Its token is still good after the quick return, and not before."""
    _, client = ward
    csrf = signed_in(client)
    drain = key_of("drain", key_of("patient", "W-5"), "1")
    page = client.get(f"/drain/{drain}/hold").text
    assert csrf in page
    clock.ms += 301_000
    sent = {"reason": "awaiting_theatre", "csrf": csrf, "once": "half-written-1"}
    assert client.post(f"/drain/{drain}/hold", data=sent).status_code == 423
    by_script = client.post("/unlock", data={"password": PASSWORD}, headers={"x-by-itself": "1"})
    assert by_script.status_code == 204
    assert client.post(f"/drain/{drain}/hold", data=sent).status_code not in (401, 403, 423)


ROUTERS = list(every())  # each route has its line in the policy now
FORMS = sorted(path for (method, path), rule in POLICY.items() if method != "GET" and rule.roles is not None)


@pytest.fixture(scope="module")
def keepers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, TestClient]]:
    with a_ward(tmp_path_factory.mktemp("ward")) as (app, client):
        yield app, client


def session(app: FastAPI, role: str) -> tuple[str, str]:
    """A session without the password's work: its token for forms, and what the browser holds."""
    held, new = open_session(app.state.record, key_of("person", role), NOW_MS, 0)
    return new.csrf, held


@pytest.mark.parametrize("path", FORMS)
def test_no_form_is_taken_without_the_token_of_its_own_session(keepers: tuple[FastAPI, TestClient], path: str) -> None:
    """Missing, empty, made up, another person's, an older session's; and with the right one from another site."""
    app, client = keepers
    method, rule = next((method, rule) for (method, one), rule in POLICY.items() if one == path and method != "GET")
    assert rule.roles is not None
    role = sorted(rule.roles)[0]
    older, _ = session(app, role)
    other, _ = session(app, next(one for one in ("keeper", "surgeon") if one != role))
    csrf, held = session(app, role)
    filled = path.replace("{drain}", key_of("drain", key_of("patient", "W-5"), "1"))
    filled = "/".join("0" * 20 if part.startswith("{") else part for part in filled.split("/"))
    app.state.looks.flush()
    before = app.state.record.head()
    for sent, headers in (
        ({}, {}), ({"csrf": ""}, {}), ({"csrf": "x" * 32}, {}), ({"csrf": other}, {}), ({"csrf": older}, {}),
        ({}, {"x-csrf-token": "x"}), ({"csrf": csrf}, {"origin": "https://other.example"}),
        ({"csrf": csrf}, {"origin": "null"}), ({"csrf": csrf}, {"sec-fetch-site": "cross-site"}),
    ):  # fmt: skip
        client.cookies.clear()
        answer = client.request(method, filled, data=sent, headers={"cookie": f"{COOKIE}={held}", **headers})
        assert answer.status_code == 403, (sent, headers)
    app.state.looks.flush()
    assert app.state.record.head() == before


def test_a_fault_of_the_program_shows_nothing_of_itself(ward: tuple[FastAPI, TestClient]) -> None:
    """Safety hazard F09: C2 and C3 in every state, an error too; I09: the headers, too."""
    app, client = ward
    signed_in(client)

    def broken(*_: object) -> None:
        raise RuntimeError("a secret of the inside")

    app.state.fragments.of = broken
    quiet = TestClient(app, raise_server_exceptions=False, cookies=dict(client.cookies))
    answer = quiet.get("/")
    assert answer.status_code == 500 and "secret" not in answer.text
    assert "own alarms" in answer.text and "not a reading of zero" in answer.text
    assert answer.headers["cache-control"] == "no-store" and "frame-ancestors" in str(answer.headers)
