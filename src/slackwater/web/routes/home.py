"""Home with the drain in: may the patient go, what is told from there, and the clinic's list by day of drain."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from slackwater.episode.typed import Typed
from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.sheets.make import KINDS as SHEETS
from slackwater.store.course import Course
from slackwater.store.home import TELLERS, at_home, change_home, of_diary, send_home, tell_diary
from slackwater.store.listing import Listed, listed
from slackwater.store.nouns import Value
from slackwater.store.record import Record
from slackwater.store.rows import Thing
from slackwater.web.asked_items import (
    COUGH,
    DISTRESS,
    FLUID,
    LOOKS,
    NOTE,
    PAIN_REST,
    READINGS,
    SITE,
    SWING,
    TRACED,
    rows_of,
)
from slackwater.web.bedside import (
    DRAIN,
    asked_here,
    course_here,
    form_page,
    kept_rows,
    moment_at,
    out_by,
    recorded,
    rows_fine,
    to_drain,
    version_of,
)
from slackwater.web.charted import last_of_each, row_of
from slackwater.web.forms import Form, empty, form_of
from slackwater.web.guard import Who
from slackwater.web.home_lines import EMPYEMA, HomeAsked, HomeTold, home_told
from slackwater.web.pages import render
from slackwater.web.policy import BEDSIDE, EVERYONE, REMOVERS, Rule, allow

router = APIRouter(include_in_schema=False)
allow("GET", "/clinic", Rule(BEDSIDE, looks="clinic"))
allow("GET", f"{DRAIN}/home", Rule(EVERYONE, drain=True, looks="home"))
allow("POST", f"{DRAIN}/home", Rule(REMOVERS, drain=True))
allow("POST", f"{DRAIN}/home/told", Rule(BEDSIDE, drain=True))
allow("POST", f"{DRAIN}/home/{{stay}}", Rule(BEDSIDE, drain=True))
allow("GET", f"{DRAIN}/diary", Rule(BEDSIDE, drain=True, looks="diary"))
allow("POST", f"{DRAIN}/diary", Rule(BEDSIDE, drain=True))

BEFORE = (
    ("home_help", "Somebody at home can help"), ("home_phone", "The ward can be rung at any hour"),
    ("home_taught", "Shown what to do, and did it themselves"), ("home_spares", "Spares handed over"),
)  # fmt: skip
YES_NO = (("yes", "yes"), ("no", "no"))
DIARY = (
    replace(DISTRESS, label="Short of breath, or worse than before", choices=(("no", "no"), ("yes", "yes"))),
    next(one for one in READINGS if one.item == "temperature"),
    replace(TRACED, label="Tube", choices=(("checked", "free, joints tight"), ("kinked", "kink or loop"),
                                           ("apart", "a joint came apart"))),
    FLUID, LOOKS, SITE, replace(SWING, hint=""), replace(COUGH, label="Bubbles on a cough", hint=""), PAIN_REST, NOTE,
)  # fmt: skip
TELLER_WORDS = tuple((one, one.replace("_", " ")) for one in TELLERS)


# --- may the patient go, and the time at home -----------------------------------------------------


@router.get(f"{DRAIN}/home")
async def home_page(request: Request) -> Response:
    return await _home(request, empty(), await course_here(request))


@router.post(f"{DRAIN}/home")
async def gone_home(request: Request) -> Response:
    """The patient goes home; where the rule is not plainly met, who decided and why is asked."""
    form, course = await form_of(request), await course_here(request)
    from_ms = moment_at(request, form, needed="Write when the patient leaves, or left.")
    visit_ms = form.moment("visit", request.app.state.settings.zone)
    contact = form.text("contact", needed="Write whom they ring, day and night.", longest=200)
    why = form.text("why", longest=500)
    told = await _judged(request, course, None)
    if told.status != "met" and not why:
        form.faults["why"] = f"The rule's answer is: {told.word}. Write who decided, and why."
    if not form.ticked("sheet"):
        form.faults["sheet"] = "Give them the sheet for home, and tick it."
    if from_ms is not None and contact is not None and form.fine:
        once = form.once
        await recorded(
            request, form, "home with the drain", at="at", why=why or "", names={"from": "at"},
            do=lambda act, now: send_home(
                act, now, from_ms=from_ms, visit_ms=visit_ms, contact=contact, eligible=told.status or told.word,
                protocol=told.protocol, once=once,
            ),
        )  # fmt: skip
    return to_drain(request, "/home") if form.fine else await _home(request, form, course)


@router.post(f"{DRAIN}/home/told")
async def before_leaving(request: Request) -> Response:
    """What must be so at home, told before they leave: chart rows."""
    form, course = await form_of(request), await course_here(request)
    rows = {item: Typed(item, value) for item, _ in BEFORE if (value := form.one_of(item, ("yes", "no")))}
    nothing = ("home_help", "Nothing is answered yet.")
    if await kept_rows(request, form, course, "before going home", rows, moment_at(request, form), empty=nothing):
        return to_drain(request, "/home")
    return await _home(request, form, course)


@router.post(f"{DRAIN}/home/{{stay}}")
async def changed(request: Request, stay: str) -> Response:
    """The next visit, whom to ring, or that the patient is back."""
    form, course = await form_of(request), await course_here(request)
    settings = request.app.state.settings
    new: dict[str, Value] = {
        "visit_ms": form.moment("visit", settings.zone), "contact": form.text("contact", longest=200),
        "to_ms": form.moment("to", settings.zone, now_ms=settings.clock()),
    }  # fmt: skip
    told = {name: value for name, value in new.items() if value is not None}
    version = version_of(form)
    if not told and form.fine:
        form.faults["visit"] = "Nothing is told yet."
    if form.fine:
        await recorded(
            request, form, "home changed", at="visit", names={"to": "to"},
            do=lambda act, now: change_home(act, now, stay, told, version=version),
        )  # fmt: skip
    return to_drain(request, "/home") if form.fine else await _home(request, form, course)


async def _home(request: Request, form: Form, course: Course) -> Response:
    settings, now = request.app.state.settings, request.app.state.settings.clock()
    stays = request.app.state.record.things("home", {"drain": course.drain.key})
    here = at_home(stays, now)
    told = await _judged(request, course, here)
    return form_page(
        request, "home.html", form, course, told=told, here=here, stays=sorted(stays, key=lambda one: -one["from_ms"]),
        before=BEFORE, yes_no=YES_NO, last=last_of_each(course, now, settings.zone), home_sheet="home" in SHEETS,
        may_send=request.state.who.role in REMOVERS, may_enter=request.state.who.role in BEDSIDE, empyema=EMPYEMA,
    )  # fmt: skip


async def _judged(request: Request, course: Course, here: Thing | None) -> HomeTold:
    asked = HomeAsked(**vars(asked_here(request, course)), from_ms=None if here is None else here["from_ms"])
    found: HomeTold = await request.app.state.judges.ask(home_told, asked)
    return found


# --- the diary ------------------------------------------------------------------------------------


@router.get(f"{DRAIN}/diary")
async def diary_page(request: Request) -> Response:
    return await _diary(request, empty(), await course_here(request))


@router.post(f"{DRAIN}/diary")
async def diary_told(request: Request) -> Response:
    """What patient, relative or district nurse tell becomes chart rows, all in one act."""
    form, course = await form_of(request), await course_here(request)
    at_ms = moment_at(request, form, needed="Write when it was so.")
    teller = form.one_of("teller", TELLERS, needed="Tap who told it.")
    rows = rows_of(form, DIARY)
    out_by(form, course, at_ms)
    if not rows and form.fine:
        form.faults["distress"] = "Nothing is told yet, so there is nothing to record."
    if rows_fine(form, rows, at_ms, request.app.state.settings.clock()) and at_ms is not None and teller is not None:
        by, once = request.state.who.name, form.once
        await recorded(
            request, form, "diary from home", at="at",
            do=lambda act, now: tell_diary(act, now, tuple(rows.values()), teller, by=by, at_ms=at_ms, once=once),
        )  # fmt: skip
    return to_drain(request, "/diary") if form.fine else await _diary(request, form, course)


async def _diary(request: Request, form: Form, course: Course) -> Response:
    settings, now = request.app.state.settings, request.app.state.settings.clock()
    here = at_home(request.app.state.record.things("home", {"drain": course.drain.key}), now)
    rows = [row_of(one, now, settings.zone) for one in reversed(of_diary(course, 0, now))]
    return form_page(
        request, "diary.html", form, course, asks=DIARY, tellers=TELLER_WORDS, rows=rows, here=here,
        last=last_of_each(course, now, settings.zone), told=await _judged(request, course, here),
    )  # fmt: skip


# --- the clinic -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class ClinicLine:
    """One drain at home."""

    drain: Listed
    home: Thing
    told: HomeTold | None  # None: the program failed here
    visit_over: bool

    @property
    def place(self) -> tuple[bool, int, bool, int]:
        """Flags first; then what is missing: no entry at all, the oldest entry, a visit not made or not booked."""
        told = self.told
        if told is None:
            return False, -1, False, 0
        age = -1 if told.last_ms is None else told.last_ms
        return not told.flags, age, not (self.visit_over or self.home["visit_ms"] is None), -(told.day or 0)


@router.get("/clinic")
async def clinic(request: Request) -> Response:
    """Every drain at home that this person sees."""
    state, who = request.app.state, request.state.who
    now = state.settings.clock()
    found = await run_in_threadpool(_at_home, state.record, who, now)
    lines = await asyncio.gather(*(_line(request, drain, home, now) for drain, home in found))
    return render(
        request, "clinic.html", lines=sorted(lines, key=lambda one: (*one.place, one.drain.name)), empyema=EMPYEMA
    )


async def _line(request: Request, drain: Listed, home: Thing, now: int) -> ClinicLine:
    settings = request.app.state.settings
    asked = HomeAsked(
        settings.place, drain.key, now // MINUTE_MS * MINUTE_MS, settings.zone_name, from_ms=home["from_ms"]
    )
    try:
        told = await request.app.state.judges.ask(home_told, asked)
    except Exception:  # noqa: BLE001  # one drain's fault must not hide the others
        told = None
    return ClinicLine(drain, home, told, home["visit_ms"] is not None and home["visit_ms"] < now)


def _at_home(record: Record, who: Who, now: int) -> list[tuple[Listed, Thing]]:
    stays: dict[str, list[Thing]] = {}
    for one in record.things("home"):
        stays.setdefault(one["drain"], []).append(one)
    found = []
    for drain in listed(record):
        home = at_home(stays.get(drain.key, ()), now)
        if home is not None and who.sees(drain.ward):
            found.append((drain, home))
    return found
