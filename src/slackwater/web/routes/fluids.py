"""Fluid with its sums before it is saved, and the canister changed."""

from __future__ import annotations

from datetime import tzinfo
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import Response

from slackwater.episode.instants import read_instant
from slackwater.episode.typed import Typed
from slackwater.errors import QuantityError
from slackwater.store.charting import add_task, change_canister, chart_set
from slackwater.store.course import Course
from slackwater.store.record import Acting
from slackwater.web.asked_items import FLUID, LEVEL, LOOKS, rows_of
from slackwater.web.bedside import (
    DRAIN,
    Rows,
    asked_here,
    course_here,
    form_page,
    kept_rows,
    moment_at,
    out_by,
    recorded,
    rows_fine,
    to_drain,
)  # fmt: skip
from slackwater.web.charted import last_of_each
from slackwater.web.forms import Form, empty, form_of
from slackwater.web.off_the_mains import filling
from slackwater.web.policy import BEDSIDE, DOCTORS, NURSES, Rule, allow
from slackwater.web.set_facts import Told, set_facts, sums

router = APIRouter(include_in_schema=False)

LARGEST_ML = 20_000.0  # a canister that holds more is a slip (ours)

for _page, _roles in (("fluid", BEDSIDE), ("canister", DOCTORS | NURSES)):
    allow("GET", f"{DRAIN}/{_page}", Rule(_roles, drain=True, looks="charting"))
    allow("POST", f"{DRAIN}/{_page}", Rule(_roles, drain=True))


@router.get(f"{DRAIN}/fluid")
async def fluid_page(request: Request) -> Response:
    return await _fluid(request, empty(), await course_here(request), ())


@router.post(f"{DRAIN}/fluid")
async def fluid(request: Request) -> Response:
    """What drained since the last entry. With `show` nothing is recorded: only the sums."""
    form, course = await form_of(request), await course_here(request)
    at_ms = moment_at(request, form, needed="Write when it was read.")
    rows = fluid_rows(form)
    if form.said.get("show"):
        fine = rows_fine(form, rows, at_ms, request.app.state.settings.clock())
        form.faults.clear()
        return await _fluid(request, form, course, tuple(rows.values()) if fine else (), at_ms)
    if await kept_fluid(request, form, course, rows, at_ms):
        return to_drain(request, f"/set/told?{urlencode({'set': form.once})}")
    return await _fluid(request, form, course, (), at_ms)


async def kept_fluid(request: Request, form: Form, course: Course, rows: Rows, at_ms: int | None) -> bool:
    nothing = ("fluid_output", "Nothing is written yet. Not measured is not zero: write 0 only for none.")
    return await kept_rows(request, form, course, "fluid charted", rows, at_ms, empty=nothing)


def fluid_rows(form: Form) -> Rows:
    rows = rows_of(form, (FLUID, LOOKS, LEVEL))
    if amount := form.text("instilled"):
        rows["instilled"] = Typed("instilled", amount, "mL")
    if "fluid_output" in rows and (note := form.text("note", longest=300)):
        rows["fluid_output"] = Typed("fluid_output", rows["fluid_output"].value, "mL", note)
    return rows


async def _fluid(
    request: Request, form: Form, course: Course, rows: tuple[Typed, ...], at_ms: int | None = None
) -> Response:
    settings, judges = request.app.state.settings, request.app.state.judges
    asked = asked_here(request, course)
    facts = await judges.ask(set_facts, asked)
    typed = Told(**vars(asked), rows=rows, at_ms=settings.clock() if at_ms is None else at_ms)
    return form_page(
        request, "chart_fluid.html", form, course, heading="Fluid", facts=facts, asks=(FLUID, LOOKS, LEVEL),
        sums=await judges.ask(sums, typed), counted_in=bool(rows),
        last=last_of_each(course, settings.clock(), settings.zone),
    )  # fmt: skip


@router.get(f"{DRAIN}/canister")
async def canister_page(request: Request) -> Response:
    return await _canister(request, empty(), await course_here(request))


@router.post(f"{DRAIN}/canister")
async def canister(request: Request) -> Response:
    """The canister changed: its level before, the new one's lots, the clamp if there was one, suction back on."""
    form, course = await form_of(request), await course_here(request)
    if await kept_canister(request, form, course):
        return to_drain(request)
    return await _canister(request, form, course)


async def kept_canister(request: Request, form: Form, course: Course) -> bool:
    settings = request.app.state.settings
    at_ms = moment_at(request, form, needed="Write when it was changed.")
    out_by(form, course, at_ms)
    back = form.one_of("suction_back", ("yes", "not_on", "not_yet"), needed="Look at the unit: is suction back on?")
    on_ms, off_ms = (moment_at(request, form, name, needed="") for name in ("clamp_on", "clamp_off"))
    expires = _day(form, settings.zone)
    level = form.said.get("canister_level", "").strip()
    rows_fine(form, {"canister_level": Typed("canister_level", level, "mL" if level else "")}, at_ms, settings.clock())
    size_ml = form.number("size_ml")
    if size_ml is not None and not 0 < size_ml <= LARGEST_ML:
        form.faults["size_ml"] = f"Write mL, above 0 and at most {LARGEST_ML:g}."
    lot, filter_lot = form.text("lot", longest=80) or "", form.text("filter_lot", longest=80) or ""
    by = request.state.who.name
    if form.fine and at_ms is not None:
        once = form.once

        def do(act: Acting, now: Course) -> str:
            key = change_canister(
                act, now, level=level, level_unit="mL" if level else "", by=by, at_ms=at_ms, once=once, lot=lot,
                filter_lot=filter_lot, expires_ms=expires, clamp_on_ms=on_ms, clamp_off_ms=off_ms,
                size_ml=size_ml,
            )  # fmt: skip
            if back == "yes":
                seen = Typed("suction_unit", "on", note="suction back on after the canister was changed")
                chart_set(act, now, (seen,), by=by, at_ms=at_ms, once=f"{once} back")
            elif back == "not_yet":
                add_task(act, now, "suction back on after the canister was changed", due_ms=at_ms, once=f"{once} back")
            return key

        names = {"clamp": "clamp_on", "column value": "canister_level"}
        return await recorded(request, form, "canister changed", do, at="at", names=names)
    return False


async def _canister(request: Request, form: Form, course: Course) -> Response:
    full = await request.app.state.judges.ask(filling, asked_here(request, course))
    size = next((one["size_ml"] for one in reversed(course.canisters) if one["size_ml"] is not None), None)
    return form_page(
        request, "chart_canister.html", form, course, heading="Canister changed", full=full,
        size="" if size is None else f"{size:g}",
    )  # fmt: skip


def _day(form: Form, zone: tzinfo) -> int | None:
    """The day on which the canister expires: its beginning by the ward's clock."""
    found = form.text("expires")
    if found is None:
        return None
    try:
        return read_instant(f"{found}T00:00", zone)
    except QuantityError:
        form.faults["expires"] = "Write the day as 2041-03-07."
        return None
