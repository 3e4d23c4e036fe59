"""The people of the ward: who may log in, with which role, for which wards; and who looked at what."""

from __future__ import annotations

import json
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from slackwater.errors import SlackwaterError, UsageError
from slackwater.store.accounts import account_of, close_sessions, put_account
from slackwater.store.acts import key_of
from slackwater.store.facts import as_seen
from slackwater.store.nouns import ROLES
from slackwater.store.record import Record
from slackwater.store.rows import was_told
from slackwater.web.forms import Form, empty, form_of, fresh_key
from slackwater.web.guard import Who
from slackwater.web.pages import render
from slackwater.web.passwords import hashed
from slackwater.web.policy import EVERYONE, KEEPERS, Rule, allow
from slackwater.web.routes.access import at_the_door, checked
from slackwater.web.settings import Settings

router = APIRouter(include_in_schema=False)

allow("GET", "/people", Rule(KEEPERS, looks="people"))
allow("POST", "/people", Rule(KEEPERS))
allow("POST", "/people/{person}/left", Rule(KEEPERS))
allow("GET", "/password", Rule(EVERYONE))
allow("POST", "/password", Rule(EVERYONE))
allow("GET", "/looks", Rule(KEEPERS | {"audit_lead"}, looks="who looked"))

MOST_LOOKS = 500


@router.get("/people")
async def people(request: Request) -> Response:
    return await _page(request, empty())


@router.post("/people")
async def enter(request: Request) -> Response:
    """Enter a person, or change role, wards or password of the one with that login."""
    form = await form_of(request)
    name = form.text("name", needed="Who is it? Write the name.", longest=80)
    login = form.text("login", needed="Write the login.", longest=80)
    role = form.one_of("role", ROLES, needed="Choose the role.")
    password = form.text("password", needed="Write a first password; the person changes it.")
    wards = form.text("wards")
    if form.fine and name and login and role and password:
        try:
            await run_in_threadpool(
                enter_person, request.app.state.record, request.state.who, name, login, role, ward_list(wards), password
            )
            request.app.state.sessions.forget()
            return RedirectResponse("/people", 303)
        except SlackwaterError as error:
            form.faults["login"] = str(error)
    return await _page(request, form)


@router.post("/people/{person}/left")
async def left(request: Request, person: str) -> Response:
    """The person works here no longer: no log-in from now on; what they entered stays theirs."""
    await run_in_threadpool(leave, request.app.state.record, request.state.who, person)
    request.app.state.sessions.forget()
    return RedirectResponse("/people", 303)


@router.get("/password")
async def password_page(request: Request) -> Response:
    return render(request, "password.html", form=empty(), once=fresh_key(), done=False)


@router.post("/password")
async def change_password(request: Request) -> Response:
    """One's own password, by whoever knows the present one: a screen left open gives nobody an account. Every other
    screen of this person is logged out."""
    form = await form_of(request)
    if form.said.get("password") != form.said.get("again"):
        form.faults["again"] = "The two are not the same."
    if form.fine:
        try:
            await at_the_door(
                request, set_password, request.app.state.settings, request.app.state.record, request.state.who,
                form.said.get("present", ""), form.said.get("password", ""),
            )  # fmt: skip
            request.app.state.sessions.forget()
            return RedirectResponse("/login", 303)
        except SlackwaterError as error:
            form.faults["present" if error.where == "present" else "password"] = f"{error.what}. {error.mend}"
    return render(request, "password.html", status=422, form=Form({}, form.faults), once=fresh_key(), done=False)


@router.get("/looks")
async def looks(request: Request) -> Response:
    await run_in_threadpool(request.app.state.looks.flush)
    found = await run_in_threadpool(looks_of, request.app.state.record)
    return render(request, "looks.html", looks=found[:MOST_LOOKS], more=max(len(found) - MOST_LOOKS, 0))


async def _page(request: Request, form: Form) -> Response:
    record: Record = request.app.state.record
    persons = await run_in_threadpool(record.things, "person")
    rows = [
        {
            "key": one.key, "name": one["name"], "role": one["role"], "left": one["left_ms"] is not None,
            "wards": ", ".join(json.loads(one["wards"])) if one["wards"] else "all", "by_when": one.at_ms,
        }
        for one in sorted(persons, key=lambda one: one["name"].casefold())
    ]  # fmt: skip
    return render(
        request, "people.html", status=200 if form.fine else 422, form=form, persons=rows, roles=ROLES, once=fresh_key()
    )


def ward_list(text: str | None) -> str | None:
    names = sorted({" ".join(one.split()) for one in (text or "").split(",") if one.strip()})
    return json.dumps(names, ensure_ascii=False) if names else None


def enter_person(
    record: Record, who: Who, name: str, login: str, role: str, wards: str | None, password: str,
    version: int | None = None,
) -> str:  # fmt: skip
    """`version`: of the person that was seen, 0 for a new one; None: whatever the record says now."""
    kept = hashed(password)
    known = account_of(record, login=login)
    key = known.person if known is not None else key_of("person", login.strip().lower())
    fields = {"name": " ".join(name.split()), "role": role, "wards": wards, "left_ms": None}
    with record.act(by=who.name, what="person") as act:
        seen = act.thing("person", key)
        if version is None or not was_told(act.connection, "person", key, fields, version=version):
            as_seen(act, "person", key, version)
            if seen is None:
                act.add("person", key, fields)
            else:
                act.change("person", key, fields, version=seen.version)
    put_account(record, key, login, kept)
    close_sessions(record, person=key)
    return key


def leave(record: Record, who: Who, person: str) -> None:
    with record.act(by=who.name, what="left") as act:
        seen = act.thing("person", person)
        if seen is not None and seen["left_ms"] is None:
            act.change("person", person, {"left_ms": act.at_ms}, version=seen.version)
    close_sessions(record, person=person)


def set_password(settings: Settings, record: Record, who: Who, present: str, password: str) -> None:
    """`present`: the password until now, tried as at the log-in; who has none yet (the hospital's own log-in) gives
    none."""
    kept = hashed(password)
    account = account_of(record, person=who.person)
    known = account is not None and account.password is not None
    if account is not None and known and checked(settings, record, account.login, present) != who.person:
        raise UsageError(
            "it is not the present password, or it must wait a little after several tries", where="present",
            mend="Write the one with which you logged in.",
        )  # fmt: skip
    if account is not None:
        put_account(record, who.person, account.login, kept)
    close_sessions(record, person=who.person)


def looks_of(record: Record) -> list[dict[str, Any]]:
    with record.reading():
        names = {one.key: one["name"] for one in record.things("person", gone=True)}
        drains = {one.key: one["number"] for one in record.things("drain", gone=True)}
    found = sorted(record.things("look"), key=lambda one: (one.happened_ms or 0, one.key), reverse=True)
    return [
        {
            "at_ms": one.happened_ms, "name": names.get(one["person"], "not known"), "what": one["what"],
            "drain": "" if one["drain"] is None else f"{one['drain'][:8]} (drain {drains.get(one['drain'], '?')})",
        }
        for one in found
    ]  # fmt: skip
