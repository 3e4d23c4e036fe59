"""Logging in by the hospital: there and back. Who may come in is whom the keeper entered, with the role given there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from slackwater.store.accounts import Session, account_of, session_of
from slackwater.store.record import Record
from slackwater.web.guard import COOKIE, Refused
from slackwater.web.pages import render
from slackwater.web.policy import ANYONE, allow
from slackwater.web.routes.access import here, let_in, login_form
from slackwater.web.settings import Settings

if TYPE_CHECKING:
    from slackwater.web.hospital import HospitalLogIn

router = APIRouter(include_in_schema=False)
THERE, BACK = "/login/hospital", "/login/hospital/back"
BROWSER = (
    "slackwater-hospital"  # a cookie that comes along from the hospital's page, and says nothing but which browser
)
allow("GET", THERE, ANYONE)
allow("GET", BACK, ANYONE)


@router.get(THERE)
async def there(request: Request, to: str = "/") -> Response:
    from slackwater.web.hospital import NotLetIn

    settings: Settings = request.app.state.settings
    scheme = "https" if settings.secure else "http"
    back = f"{scheme}://{request.headers.get('host', '')}{BACK}"
    try:
        url, browser = await _log_in(request).begin(back, here(to), request.cookies.get(COOKIE, ""))
    except NotLetIn as error:
        return login_form(request, to, error.why, error.status)
    answer = RedirectResponse(url, 303)
    answer.set_cookie(
        BROWSER, browser, max_age=600, httponly=True, secure=settings.secure, samesite="lax", path=THERE,
    )  # fmt: skip
    return answer


@router.get(BACK)
async def back(request: Request) -> Response:
    """The session's cookie is kept from what another site leads to, so a page of our own leads on."""
    from slackwater.web.hospital import NotLetIn

    log_in = _log_in(request)
    record: Record = request.app.state.record
    try:
        claims, begun = await log_in.end(request.query_params, request.cookies.get(BROWSER, ""))
        person = await run_in_threadpool(_known, record, request.app.state.settings, claims)
    except NotLetIn as error:
        answer = login_form(request, "/", error.why, error.status)
        answer.delete_cookie(BROWSER, path=THERE)
        return answer
    answer = render(request, "arrived.html", to=begun.to)
    answer.delete_cookie(BROWSER, path=THERE)
    held = await run_in_threadpool(_held, request, begun.held, person)
    if held is not None:  # the same person at the same screen goes on, with whatever is half written there
        now = request.app.state.settings.clock()
        await run_in_threadpool(request.app.state.sessions.mark, record, held, seen_ms=now, locked=False)
        request.app.state.sessions.forget()
        return answer
    return await let_in(request, person, answer)


def _log_in(request: Request) -> HospitalLogIn:
    found: HospitalLogIn | None = request.app.state.hospital
    if found is None:
        raise Refused(404, "the hospital's own log-in is not set up here")
    return found


def _known(record: Record, settings: Settings, claims: Mapping[str, Any]) -> str:
    """The person whom the keeper entered under what the token says. Nobody is entered by a token."""
    from slackwater.web.hospital import NotLetIn

    assert settings.hospital is not None
    claim = settings.hospital.claim
    login = claims.get(claim)
    if (
        not isinstance(login, str)
        or not login.strip()
        or (claim == "email" and claims.get("email_verified") is not True)
    ):
        raise NotLetIn(f"The hospital's log-in does not say who you are here (its {claim} is missing or not proven).")
    account = account_of(record, login=login)
    person = None if account is None else record.thing("person", account.person)
    if account is None or person is None or (person["left_ms"] is not None and person["left_ms"] <= settings.clock()):
        raise NotLetIn(
            f"The hospital knows you as {login[:80]}, but nobody of that login is entered here. Ask the keeper."
        )
    return account.person


def _held(request: Request, told: str, person: str) -> Session | None:
    """The locked session that this browser held when it went, if it is this person's and not over."""
    settings: Settings = request.app.state.settings
    session = session_of(request.app.state.record, told) if told else None
    session = session if session is None else request.app.state.sessions.as_it_is(session)
    if session is None or session.person != person or not session.locked:
        return None
    return session if settings.clock() - session.began_ms <= settings.session_s * 1000 else None
