"""Suction units for other programs: where each stands, one step of its life, and a set-up at a drain."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Request
from pydantic import Field
from starlette.concurrency import run_in_threadpool

from slackwater.assessment.document import stamp
from slackwater.store.listing import listed
from slackwater.store.nouns import UNIT_STATES
from slackwater.store.units import UnitNow, units_now
from slackwater.web.about import recorded_as
from slackwater.web.api_door import API, AT, READS, WRITES, api_router, as_page
from slackwater.web.bedside import DRAIN
from slackwater.web.guard import Refused
from slackwater.web.routes.units import SETUP, connected_here, stepped
from slackwater.web.shapes import Instant, OneOf, Recorded, Shape, Stamp, Text, Write

router = api_router("units")

as_page("GET", f"{API}/units", "/units")
as_page("POST", f"{API}/units/{{unit}}/state", "/units/{unit}/state")
as_page("POST", f"{AT}/unit", f"{DRAIN}/connect")

STEPS = tuple(state for state in UNIT_STATES if state != "in_use")
ITEMS = tuple(name for name, _ in SETUP)


class StepShape(Shape):
    state: str
    at: Stamp | None
    method: str | None
    note: str | None
    at_place: str | None


class UnitShape(Shape):
    """One unit. `needs`: what must still be done before it is for another patient, in order."""

    unit: str
    serial: str
    state: Annotated[str, OneOf(UNIT_STATES)]
    since: Stamp
    note: str
    drain: str | None = Field(description="The drain it serves; null: none, or one of another ward.")
    needs: list[str]
    history: list[StepShape]


class UnitsShape(Shape):
    units: list[UnitShape]


class Step(Write):
    """The next step, with how it was cleaned or what was tested; a fault, with what was seen or heard."""

    state: Annotated[str, OneOf(STEPS)]
    method: Text | None = None
    note: Text | None = None
    at_place: Text | None = None


class SetUp(Write):
    """A unit connected to a drain. `checked`: the items that two people looked at."""

    at: Instant
    serial: Annotated[str, Field(max_length=80)]
    serial_again: Annotated[str, Field(max_length=80)] = Field(description="Read from the unit once more.")
    second_person: Annotated[str, Field(max_length=80)]
    identified: bool = Field(description="Two identifiers at the patient, the drain's number, side and site checked.")
    checked: list[Annotated[str, OneOf(ITEMS)]] = Field(max_length=len(ITEMS))
    missing_because: Text | None = Field(None, description="Needed where an item was not checked.")
    arrived_with: Text | None = None


@router.get(f"{API}/units", responses=READS)
async def units(request: Request) -> UnitsShape:
    """Every unit, by its serial number."""
    record, who = request.app.state.record, request.state.who
    found = await run_in_threadpool(units_now, record, request.app.state.settings.clock())
    drains = await run_in_threadpool(listed, record, everything=True)
    seen = {one.key for one in drains if who.sees(one.ward)}
    return UnitsShape(units=[_unit(one, seen) for one in found])


def _unit(one: UnitNow, seen: set[str]) -> UnitShape:
    steps = [
        StepShape(
            state=step["state"], at=stamp(step.happened_ms), method=step["method"], note=step["note"],
            at_place=step["at_place"],
        )
        for step in one.history
    ]  # fmt: skip
    return UnitShape(
        unit=one.key, serial=one.serial, state=one.state, since=stamp(one.since_ms) or "", note=one.by_note,
        drain=one.drain if one.drain in seen else None, needs=list(one.needs), history=steps,
    )  # fmt: skip


@router.post(f"{API}/units/{{unit}}/state", responses=WRITES)
async def state(
    request: Request, unit: Annotated[str, Path(description="The unit's key, as the list has it.")], body: Step
) -> UnitShape:
    """One step of a unit's life; none may be skipped."""
    found = await units(request)
    if unit not in {one.unit for one in found.units}:
        raise Refused(404, "there is no such unit")
    await stepped(request, unit, body.form())
    return next(one for one in (await units(request)).units if one.unit == unit)


@router.post(f"{AT}/unit", responses=WRITES)
async def connect(request: Request, body: SetUp) -> Recorded:
    """The unit serves this drain from then on; another one's time here ends."""
    form = body.form(**{f"setup_{name}": "1" for name in body.checked})
    await connected_here(request, form)
    return await recorded_as(request, form)
