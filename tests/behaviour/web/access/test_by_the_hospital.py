"""Logging in by the hospital's own log-in: who comes in, and every answer that lets nobody in.

What is checked of a token is OpenID Connect Core 1.0, section 3.1.3.7; the code's proof RFC 7636; the state RFC 6749,
section 10.12; the issuer of the answer RFC 9207.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from joserfc.jwk import OctKey, RSAKey
from starlette.testclient import TestClient

from end_to_end.the_command import called
from slackwater.errors import UsageError
from slackwater.store.accounts import put_account
from slackwater.store.acts import key_of
from slackwater.web.hospital import HospitalLogIn
from slackwater.web.settings import Hospital
from ward.a_hospital import CLIENT, ISSUER, SECRET, Provider
from ward.a_ward import PASSWORD, Clock, a_ward, signed_in, token

THERE = "/login/hospital"


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def provider(clock: Clock) -> Provider:
    return Provider(clock)


@pytest.fixture
def ward(tmp_path: Path, clock: Clock, provider: Provider) -> Iterator[tuple[FastAPI, TestClient]]:
    with a_ward(tmp_path, clock, hospital=Hospital(ISSUER, CLIENT, SECRET)) as (app, client):
        told = Hospital(ISSUER, CLIENT, SECRET)
        app.state.hospital = HospitalLogIn(told, clock, provider.transport())
        yield app, client


def there(client: TestClient, to: str = "/") -> str:
    answer = client.get(THERE, params={"to": to})
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def is_out(client: TestClient) -> bool:
    return client.get("/").status_code == 303


def test_whom_the_keeper_entered_comes_in_with_the_role_given_here(
    ward: tuple[FastAPI, TestClient], provider: Provider
) -> None:
    _, client = ward
    back = client.get(provider.log_in(there(client, "/first-minutes")))
    assert back.status_code == 200 and 'content="0; url=/first-minutes"' in back.text
    page = client.get("/")
    assert "Invented nurse, nurse" in page.text


def test_a_role_in_the_token_gives_nobody_a_role(ward: tuple[FastAPI, TestClient], provider: Provider) -> None:
    _, client = ward
    provider.changed = lambda claims: claims.update(role="keeper", roles=["keeper"], groups=["keeper"])
    client.get(provider.log_in(there(client)))
    assert client.get("/people").status_code == 403


def test_a_login_that_nobody_entered_is_told_so_and_nobody_is_entered(
    ward: tuple[FastAPI, TestClient], provider: Provider
) -> None:
    app, client = ward
    provider.subject = "<b>stranger</b>"
    before = app.state.record.head()
    back = client.get(provider.log_in(there(client)))
    assert back.status_code == 401 and "Ask the keeper" in back.text and "<b>stranger" not in back.text
    assert is_out(client) and app.state.record.head() == before


def test_who_has_left_does_not_come_in(ward: tuple[FastAPI, TestClient], provider: Provider) -> None:
    _, client = ward
    csrf = signed_in(client, "keeper")
    client.post(f"/people/{key_of('person', 'nurse')}/left", data={"csrf": csrf})
    client.cookies.clear()
    assert client.get(provider.log_in(there(client))).status_code == 401
    assert is_out(client)


def off_by(**changed: Any) -> Callable[[dict[str, Any]], None]:
    def change(claims: dict[str, Any]) -> None:
        for name, value in changed.items():
            if value is None:
                del claims[name]
            else:
                claims[name] = value

    return change


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        (off_by(nonce="another"), "nonce"),
        (off_by(nonce=None), "nonce"),
        (off_by(aud="another-client"), "aud"),
        (off_by(aud=[CLIENT, "another"]), "azp"),
        (off_by(aud=[CLIENT, "another"], azp="another"), "azp"),
        (off_by(iss="https://other.example"), "iss"),
        (off_by(iss=None), "iss"),
        (off_by(exp=1), "expired"),
        (off_by(exp=None), "exp"),
        (off_by(exp="tomorrow"), "exp"),
        (off_by(iat=None), "iat"),
        (off_by(sub=None), "sub"),
    ],
)  # fmt: skip
def test_a_token_that_does_not_fit_lets_nobody_in(
    ward: tuple[FastAPI, TestClient], provider: Provider, changed: Callable[[dict[str, Any]], None], told: str
) -> None:
    _, client = ward
    provider.changed = changed
    back = client.get(provider.log_in(there(client)))
    assert back.status_code == 401 and "does not fit" in back.text and told in back.text
    assert is_out(client)


def test_a_token_of_another_key_or_a_weaker_signature_lets_nobody_in(
    ward: tuple[FastAPI, TestClient], provider: Provider
) -> None:
    """`none` and a shared secret are refused though the provider says it would use them."""
    _, client = ward
    for header, key in (
        ({}, RSAKey.generate_key(2048, {"kid": "first"})),
        ({"alg": "HS256"}, OctKey.import_key(SECRET)),
        ({"alg": "none"}, OctKey.import_key("unused")),
    ):
        provider.header, provider.signs = header, key
        back = client.get(provider.log_in(there(client)))
        assert back.status_code == 401 and "does not fit" in back.text, header
        assert is_out(client)


def test_a_new_key_of_the_hospital_is_fetched_once(ward: tuple[FastAPI, TestClient], provider: Provider) -> None:
    _, client = ward
    client.get(provider.log_in(there(client)))
    provider.rotate()
    client.cookies.clear()
    assert client.get(provider.log_in(there(client))).status_code == 200
    assert provider.asked.count("keys") == 2 and provider.asked.count("about") == 1


def test_an_answer_is_taken_once(ward: tuple[FastAPI, TestClient], provider: Provider) -> None:
    _, client = ward
    kept = there(client)
    way = provider.log_in(kept)
    browser = dict(client.cookies)
    assert client.get(way).status_code == 200
    client.cookies.clear()
    client.cookies.update(browser)
    again = client.get(way)
    assert again.status_code == 401 and "not begun here" in again.text
    assert provider.asked.count("token") == 1, "the hospital is not even asked"
    assert is_out(client)


def test_an_answer_in_another_browser_lets_nobody_in(ward: tuple[FastAPI, TestClient], provider: Provider) -> None:
    """Somebody else's link must not log me in as them (RFC 6749, section 10.12)."""
    _, client = ward
    way = provider.log_in(there(client))
    client.cookies.clear()
    assert "another window or browser" in client.get(way).text
    assert is_out(client) and "token" not in provider.asked


def test_an_answer_that_took_too_long_lets_nobody_in(
    ward: tuple[FastAPI, TestClient], provider: Provider, clock: Clock
) -> None:
    _, client = ward
    way = provider.log_in(there(client))
    clock.ms += 601_000
    assert client.get(way).status_code == 401


def test_an_answer_of_another_issuer_lets_nobody_in(ward: tuple[FastAPI, TestClient], provider: Provider) -> None:
    _, client = ward
    assert client.get(provider.log_in(there(client), iss=ISSUER)).status_code == 200
    client.cookies.clear()
    assert "came from another log-in" in client.get(provider.log_in(there(client), iss="https://other.example")).text
    provider.about = {"authorization_response_iss_parameter_supported": True}
    app, _ = ward
    app.state.hospital = HospitalLogIn(app.state.hospital.hospital, provider.now_ms, provider.transport())
    assert "came from another log-in" in client.get(provider.log_in(there(client))).text


def test_a_code_that_was_swapped_lets_nobody_in(ward: tuple[FastAPI, TestClient], provider: Provider) -> None:
    """PKCE: another log-in's code does not go with this one's proof (RFC 7636, section 1)."""
    _, client = ward
    theirs = provider.log_in(there(client)).partition("code=")[2].partition("&")[0]
    mine = provider.log_in(there(client))
    state = mine.partition("state=")[2]
    back = client.get(f"{THERE}/back?code={theirs}&state={state}")
    assert back.status_code == 401 and "invalid grant" in back.text


def test_what_the_hospital_refused_is_said_in_plain_words(ward: tuple[FastAPI, TestClient]) -> None:
    _, client = ward
    state = there(client).partition("state=")[2].partition("&")[0]
    back = client.get(f"{THERE}/back", params={"state": state, "error": "access_denied", "error_description": "<i>x"})
    assert back.status_code == 401 and "access denied" in back.text and "<i>" not in back.text


def test_when_the_hospitals_log_in_is_down_the_password_still_does(
    ward: tuple[FastAPI, TestClient], provider: Provider
) -> None:
    _, client = ward
    provider.down = True
    answer = client.get(THERE)
    assert answer.status_code == 503 and "Log in with your password here" in answer.text
    assert client.post("/login", data={"login": "nurse", "password": PASSWORD}).status_code == 303


@pytest.mark.parametrize(
    "about",
    [{"issuer": f"{ISSUER}/other"}, {"token_endpoint": "http://log-in.hospital.example/token"}, {"jwks_uri": None}],
)
def test_an_issuer_that_says_something_else_of_itself_is_not_used(
    ward: tuple[FastAPI, TestClient], provider: Provider, about: dict[str, Any]
) -> None:
    """OpenID Connect Discovery 1.0, section 4.3: the issuer is exactly the one that was asked."""
    _, client = ward
    provider.about = about
    assert client.get(THERE).status_code == 503


def test_a_person_without_a_password_comes_in_by_the_hospital_alone(
    ward: tuple[FastAPI, TestClient], provider: Provider
) -> None:
    app, client = ward
    put_account(app.state.record, key_of("person", "nurse"), "nurse", None)
    assert client.post("/login", data={"login": "nurse", "password": ""}).status_code == 401
    assert client.post("/login", data={"login": "nurse", "password": PASSWORD}).status_code == 401
    assert client.get(provider.log_in(there(client))).status_code == 200
    assert not is_out(client)


def test_the_same_person_goes_on_in_the_locked_session_and_nobody_else_does(
    ward: tuple[FastAPI, TestClient], provider: Provider, clock: Clock
) -> None:
    """So a form that was half written can still be sent."""
    _, client = ward
    csrf = signed_in(client, "nurse")
    client.post("/lock", data={"csrf": csrf})
    assert client.get("/").status_code == 423
    way = provider.log_in(there(client))
    session = client.cookies.get("slackwater-session")
    assert client.get(way).status_code == 200
    assert client.cookies.get("slackwater-session") == session and token(client) == csrf
    client.post("/lock", data={"csrf": csrf})
    provider.subject = "surgeon"
    assert client.get(provider.log_in(there(client))).status_code == 200
    assert client.cookies.get("slackwater-session") != session
    assert "Invented surgeon" in client.get("/").text


def test_a_session_that_somebody_else_put_into_the_browser_is_not_gone_on_with(
    ward: tuple[FastAPI, TestClient], provider: Provider
) -> None:
    """Session fixation: who logs in gets a session of their own (OWASP ASVS 5.0.0, chapter 7)."""
    _, client = ward
    client.cookies.set("slackwater-session", "chosen-by-somebody")
    client.get(provider.log_in(there(client)))
    jar = [one.value for one in client.cookies.jar if one.name == "slackwater-session"]
    assert any(len(value or "") > 30 and value != "chosen-by-somebody" for value in jar)


def test_the_login_page_offers_it_only_where_it_is_set_up(ward: tuple[FastAPI, TestClient], tmp_path: Path) -> None:
    _, client = ward
    assert THERE in client.get("/login").text
    with a_ward(tmp_path / "other") as (_, other):
        assert THERE not in other.get("/login").text
        assert other.get(THERE).status_code == other.get(f"{THERE}/back").status_code == 404


def test_by_mail_only_a_proven_address_counts(tmp_path: Path, clock: Clock, provider: Provider) -> None:
    told = Hospital(ISSUER, CLIENT, SECRET, claim="email")
    with a_ward(tmp_path, clock, hospital=told) as (app, client):
        app.state.hospital = HospitalLogIn(told, clock, provider.transport())
        put_account(app.state.record, key_of("person", "nurse"), "nurse@hospital.example", None)
        provider.changed = lambda claims: claims.update(email="nurse@hospital.example")
        assert "not proven" in client.get(provider.log_in(there(client))).text
        provider.changed = lambda claims: claims.update(email="nurse@hospital.example", email_verified=True)
        assert client.get(provider.log_in(there(client))).status_code == 200


def test_without_the_extra_the_command_says_which(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "slackwater.web.hospital", None)  # as if its libraries were missing
    record = ("--record", str(tmp_path / "record"))
    ran = called("ward", *record, "--oidc-issuer", ISSUER, "--oidc-client", CLIENT, folder=tmp_path)
    assert ran.code == 4 and "slackwater[oidc]" in ran.err
    half = called("ward", *record, "--oidc-issuer", ISSUER, folder=tmp_path)
    assert half.code == 2 and "--oidc-client" in half.err
    monkeypatch.setenv("SLACKWATER_OIDC_ISSUER", ISSUER)
    monkeypatch.setenv("SLACKWATER_OIDC_CLIENT", CLIENT)
    assert called("ward", *record, folder=tmp_path).code == 4, "from the environment, too"


def test_the_log_in_speaks_tls() -> None:
    with pytest.raises(UsageError, match="in the clear"):
        HospitalLogIn(Hospital("http://log-in.hospital.example", CLIENT), lambda: 0)
    HospitalLogIn(Hospital("http://127.0.0.1:9000", CLIENT), lambda: 0)
