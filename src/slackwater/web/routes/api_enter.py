"""A new drain, its goal, where the patient lies, and its tasks, entered by other programs."""

from __future__ import annotations

from typing import Annotated, ClassVar

from fastapi import Path, Request
from pydantic import Field

from slackwater.episode.episode import INDICATIONS, OPERATIONS, SIDES, SPACES
from slackwater.web.about import recorded_as
from slackwater.web.api_door import API, AT, WRITES, Refusal, api_router, as_page, fine
from slackwater.web.bedside import DRAIN
from slackwater.web.routes.drain import finish_task, new_task, set_goal, set_stay
from slackwater.web.routes.enter import HEAVIEST_KG, OLDEST_YEARS, WIDEST_FR, entered_drain
from slackwater.web.shapes import Change, Instant, OneOf, Recorded, Text, Write

router = api_router("drains")

as_page("POST", f"{API}/drains", "/drain/new")
for _part, _page in (("goal", "goal"), ("stay", "stay"), ("tasks", "task"), ("tasks/{task}/done", "task")):
    as_page("POST", f"{AT}/{_part}", f"{DRAIN}/{_page}")


class NewDrain(Write):
    """Patient, stay, space and drain; what the record knows already is not changed from here."""

    FORM: ClassVar[dict[str, str]] = {"connected_at": "at", "same_space_as": "same_space"}
    patient: Text = Field(description="The hospital's own number or a pseudonym; the record needs no name.")
    number: Annotated[str, Field(max_length=12)]
    side: Annotated[str, OneOf(SIDES)]
    space: Annotated[str, OneOf(SPACES)]
    site: Annotated[str, Field(max_length=60)]
    connected_at: Instant
    size_fr: Annotated[float, Field(gt=0, le=WIDEST_FR)] | None = None
    age_years: Annotated[float, Field(gt=0, le=OLDEST_YEARS)] | None = None
    weight_kg: Annotated[float, Field(gt=0, le=HEAVIEST_KG)] | None = None
    operation: Annotated[str, OneOf(OPERATIONS)] | None = None
    indication: Annotated[str, OneOf(INDICATIONS)] | None = None
    same_space_as: Annotated[str, Field(max_length=12)] | None = Field(None, description="Another drain's number.")
    ward: Annotated[str, Field(max_length=60)] | None = None
    bed: Annotated[str, Field(max_length=20)] | None = None
    initials: Annotated[str, Field(max_length=6)] | None = None


class Goal(Change):
    goal: Text = Field(description="What this drain is for, and what finished looks like. Version 0 where none is set.")


class Stay(Change):
    """Where the patient lies. `version`: of the stay (`course.episode`). What is left out is then not known."""

    ward: Annotated[str, Field(max_length=60)] | None = None
    bed: Annotated[str, Field(max_length=20)] | None = None
    initials: Annotated[str, Field(max_length=6)] | None = None


class Task(Write):
    FORM: ClassVar[dict[str, str]] = {"due_at": "due"}
    what: Text
    due_at: Instant | None = None


class TaskDone(Change):
    result: Text | None = None


@router.post(f"{API}/drains", responses=WRITES)
async def new_drain(request: Request, body: NewDrain) -> Recorded:
    """A drain is entered, under a number that this patient never had before."""
    form = body.form()
    drain = await entered_drain(request, form)
    fine(form, body.names())
    if drain is None:
        raise Refusal(form.faults)
    request.state.drain, form.keys = drain, (drain,)
    return await recorded_as(request, form, body.names())


@router.post(f"{AT}/goal", responses=WRITES)
async def goal(request: Request, body: Goal) -> Recorded:
    """What the drain is for."""
    form = body.form()
    await set_goal(request, form)
    return await recorded_as(request, form, body.names())


@router.post(f"{AT}/stay", responses=WRITES)
async def stay(request: Request, body: Stay) -> Recorded:
    """Where the patient lies. A ward that this person does not see takes the drain out of their sight."""
    form = body.form()
    await set_stay(request, form)
    return await recorded_as(request, form, body.names())


@router.post(f"{AT}/tasks", responses=WRITES)
async def task(request: Request, body: Task) -> Recorded:
    """Something that is to be done about this drain."""
    form = body.form()
    await new_task(request, form)
    return await recorded_as(request, form, body.names())


@router.post(f"{AT}/tasks/{{task}}/done", responses=WRITES)
async def task_done(
    request: Request, task: Annotated[str, Path(description="The task's key, as the course has it.")], body: TaskDone
) -> Recorded:
    """A task is done, with what came of it."""
    form = body.form()
    await finish_task(request, form, task)
    return await recorded_as(request, form, body.names())
