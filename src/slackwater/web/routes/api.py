"""The API itself: who am I, logging in and out by JSON, the screen's lock, and the document that describes it all."""

from __future__ import annotations

from fastapi import Request
from fastapi.responses import JSONResponse, Response
from pydantic import Field
from starlette.concurrency import run_in_threadpool

from slackwater.store.accounts import Session, account_of, close_sessions
from slackwater.web.api_document import document_of
from slackwater.web.api_door import API, WRITES, api_router, as_page, documented, problem
from slackwater.web.guard import COOKIE, Refused, Who, who_of
from slackwater.web.policy import SIGNED_IN, allow
from slackwater.web.routes.access import WRONG, let_in, who_is
from slackwater.web.shapes import Part, Shape

router = api_router("session")

allow("GET", f"{API}/openapi.json", SIGNED_IN)
allow("GET", f"{API}/me", SIGNED_IN)
as_page("POST", f"{API}/login", "/login")
as_page("POST", f"{API}/unlock", "/unlock")
as_page("POST", f"{API}/lock", "/lock")
as_page("POST", f"{API}/touch", "/touch")
as_page("POST", f"{API}/logout", "/logout")


class LogIn(Part):
    name: str = Field(description="The login.", max_length=200)
    password: str = Field(max_length=1000)


class Unlock(Part):
    password: str = Field(max_length=1000)


class Me(Shape):
    """Who is logged in. `csrf` goes with every write, as the header x-csrf-token."""

    person: str
    name: str
    role: str
    wards: list[str] | None = Field(description="null: all of them.")
    csrf: str
    zone: str = Field(description="The ward's clock.")
    idle_s: int = Field(description="So long untouched, and the screen locks itself.")


def _me(request: Request, who: Who) -> Me:
    settings = request.app.state.settings
    return Me(
        person=who.person, name=who.name, role=who.role, wards=None if who.wards is None else list(who.wards),
        csrf=who.session.csrf, zone=settings.zone_name, idle_s=settings.idle_s,
    )  # fmt: skip


@router.get(f"{API}/openapi.json", include_in_schema=False)
async def openapi(request: Request) -> Response:
    return JSONResponse(document_of(request.app))


@router.get(f"{API}/me", responses=documented(401, 403, 423))
async def me(request: Request) -> Me:
    """Who is logged in, and the token that writes carry."""
    return _me(request, request.state.who)


@router.post(f"{API}/login", response_model=Me, responses=documented(400, 401, 403, 415, 422, 503))
async def log_in(request: Request, body: LogIn) -> Response:
    """Log in; the answer sets the session's cookie. After wrong tries the next one waits, as on the page."""
    person = await who_is(request, body.name, body.password)
    if person is None:
        return problem(401, WRONG)
    return await _with_cookie(request, person)


async def _with_cookie(request: Request, person: str) -> Response:
    blank = await let_in(request, person, Response())
    session: Session = request.state.session
    found = await run_in_threadpool(request.app.state.record.thing, "person", person)
    answer = JSONResponse(_me(request, who_of(found, session)).model_dump())
    answer.headers["set-cookie"] = blank.headers["set-cookie"]
    return answer


@router.post(f"{API}/lock", status_code=204, responses=WRITES)
async def lock(request: Request) -> None:
    """Lock the screen: nothing is told until the password is given again."""
    sessions = request.app.state.sessions
    await run_in_threadpool(sessions.mark, request.app.state.record, request.state.who.session, locked=True)
    sessions.forget()


@router.post(f"{API}/unlock", response_model=Me, responses=documented(400, 401, 403, 415, 422, 503))
async def unlock(request: Request, body: Unlock) -> Me:
    """The same person goes on, with the password alone."""
    record, who = request.app.state.record, request.state.who
    account = None if who is None else await run_in_threadpool(account_of, record, person=who.person)
    settings = request.app.state.settings
    login = "" if account is None else account.login
    person = await who_is(request, login, body.password)
    if who is None or person != who.person:
        raise Refused(401, WRONG)
    sessions = request.app.state.sessions
    await run_in_threadpool(sessions.mark, record, who.session, seen_ms=settings.clock(), locked=False)
    sessions.forget()
    return _me(request, who)


@router.post(f"{API}/touch", status_code=204, responses=WRITES)
async def touch(request: Request) -> None:
    """Somebody is at this screen."""


@router.post(f"{API}/logout", status_code=204, responses=WRITES)
async def log_out(request: Request) -> Response:
    await run_in_threadpool(close_sessions, request.app.state.record, token=request.state.who.session.token)
    request.app.state.sessions.forget()
    answer = Response(status_code=204)
    answer.delete_cookie(COOKIE)
    return answer
