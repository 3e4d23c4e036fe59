"""At the door of every route: who is it, may they, is the form ours, is the drain of their wards."""

from __future__ import annotations

import hmac
import json
from dataclasses import dataclass
from urllib.parse import urlsplit

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from slackwater.errors import RecordError
from slackwater.store.accounts import Session, account_of, session_of, token_of
from slackwater.store.course import find_drain
from slackwater.store.record import Record
from slackwater.store.rows import Thing, things
from slackwater.web.policy import POLICY, Rule
from slackwater.web.settings import Settings

COOKIE = "slackwater-session"
CHANGING = ("POST", "PUT", "PATCH", "DELETE")
SEEN_EVERY_MS = 30_000  # how often the use of a session is written down


class Refused(Exception):
    """The door stays shut. 401: log in; 403: not for this role or not our form; 404: not there for you; 423: locked."""

    def __init__(self, status: int, why: str) -> None:
        self.status = status
        self.why = why
        super().__init__(why)


@dataclass(frozen=True)
class Who:
    """The person at the screen."""

    person: str
    name: str
    role: str
    wards: tuple[str, ...] | None  # None: all of them
    session: Session
    login: str = ""

    def sees(self, ward: str | None) -> bool:
        """A stay without a ward is seen by all; one with a ward only by its people."""
        return self.wards is None or ward is None or ward in self.wards


async def guard(request: Request) -> None:
    """Called for every route. Leaves `request.state.who` (None where nobody is logged in) and `.drain`."""
    route = request.scope["route"]
    rule = POLICY.get((request.method if request.method != "HEAD" else "GET", route.path))
    if rule is None:
        raise Refused(403, "no rule says who may do this")
    request.state.drain = None
    request.state.who = _lately(request) or await run_in_threadpool(_who, request)
    if rule.roles is None:
        if request.method in CHANGING:
            _same_origin(request)
        return
    who: Who | None = request.state.who
    if who is None:
        raise Refused(401, "please log in")
    if who.session.locked:
        raise Refused(423, "this screen is locked")
    if who.role not in rule.roles:
        raise Refused(403, "your role may not do this")
    if request.method in CHANGING:
        _same_origin(request)
        await _our_form(request, who)
    if rule.drain:
        request.state.drain = await run_in_threadpool(_drain, request, who)
    if rule.looks:
        request.app.state.looks.saw(who.person, rule.looks, request.state.drain)


def _lately(request: Request) -> Who | None:
    """Whoever was let in within the last seconds, is not idle for too long, and whose use need not be written down."""
    settings: Settings = request.app.state.settings
    who: Who | None = request.app.state.sessions.get(token_of(request.cookies.get(COOKIE, "")))
    if who is None:
        return None
    idle_ms = settings.clock() - who.session.seen_ms
    return who if idle_ms <= SEEN_EVERY_MS or (_by_itself(request) and idle_ms <= settings.idle_s * 1000) else None


def _who(request: Request) -> Who | None:
    record: Record = request.app.state.record
    settings: Settings = request.app.state.settings
    told = request.cookies.get(COOKIE)
    if not told:
        return None
    sessions, session = request.app.state.sessions, session_of(record, told)
    now = settings.clock()
    if session is None or now - session.began_ms > settings.session_s * 1000:
        return None
    session = sessions.as_it_is(session)
    person = record.thing("person", session.person)
    if person is None or (person["left_ms"] is not None and person["left_ms"] <= now):
        return None
    if not session.locked and now - session.seen_ms > settings.idle_s * 1000:
        session = sessions.mark(record, session, locked=True)
    elif not session.locked and now - session.seen_ms > SEEN_EVERY_MS and not _by_itself(request):
        session = sessions.mark(record, session, seen_ms=now)
    account = account_of(record, person=person.key)
    who = who_of(person, session, account.login if account is not None else "")
    if not session.locked:
        sessions.put(session.token, who)
    return who


def who_of(person: Thing, session: Session, login: str = "") -> Who:
    wards = None if person["wards"] is None else tuple(json.loads(person["wards"]))
    return Who(person.key, person["name"], person["role"], wards, session, login)


def _by_itself(request: Request) -> bool:
    """A page that refreshes by itself keeps nobody logged in."""
    return request.headers.get("x-by-itself") == "1"


def _same_origin(request: Request) -> None:
    origin = request.headers.get("origin")
    if origin is None and request.headers.get("sec-fetch-site") in (None, "same-origin", "none"):
        return
    if origin is None or urlsplit(origin).netloc != request.headers.get("host"):
        raise Refused(403, "the form came from another site")


async def _our_form(request: Request, who: Who) -> None:
    """The token that only our own pages hold: in the form, or in a header for scripts."""
    given = request.headers.get("x-csrf-token")
    if given is None:
        form = await request.form()
        found = form.get("csrf")
        given = found if isinstance(found, str) else ""
    if not hmac.compare_digest(given.encode(), who.session.csrf.encode()):
        raise Refused(403, "the form is not ours, or too old: load the page again")


def _drain(request: Request, who: Who) -> str:
    """The key of the path's drain, if it lies in the person's wards; else it is not there, as for any other name."""
    record: Record = request.app.state.record
    with record.reading() as connection:
        try:
            key = find_drain(connection, request.path_params["drain"])
        except RecordError:
            raise Refused(404, "there is no such drain") from None
        (drain,) = things(connection, "drain", keys=[key])
        (episode,) = things(connection, "episode", keys=[drain["episode"]])
    if not who.sees(episode["ward"]):
        raise Refused(404, "there is no such drain")
    return key


__all__ = ["COOKIE", "Refused", "Rule", "Who", "guard", "who_of"]
