"""Trips on battery: planned at a drain, come back from, and the day's trips of a whole ward with who charges when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from slackwater.equipment.trip import Answer
from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.orders import NO_SUCTION, off_words, suction_order
from slackwater.store.course import Course
from slackwater.store.record import Acting, Record
from slackwater.store.rows import Thing
from slackwater.store.trips import AtDrain, at_drain, back_from, open_trips, plan_trip
from slackwater.web.bedside import DRAIN, form_page, moment_at, recorded, to_drain, version_of, whole
from slackwater.web.day_plan import MOST_SOCKETS, Day, day_of
from slackwater.web.forms import Form, empty, form_of
from slackwater.web.guard import Who
from slackwater.web.pages import local_input, render
from slackwater.web.policy import BEDSIDE, EVERYONE, Rule, allow
from slackwater.web.unit_facts import charge_told, runs_told

router = APIRouter(include_in_schema=False)

allow("GET", f"{DRAIN}/trip", Rule(BEDSIDE, drain=True, looks="charting"))
allow("POST", f"{DRAIN}/trip", Rule(BEDSIDE, drain=True))
allow("POST", f"{DRAIN}/trip/{{trip}}/back", Rule(BEDSIDE, drain=True))
allow("GET", "/trips", Rule(EVERYONE, looks="trips"))

EARLIEST_MS = 10 * MINUTE_MS  # a trip may be entered that long after it began


@dataclass(frozen=True)
class Typed:
    """A trip as it was typed, with what the charge says of it."""

    from_ms: int | None
    destination: str | None
    fallback: str | None
    planned_min: int | None
    percent: float | None
    said: Answer | None


@router.get(f"{DRAIN}/trip")
async def trip_page(request: Request) -> Response:
    return await _page(request, empty(), None)


@router.post(f"{DRAIN}/trip")
async def trip(request: Request) -> Response:
    """Plan a trip. With `show` nothing is recorded: only what the charge says."""
    form, here = await form_of(request), await _here(request)
    typed = _typed(request, form, here)
    if form.said.get("show"):
        form.faults = {name: fault for name, fault in form.faults.items() if name in ("planned_min", "charge_percent")}
        return await _page(request, form, typed)
    note = form.text("note", longest=300)
    if form.fine and typed.from_ms is not None and typed.destination and typed.planned_min and typed.said:
        from_ms, destination, planned, said, once = (
            typed.from_ms, typed.destination, typed.planned_min, typed.said, form.once,
        )  # fmt: skip

        def do(act: Acting, course: Course) -> str:
            return plan_trip(
                act, course, from_ms=from_ms, destination=destination, planned_min=planned, fallback=typed.fallback,
                charge_percent=typed.percent, said=said, note=note, once=once,
            )  # fmt: skip

        names = {"planned": "planned_min", "charge": "charge_percent"}
        if await recorded(request, form, "trip planned", do, at="at", names=names):
            return to_drain(request, f"/trip?{urlencode({'done': '1'})}")
    return await _page(request, form, typed)


@router.post(f"{DRAIN}/trip/{{trip}}/back")
async def back(request: Request, trip: str) -> Response:
    """Back at the bed; from now on the log must show suction again."""
    form = await form_of(request)
    at_ms = moment_at(request, form, "back_at", needed="Write when they were back at the bed.")
    version = version_of(form)
    if form.fine and at_ms is not None:
        done = await recorded(
            request, form, "back from a trip", at="back_at",
            do=lambda act, course: back_from(act, course, trip, version=version, at_ms=at_ms),
        )  # fmt: skip
        if done:
            return to_drain(request)
    return await _page(request, form, None)


def _typed(request: Request, form: Form, here: AtDrain) -> Typed:
    settings = request.app.state.settings
    now_ms = settings.clock()
    from_ms = form.moment("at", settings.zone, needed="Write when they leave.")
    if from_ms is not None and from_ms < now_ms - EARLIEST_MS:
        form.faults["at"] = "This has passed. Plan what is to come; a walk that was made is charted."
    destination = form.text("destination", needed="Write where to.", longest=100)
    fallback = form.text("fallback", needed="Write what is done if the charge runs low on the trip.", longest=200)
    planned = whole(form, "planned_min", needed="Write how long there and back takes, in minutes.")
    percent = form.number("charge_percent")
    if percent is not None and percent > 100:
        form.faults["charge_percent"] = "Write percent, 0 to 100, as the unit shows it."
    fine = planned is not None and "charge_percent" not in form.faults
    said = here.covers(float(planned or 0), now_ms, from_ms or now_ms, settings.zone, percent) if fine else None
    return Typed(from_ms, destination, fallback, planned, percent, said)


async def _here(request: Request) -> AtDrain:
    record, drain = request.app.state.record, request.state.drain
    return await run_in_threadpool(at_drain, record, drain, request.app.state.settings.clock())


async def _page(request: Request, form: Form, typed: Typed | None) -> Response:
    settings = request.app.state.settings
    now_ms, zone = settings.clock(), settings.zone
    here = await _here(request)
    course = here.course

    def said(trip: Thing) -> Answer:
        return here.covers(float(trip["planned_min"] or 0), now_ms, trip["from_ms"], zone)

    return form_page(
        request, "trip.html", form, course, heading="A trip on battery", here=here, typed=typed,
        charge=charge_told(here.battery, now_ms, zone),
        runs=runs_told(here.battery.runs(now_ms), here.battery.why_not(now_ms)), planned=open_trips(course),
        done=request.query_params.get("done") == "1", says=said, now_text=local_input(now_ms, zone),
        order=_order(course, now_ms),
    )  # fmt: skip


def _order(course: Course, now_ms: int) -> str:
    """The order that stands, as on the round."""
    order = suction_order(course, now_ms)
    off = off_words(order)
    return off if order is None or off == NO_SUCTION else f"{order.words}; {off}"


@router.get("/trips")
async def trips_of_the_day(request: Request, sockets: str = "", hours: str = "") -> Response:
    """Every drain of this person's wards that is in: its trips, what the charge says, and who charges when."""
    settings, who = request.app.state.settings, request.state.who
    asked = int(sockets) if sockets.isascii() and sockets.isdecimal() and len(sockets) < 4 else None
    ahead = int(hours) if hours in ("4", "8", "12", "24") else 12
    now_ms, record = settings.clock(), request.app.state.record
    day = await run_in_threadpool(_day, record, who, now_ms, ahead, asked, settings.zone)
    return render(request, "trip_day.html", day=day, hours=ahead, most=MOST_SOCKETS, may_plan=who.role in BEDSIDE)


def _day(record: Record, who: Who, now_ms: int, hours: int, sockets: int | None, zone: tzinfo) -> Day:
    return day_of(record, who.sees, now_ms, hours, sockets, zone)
