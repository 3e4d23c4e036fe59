"""People, who looked at what, the first-minutes cards, and one's own password, for other programs."""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import Path, Request, Response
from pydantic import Field
from starlette.concurrency import run_in_threadpool

from slackwater.assessment.document import stamp
from slackwater.errors import UsageError
from slackwater.store.nouns import CARDS, ROLES
from slackwater.store.record import Record
from slackwater.store.rows import Thing
from slackwater.web.api_door import API, READS, WRITES, Refusal, api_router, as_page, documented
from slackwater.web.guard import Refused
from slackwater.web.routes.access import at_the_door
from slackwater.web.routes.cards import HEADS, held_cards, keep_card
from slackwater.web.routes.people import MOST_LOOKS, enter_person, leave, looks_of, set_password, ward_list
from slackwater.web.shapes import Change, OneOf, Part, Shape, Stamp, Write

router = api_router("people")

as_page("GET", f"{API}/people", "/people")
as_page("POST", f"{API}/people", "/people")
as_page("POST", f"{API}/people/{{person}}/left", "/people/{person}/left")
as_page("GET", f"{API}/looks", "/looks")
as_page("POST", f"{API}/me/password", "/password")
as_page("GET", f"{API}/cards", "/first-minutes")
as_page("POST", f"{API}/cards/{{card}}", "/first-minutes/{card}/edit")


class PersonShape(Shape):
    person: str
    version: int
    name: str
    role: Annotated[str, OneOf(ROLES)]
    wards: list[str] | None = Field(description="null: all of them.")
    left_at: Stamp | None


class PeopleShape(Shape):
    people: list[PersonShape]


class Person(Change):
    """A person with a login; or role, wards and password of the one who has it. Version 0: nobody has it yet."""

    name: Annotated[str, Field(min_length=1, max_length=80)]
    login: Annotated[str, Field(min_length=1, max_length=80)]
    role: Annotated[str, OneOf(ROLES)]
    wards: list[Annotated[str, Field(min_length=1, max_length=60)]] | None = Field(
        None, max_length=100, description="null: all of them."
    )
    password: str = Field(max_length=1000, description="A first password; the person changes it.")


class Left(Write):
    pass


class LookShape(Shape):
    at: Stamp
    name: str
    what: str
    drain: str


class LooksShape(Shape):
    """The latest looks; `more`: how many older ones are not shown."""

    looks: list[LookShape]
    more: int


class Password(Part):
    present: str = Field("", max_length=1000, description="The one until now; empty for who has none yet.")
    password: str = Field(max_length=1000)


class CardShape(Shape):
    """The unit's own text for the first minutes. Version 0: none is written yet."""

    card: Annotated[str, OneOf(CARDS)]
    title: str
    text: str | None
    approved_by: str | None
    version: int


class CardsShape(Shape):
    cards: list[CardShape]


class CardText(Change):
    text: Annotated[str, Field(min_length=1, max_length=2000)]
    approved_by: Annotated[str, Field(min_length=1, max_length=200)] = Field(description="Role and date.")


@router.get(f"{API}/people", responses=READS)
async def people(request: Request) -> PeopleShape:
    found = await run_in_threadpool(request.app.state.record.things, "person")
    return PeopleShape(people=[_person(one) for one in sorted(found, key=lambda one: str(one["name"]).casefold())])


def _person(one: Thing) -> PersonShape:
    wards = None if one["wards"] is None else json.loads(one["wards"])
    return PersonShape(
        person=one.key, version=one.version, name=one["name"], role=one["role"], wards=wards,
        left_at=stamp(one["left_ms"]),
    )  # fmt: skip


@router.post(f"{API}/people", responses=WRITES)
async def enter(request: Request, body: Person) -> PersonShape:
    """Enter a person, or change the one with that login; who is changed is logged out everywhere."""
    record: Record = request.app.state.record
    wards = ward_list(",".join(body.wards)) if body.wards is not None else None
    key = await run_in_threadpool(
        enter_person, record, request.state.who, body.name, body.login, body.role, wards, body.password, body.version
    )
    request.app.state.sessions.forget()
    return _person(await _known(record, key))


@router.post(f"{API}/people/{{person}}/left", responses=WRITES)
async def left(request: Request, person: Annotated[str, Path()], body: Left) -> PersonShape:
    """The person works here no longer: no log-in from now on; what they entered stays theirs."""
    record: Record = request.app.state.record
    await _known(record, person)
    await run_in_threadpool(leave, record, request.state.who, person)
    request.app.state.sessions.forget()
    return _person(await _known(record, person))


async def _known(record: Record, person: str) -> Thing:
    found = await run_in_threadpool(record.things, "person")
    one = next((one for one in found if one.key == person), None)
    if one is None:
        raise Refused(404, "there is no such person")
    return one


@router.get(f"{API}/looks", responses=READS)
async def looks(request: Request) -> LooksShape:
    """Who looked at what, the latest first."""
    await run_in_threadpool(request.app.state.looks.flush)
    found = await run_in_threadpool(looks_of, request.app.state.record)
    told = [{"at": stamp(one.pop("at_ms")), **one} for one in found[:MOST_LOOKS]]
    return LooksShape.model_validate({"looks": told, "more": max(len(found) - MOST_LOOKS, 0)})


@router.post(f"{API}/me/password", status_code=204, responses=WRITES)
async def password(request: Request, body: Password) -> Response:
    """One's own password; every session of this person ends, this one too."""
    state = request.app.state
    try:
        await at_the_door(
            request, set_password, state.settings, state.record, request.state.who, body.present, body.password
        )
    except UsageError as error:
        raise Refusal({error.where or "password": f"{error.what}. {error.mend}"}) from error
    request.app.state.sessions.forget()
    return Response(status_code=204)


@router.get(f"{API}/cards", responses=documented(401, 403, 423))
async def cards(request: Request) -> CardsShape:
    """What to do in the first two minutes, in the unit's own approved words."""
    held = await run_in_threadpool(held_cards, request.app.state.record)
    return CardsShape(cards=[_card(name, held.get(name)) for name in CARDS])


def _card(name: str, held: Thing | None) -> CardShape:
    return CardShape(
        card=name, title=HEADS[name], text=None if held is None else held["text"],
        approved_by=None if held is None else held["approved_by"], version=0 if held is None else held.version,
    )  # fmt: skip


@router.post(f"{API}/cards/{{card}}", responses=WRITES)
async def card(request: Request, card: Annotated[str, Path()], body: CardText) -> CardShape:
    """The text is the unit's own; the one before it stays in the record."""
    if card not in CARDS:
        raise Refused(404, "there is no such card")
    record, who = request.app.state.record, request.state.who
    await run_in_threadpool(keep_card, record, who, card, body.text, body.approved_by, body.version)
    return _card(card, (await run_in_threadpool(held_cards, record)).get(card))
