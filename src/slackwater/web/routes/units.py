"""Suction units: set up at a drain with two people, and turned round for the next patient, no step left out."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from slackwater.errors import NotWritten, SlackwaterError, StaleError, UsageError
from slackwater.store.acts import key_of
from slackwater.store.listing import listed
from slackwater.store.nouns import RECALLED
from slackwater.store.record import Record
from slackwater.store.rows import Thing, acts
from slackwater.store.units import AWAY, UnitNow, connect, set_state
from slackwater.web.bedside import DRAIN, course_here
from slackwater.web.forms import Form, empty, form_of, fresh_key
from slackwater.web.guard import Who
from slackwater.web.pages import local_input, render
from slackwater.web.policy import BEDSIDE, EVERYONE, NURSES, Rule, allow
from slackwater.web.unit_facts import fleet_of

router = APIRouter(include_in_schema=False)

HANDLERS = NURSES | {"engineer"}
ENGINEERS = frozenset({"engineer"})
allow("GET", "/units", Rule(EVERYONE))
allow("POST", "/units/{unit}/state", Rule(HANDLERS))
allow("GET", f"{DRAIN}/connect", Rule(BEDSIDE, drain=True, looks="set-up"))
allow("POST", f"{DRAIN}/connect", Rule(BEDSIDE, drain=True))

# What two people look at before a unit is connected (common practice, no source; the unit's own list may ask more).
SETUP = (
    ("canister", "Canister seated, dated, its tube fits"),
    ("filter", "Filter dry"),
    ("tubing", "Tubing of the right length, no loop hanging, every joint pushed home"),
    ("self_test", "The unit's own self-test passed"),
    ("occluded", "Patient end closed by hand: flow near zero, so the circuit itself does not leak"),
    ("below_chest", "Unit upright and below the chest"),
    ("charger", "Charger at the bed and plugged in"),
    ("bedside", "Two clamps and an airtight dressing at the bed"),
    ("sound", "The unit's own signal can be heard at the bed"),
)


@router.get("/units")
async def units(request: Request) -> Response:
    return await _units(request, "")


@router.post("/units/{unit}/state")
async def step(request: Request, unit: str) -> Response:
    """One step of a unit's life, by whoever did it."""
    try:
        await stepped(request, unit, await form_of(request))
    except SlackwaterError as error:
        return await _units(request, str(error))
    return RedirectResponse("/units", 303)


async def stepped(request: Request, unit: str, form: Form) -> None:
    """Record the step. Raises SlackwaterError for one that is not its turn, or says too little."""
    if form.said.get("state") == "faulty" and not (form.text("note") or form.text("method")):
        raise UsageError("write what went wrong, as it was seen or heard")
    await run_in_threadpool(
        set_state, request.app.state.record, unit, form.said.get("state", ""), by=request.state.who.name,
        method=form.text("method"), note=form.text("note"), place=form.text("at_place"), once=form.once,
    )  # fmt: skip


async def _units(request: Request, wrong: str) -> Response:
    record: Record = request.app.state.record
    who: Who = request.state.who
    settings = request.app.state.settings
    fleet = await run_in_threadpool(fleet_of, record, settings.clock(), settings.zone)
    found = [one.now for one in fleet.units]
    counts = Counter(unit.stands for unit in found)
    return render(
        request, "units.html", status=422 if wrong else 200, fleet=fleet, wrong=wrong,
        names=await run_in_threadpool(names_seen, record, who),
        away=AWAY, may_step=who.role in HANDLERS, may_recall=who.role in ENGINEERS, once=fresh_key(),
        by=await run_in_threadpool(_by, record, found), recalled=RECALLED,
        faults={unit.key: fault for unit in found if (fault := _fault(unit)) is not None},
        counts=[
            (counts[one], one) for one in sorted(counts, key=lambda stands: (not stands.startswith("in use"), stands))
        ],
        at=lambda ms: local_input(ms, request.app.state.settings.zone),
    )  # fmt: skip


def names_seen(record: Record, who: Who) -> dict[str, str]:
    """Drains of this person's wards, by key: 'W-1/1, South, bed 4'."""
    seen = [one for one in listed(record, everything=True) if who.sees(one.ward)]
    return {one.key: ", ".join((one.name, one.ward or "ward not recorded", _bed(one.bed))) for one in seen}


def _bed(bed: str | None) -> str:
    return f"bed {bed}" if bed else "bed not recorded"


def _fault(unit: UnitNow) -> Thing | None:
    """The last fault that was reported, until the unit was tested after it."""
    for one in reversed(unit.history):
        if one["state"] in ("faulty", "tested"):
            return one if one["state"] == "faulty" else None
    return None


def _by(record: Record, units: Iterable[UnitNow]) -> dict[int, str]:
    """Who recorded each step, by its place in the ledger."""
    with record.reading() as connection:
        return {
            act.seq: act.by
            for one in {one.seq for unit in units for one in unit.history}
            for act in acts(connection, one - 1, one)
        }


@router.get(f"{DRAIN}/connect")
async def connect_page(request: Request) -> Response:
    return await _connect(request, empty())


@router.post(f"{DRAIN}/connect")
async def connected(request: Request) -> Response:
    """Bind unit and drain from a moment on; a swap ends the earlier unit's time."""
    form = await form_of(request)
    if await connected_here(request, form):
        return RedirectResponse(f"/drain/{request.state.drain}", 303)
    return await _connect(request, form)


async def connected_here(request: Request, form: Form) -> bool:
    """The unit serves this drain from now on; whether that was recorded."""
    record, settings = request.app.state.record, request.app.state.settings
    serial = form.text("serial", needed="Write the unit's serial number, as it stands on it.", longest=80)
    again = form.text("serial_again", needed="Read it again from the unit, and write it again.")
    if serial and again and serial != again:
        form.faults["serial_again"] = "The two are not the same. Read it from the unit once more."
    at = form.moment("at", settings.zone, now_ms=settings.clock(), needed="Write when it was connected.")
    second = form.text("second_person", needed="Two people check. Who was the second?", longest=80)
    identified = form.ticked("identified")
    if not identified:
        form.faults["identified"] = "Check two identifiers at the patient, the drain's number, side and site."
    missing = [name for name, _ in SETUP if not form.ticked(f"setup_{name}")]
    because = form.text("missing_because")
    if missing and not because:
        form.faults["missing_because"] = "Some items are not ticked. Check them, or write why not."
    if second and second.casefold() == request.state.who.name.casefold():
        form.faults["second_person"] = "That is you. The second must be another person."
    if form.fine and serial and at is not None and second:
        checked = {"checked": [name for name, _ in SETUP if name not in missing], "missing_because": because}
        try:
            form.keys = await run_in_threadpool(
                _do, record, request.state.who, request.state.drain, serial, at, checked, second,
                form.text("arrived_with"), form.once,
            )  # fmt: skip
            return True
        except NotWritten:
            raise
        except SlackwaterError as error:
            form.faults["serial"], form.stale = str(error), isinstance(error, StaleError)
    return False


def _do(
    record: Record, who: Who, drain: str, serial: str, at: int, checked: Mapping[str, object], second: str,
    arrived_with: str | None, once: str,
) -> tuple[str, ...]:  # fmt: skip
    with record.act(by=who.name, what="unit connected") as act:
        connect(
            act, drain=drain, serial=serial, at_ms=at, checked=json.dumps(checked, sort_keys=True),
            second_person=second, arrived_with=arrived_with, once=once,
        )  # fmt: skip
    return (key_of("pairing", drain, serial, at),)


async def _connect(request: Request, form: Form) -> Response:
    course = await course_here(request)
    settings = request.app.state.settings
    return render(
        request, "connect.html", status=200 if form.fine else 422, course=course, form=form, setup=SETUP,
        once=fresh_key(), at=local_input(settings.clock(), settings.zone),
    )  # fmt: skip
