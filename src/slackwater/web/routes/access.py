"""Logging in and out, the screen that locks itself, and the first person of a new record."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, TypeVar

from anyio import to_thread
from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from slackwater.errors import SlackwaterError
from slackwater.store.accounts import (
    account_of,
    close_sessions,
    count_failure,
    open_session,
    put_account,
    session_of,
)
from slackwater.store.acts import key_of
from slackwater.store.record import Record
from slackwater.web.guard import COOKIE
from slackwater.web.pages import render
from slackwater.web.passwords import hashed, right, wait_ms
from slackwater.web.settings import Settings

router = APIRouter(include_in_schema=False)
Text = Annotated[str, Form()]
T = TypeVar("T")
WRONG = "Login or password is not right, or it must wait a little after several tries."


@router.get("/login")
async def login_page(request: Request, to: str = "/") -> Response:
    if request.app.state.first_start.open:
        return RedirectResponse("/first", 303)
    return login_form(request, to)


@router.post("/login")
async def log_in(request: Request, login: Text = "", password: Text = "", to: Text = "/") -> Response:
    person = await who_is(request, login, password)
    if person is None:
        return login_form(request, to, WRONG, 401)
    return await let_in(request, person, RedirectResponse(here(to), 303))


@router.get("/first")
async def first_page(request: Request) -> Response:
    if not request.app.state.first_start.open:
        return RedirectResponse("/login", 303)
    return render(request, "first.html", wrong="", name="", login="")


@router.post("/first")
async def first_person(
    request: Request, code: Text = "", name: Text = "", login: Text = "", password: Text = "", understood: Text = ""
) -> Response:
    """The first person becomes a keeper, who enters the others. What the tool is not is acknowledged by name."""
    start = request.app.state.first_start
    if not start.open:
        return RedirectResponse("/login", 303)
    wrong = ""
    if not start.right(code):
        wrong = "The code is not the one on the server's screen."
    elif understood.strip().lower() != "understood":
        wrong = "Write the word 'understood' to say that you have read the three sentences."
    if not wrong:
        try:
            person = await run_in_threadpool(_enter, request.app.state.record, name, login, password)
            return await let_in(request, person, RedirectResponse("/", 303))
        except SlackwaterError as error:
            wrong = str(error)
    return render(request, "first.html", status=422, wrong=wrong, name=name, login=login)


@router.post("/touch")
async def touch(request: Request) -> Response:
    """Somebody is at this screen, entering; `guard` has written it down."""
    return Response(status_code=204)


@router.post("/lock")
async def lock(request: Request) -> Response:
    sessions = request.app.state.sessions
    await run_in_threadpool(sessions.mark, request.app.state.record, request.state.who.session, locked=True)
    sessions.forget()
    return RedirectResponse("/", 303)


@router.post("/unlock")
async def unlock(request: Request, password: Text = "", to: Text = "/") -> Response:
    """The same person goes on where they were, with the password alone. Somebody else logs in anew."""
    record: Record = request.app.state.record
    session = session_of(record, request.cookies.get(COOKIE, ""))
    account = account_of(record, person=session.person) if session is not None else None
    login = account.login if account is not None else ""
    person = await who_is(request, login, password)
    by_script = request.headers.get("x-by-itself") == "1"
    if session is None or person != session.person:
        if by_script:
            return Response(status_code=401)
        return render(request, "locked.html", status=401, why=WRONG)
    now = request.app.state.settings.clock()
    await run_in_threadpool(request.app.state.sessions.mark, record, session, seen_ms=now, locked=False)
    request.app.state.sessions.forget()
    return Response(status_code=204) if by_script else RedirectResponse(here(to), 303)


@router.post("/logout")
async def log_out(request: Request) -> Response:
    await run_in_threadpool(close_sessions, request.app.state.record, token=request.state.who.session.token)
    request.app.state.sessions.forget()
    answer = RedirectResponse("/login", 303)
    answer.delete_cookie(COOKIE)
    return answer


async def who_is(request: Request, login: str, password: str) -> str | None:
    """The person whose login and password these are."""
    state = request.app.state
    return await at_the_door(request, checked, state.settings, state.record, login, password)


async def at_the_door(request: Request, work: Callable[..., T], *given: object) -> T:
    """Whatever works out a password: two at a time, for each takes 64 MB and a core for a while, and strangers must
    hold up no page."""
    return await to_thread.run_sync(work, *given, limiter=request.app.state.door)


def checked(settings: Settings, record: Record, login: str, password: str) -> str | None:
    """The person whose login and password these are. The password is worked out whoever asks and whenever."""
    account = account_of(record, login=login)
    fits = right(password, account.password if account is not None else None)
    now = settings.clock()
    if account is None:
        return None
    if now < account.wait_until_ms:
        return None
    if not fits:
        count_failure(record, account.person, now, wait_ms(account.failed + 1))
        return None
    return account.person if works_here(record, account.person, now) else None


def works_here(record: Record, person: str, now_ms: int) -> bool:
    """Whether the keeper has not said that the person left."""
    found = record.thing("person", person)
    return found is not None and (found["left_ms"] is None or found["left_ms"] > now_ms)


def _enter(record: Record, name: str, login: str, password: str) -> str:
    kept = hashed(password)
    person = key_of("person", login.strip().lower())
    with record.act(by=name, what="first start", why="read and understood: what this is not") as act:
        act.add("person", person, {"name": " ".join(name.split()), "role": "keeper"})
    put_account(record, person, login, kept)
    return person


def login_form(request: Request, to: str, wrong: str = "", status: int = 200) -> Response:
    return render(request, "login.html", status=status, to=here(to), wrong=wrong)


async def let_in(request: Request, person: str, answer: Response) -> Response:
    """A new session, whatever the browser held before, with the answer; it is `request.state.session`."""
    settings: Settings = request.app.state.settings
    now = settings.clock()
    over = now - 1000 * settings.session_s
    told, request.state.session = await run_in_threadpool(open_session, request.app.state.record, person, now, over)
    answer.set_cookie(COOKIE, told, httponly=True, secure=settings.secure, samesite="strict", path="/")
    return answer


def here(to: str) -> str:
    """A path of ours, never another site's. Browsers drop tabs and line ends from an address, and turn \\ into /."""
    return to if to.startswith("/") and not to.startswith("//") and to.isprintable() and "\\" not in to else "/"
