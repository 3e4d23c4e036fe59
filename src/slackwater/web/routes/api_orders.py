"""Orders of suction, clamps and holds by other programs: by the pages' own checks, the order read back first."""

from __future__ import annotations

from typing import Annotated, ClassVar

from fastapi import Path, Request
from pydantic import Field

from slackwater.episode.instants import read_instant
from slackwater.episode.order import Known, suction_order
from slackwater.episode.values import CLAMP_KINDS
from slackwater.store.acts import key_of
from slackwater.store.course import Course
from slackwater.store.nouns import HOLD_REASONS
from slackwater.web.about import looked_at, recorded_as, standing_alone
from slackwater.web.api_door import AT, WRITES, api_router, as_page, fine
from slackwater.web.bedside import DRAIN, course_here
from slackwater.web.drain_sheet import Moment
from slackwater.web.forms import Form
from slackwater.web.guard import Refused
from slackwater.web.routes.orders import (
    checked_order,
    clamped,
    held,
    in_force_mark,
    ordered_here,
    unclamped,
    understood_here,
    unheld,
)
from slackwater.web.shapes import Body, Change, Instant, OfDrain, OneOf, Part, Recorded, Shape, Text, Write

router = api_router("orders")

as_page("POST", f"{AT}/orders/suction/understood", f"{DRAIN}/order")
as_page("POST", f"{AT}/orders/suction", f"{DRAIN}/order")
as_page("POST", f"{AT}/clamp", f"{DRAIN}/clamp")
as_page("POST", f"{AT}/clamp/off", f"{DRAIN}/clamp")
as_page("POST", f"{AT}/hold", f"{DRAIN}/hold")
as_page("POST", f"{AT}/holds/{{hold}}/end", f"{DRAIN}/hold")

Level = Annotated[
    str,
    Field(
        max_length=40, examples=["-20 cmH2O", "none_added"],
        description="With its unit: cmH2O, kPa, mmHg, hPa or mbar. A number without a unit is refused. Or none_added.",
    ),
]  # fmt: skip


class Question(Shape):
    """What must be answered by whoever orders. wants `level`: level and unit typed again; `operation`: its word."""

    id: str
    text: str
    wants: str


class Understood(OfDrain):
    """The order as it was understood. Read `reading_back` aloud to whoever sets the unit, and have it said back."""

    level: str
    unit: str
    beside: list[str] = Field(description="The same level in every unit that people speak of it in.")
    stops: list[Question]
    questions: list[Question]
    notes: list[str]
    reading_back: str
    seen: str = Field(description="The order in force now: send it with the order.")


class ToUnderstand(Part):
    level: Level


class Answer(Part):
    question: Annotated[str, Field(max_length=40)]
    answer: Annotated[str, Field(max_length=80)]


class Order(Write):
    FORM: ClassVar[dict[str, str]] = {"from_at": "at", "review_at": "review"}
    level: Level
    from_at: Instant
    reason: Text
    review_at: Instant | None = None
    may_be_off_min: Annotated[int, Field(gt=0, lt=100_000)] | None = None
    answers: list[Answer] = Field([], max_length=10)
    seen: Annotated[str, Field(max_length=80)] = Field(description="As it was given with what was understood.")
    read_back: Text = Field(description="The sentence that was read aloud, word for word as it was given.")
    heard: bool = Field(description="It was said back by whoever sets the unit.")


class ClampOn(Write):
    FORM: ClassVar[dict[str, str]] = {"off_after_min": "minutes"}
    at: Instant
    kind: Annotated[str, OneOf(CLAMP_KINDS)]
    off_after_min: Annotated[int, Field(gt=0, lt=100_000)]
    ordered_by: Text | None = Field(None, description="Needed for a trial and for an ordered clamp.")
    because: Text | None = Field(None, description="Needed where air was recorded or seen lately.")
    note: Text | None = None


class ClampOff(Write):
    at: Instant
    note: Text | None = None


class Hold(Write):
    at: Instant
    reason: Annotated[str, OneOf(HOLD_REASONS)]
    note: Text | None = None


class HoldEnd(Change):
    at: Instant


@router.post(f"{AT}/orders/suction/understood", responses=WRITES)
async def understood(request: Request, body: ToUnderstand) -> Understood:
    """How an order would be understood, what stops it and what is asked. Nothing is recorded."""
    form, course = Form({"level": body.level, "unit": ""}), await course_here(request)
    order = await understood_here(request, form, course)
    if order is None:
        fine(form)
    assert order is not None
    about, _, _ = await looked_at(request, Moment(request.app.state.settings.clock()), standing_alone)
    told = {name: [vars(one) for one in getattr(order, name)] for name in ("stops", "questions")}
    return Understood.model_validate({
        **about.model_dump(), **told, "level": order.level, "unit": order.unit, "beside": list(order.beside),
        "notes": list(order.notes), "reading_back": order.reading_back, "seen": in_force_mark(course),
    })  # fmt: skip


@router.post(f"{AT}/orders/suction", responses=WRITES)
async def order_suction(request: Request, body: Order) -> Recorded:
    """The order, after it was read back: by the mark of the order in force and the sentence that were given with it."""
    answers = {f"answer_{one.question}": one.answer for one in body.answers}
    form, course = body.form(unit="", confirmed="1", **answers), await course_here(request)
    key = key_of("order", course.drain.key, body.once)
    if key in {one.key for one in course.orders}:
        _sent_before(form, course, key, body)
        return await recorded_as(request, form, _names(body, form))
    order = await understood_here(request, form, course)
    details = checked_order(request, form, course, order)
    if order is not None and form.fine and body.read_back.strip() != order.reading_back:
        form.faults["read_back"] = f"This is not what was understood: {order.reading_back}"
    if form.fine and order is not None and details is not None:
        await ordered_here(request, form, order, details)
    return await recorded_as(request, form, _names(body, form))


def _sent_before(form: Form, course: Course, key: str, body: Order) -> None:
    """The same order again is the same; another one under its key is refused."""
    there = next(one for one in course.orders if one.key == key)
    again = suction_order(body.level, "", Known())
    form.keys = (key,)
    told = (again.level, again.unit, read_instant(body.from_at), body.may_be_off_min)
    if told != (there["level"], there["unit"] or "", there["from_ms"], there["may_be_off_min"]):
        form.faults["once"] = "Another order was sent under this key before. Give this one a key of its own."


def _names(body: Body, form: Form) -> dict[str, str]:
    """Of the body's fields and of the answers that the form found wrong."""
    answers = {name: f"answers.{name.removeprefix('answer_')}" for name in form.faults if name.startswith("answer_")}
    return {**body.names(), **answers}


@router.post(f"{AT}/clamp", responses=WRITES)
async def clamp(request: Request, body: ClampOn) -> Recorded:
    """A clamp goes on, with its kind and the time after which it comes off."""
    form = body.form()
    await clamped(request, form, await course_here(request))
    return await recorded_as(request, form, _names(body, form))


@router.post(f"{AT}/clamp/off", responses=WRITES)
async def clamp_off(request: Request, body: ClampOff) -> Recorded:
    """The clamp comes off; the timer that it left is done."""
    form = body.form()
    await unclamped(request, form, await course_here(request))
    return await recorded_as(request, form, _names(body, form))


@router.post(f"{AT}/hold", responses=WRITES)
async def hold_on(request: Request, body: Hold) -> Recorded:
    """The drain is kept for a reason, whatever the rule says."""
    form = body.form()
    await held(request, form, await course_here(request))
    return await recorded_as(request, form, _names(body, form))


@router.post(f"{AT}/holds/{{hold}}/end", responses=WRITES)
async def hold_end(
    request: Request, hold: Annotated[str, Path(description="The hold's key, as the course has it.")], body: HoldEnd
) -> Recorded:
    """The hold ends."""
    form, course = body.form(), await course_here(request)
    if hold not in {one.key for one in course.holds}:
        raise Refused(404, "there is no such hold of this drain")
    await unheld(request, form, course, hold)
    return await recorded_as(request, form, _names(body, form))
