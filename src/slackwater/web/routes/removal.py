"""A drain comes out, the right one, read back; and what is watched after it."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from slackwater.episode.episode import SIDES
from slackwater.episode.items import ITEMS
from slackwater.episode.typed import Typed, plain
from slackwater.report.drains import DrainMap, drain_map, tubes_of
from slackwater.store.charting import chart_set, check_done
from slackwater.store.course import Course
from slackwater.store.nouns import BREATH_PHASES, REMOVAL_KINDS
from slackwater.store.record import Acting
from slackwater.store.removing import BY_PLAN, OWED, PATIENT_STAYS, Out, ReadBack, faults_of, remove_drain, wrong_drain
from slackwater.store.rows import Thing
from slackwater.web.asked_items import DISTRESS, EMPHYSEMA_ASK, PAIN_COUGH, PAIN_REST, READINGS, XRAY, rows_of
from slackwater.web.bedside import (
    DRAIN,
    Rows,
    asked_here,
    course_here,
    form_page,
    kept_rows,
    moment_at,
    recorded,
    to_drain,
    version_of,
)  # fmt: skip
from slackwater.web.forms import Form, empty, form_of
from slackwater.web.policy import BEDSIDE, DOCTORS, NURSES, REMOVERS, Rule, allow
from slackwater.web.removal_facts import RemovalFacts, removal_facts, spans, watched

router = APIRouter(include_in_schema=False)

for _page, _roles in (("remove", DOCTORS | NURSES), ("after", BEDSIDE)):
    allow("GET", f"{DRAIN}/{_page}", Rule(_roles, drain=True, looks="removal"))
    allow("POST", f"{DRAIN}/{_page}", Rule(_roles, drain=True))

# The fields of the form, by the name that the record's own check gives them.
FIELDS = {"read_back.number": "number", "read_back.side": "side", "read_back.site": "site", "time_ms": "at",
          "analgesia_ms": "analgesia", "against_rule_because": "because"}  # fmt: skip
TIP = {"yes": True, "no": False}
OWED_WORDS = {
    "chest_xray": "Chest X-ray", "observations": "Observations of the patient", "site": "Look at the site",
    "suture_out": "Suture out",
}  # fmt: skip
SEEN = (*READINGS, DISTRESS, EMPHYSEMA_ASK, PAIN_REST, PAIN_COUGH)


# --- the removal ----------------------------------------------------------------------------------


@router.get(f"{DRAIN}/remove")
async def remove_page(request: Request) -> Response:
    return await _remove(request, empty(), await course_here(request))


@router.post(f"{DRAIN}/remove")
async def removed(request: Request) -> Response:
    """Number, side and site are read back, by typing or by a tap on the list of this patient's drains."""
    form, course = await form_of(request), await course_here(request)
    if await taken_out(request, form, course):
        return to_drain(request, "/after")
    return await _remove(request, form, course)


async def taken_out(request: Request, form: Form, course: Course) -> bool:
    """The drain is out; whether that was recorded."""
    if course.removal is not None:
        form.keys = (course.removal.key,)
        if not _same_removal(request, form, course, course.removal):
            form.faults["at"] = "This drain is recorded as out already, in other words. Look at both: is it this drain?"
        return form.fine  # else it was sent twice
    facts = await request.app.state.judges.ask(removal_facts, asked_here(request, course))
    if form.said.get("overall", "") != (facts.overall or ""):
        form.faults["because"] = "The rule's answer changed while you wrote: look at it, and record again."
        form.stale = True
    out = _out(request, form, course, facts)
    if out is not None and form.fine:
        once = form.once
        return await recorded(
            request, form, "drain removed", at="at", why=out.against_rule_because, names=_names(),
            do=lambda act, now: remove_drain(act, now, out, once=once),
        )  # fmt: skip
    return False


def _same_removal(request: Request, form: Form, course: Course, there: Thing) -> bool:
    """Whether this is what is recorded: a tip that was not whole, said later, must not be thought kept."""
    at_ms = Form(form.said).moment("at", request.app.state.settings.zone)
    told = {name: plain(form.said.get(name, "")) or None for name in ("kind", "removed_by", "second_person")}
    told["breath_phase"] = form.said.get("breath_phase") or None
    same = there["time_ms"] == at_ms and all(there[name] == said for name, said in told.items())
    tip = TIP.get(form.said.get("tip_intact", ""))
    return same and there["tip_intact"] == tip and not wrong_drain(course, _read_back(form, course))


def _out(request: Request, form: Form, course: Course, facts: RemovalFacts) -> Out | None:
    """The removal as told, or None with its faults."""
    settings = request.app.state.settings
    kind = form.one_of("kind", REMOVAL_KINDS, needed="Tap how it came out.")
    if kind in BY_PLAN and request.state.who.role not in REMOVERS:
        form.faults["kind"] = "A planned removal is recorded by whoever may decide it: specialist nurse or doctor."
    at_ms = moment_at(request, form, needed="Write when it came out.")
    phase = form.one_of("breath_phase", BREATH_PHASES)
    analgesia = moment_at(request, form, "analgesia", needed="")
    if analgesia is not None and form.ticked("no_analgesia"):
        form.faults["analgesia"] = "Either a time, or that none was given: not both."
    tip = TIP.get(form.said.get("tip_intact", ""))
    if kind is None or at_ms is None:
        return None
    due, not_owed = {}, {}
    for what in OWED:
        told = form.moment(f"due_{what}", settings.zone)
        because = form.text(f"not_{what}", longest=200)
        if told is None and because is None and what in facts.after_s:
            told = at_ms + round(1000 * facts.after_s[what])
        if told is not None:
            due[what] = told
        if because is not None:
            not_owed[what] = because
    if kind not in PATIENT_STAYS:
        due, not_owed = {}, {}
    out = Out(
        kind=kind, time_ms=at_ms, read_back=_read_back(form, course), removed_by=form.text("removed_by") or "",
        second_person=form.text("second_person") or "", breath_phase=phase, analgesia_ms=analgesia, tip_intact=tip,
        no_analgesia=form.ticked("no_analgesia"),
        overall=facts.overall, protocol=None if course.goal is None else course.goal["protocol"],
        against_rule_because=form.text("because", longest=500) or "", due=due, not_owed=not_owed,
    )  # fmt: skip
    for name, complaint in faults_of(course, out).items():
        form.faults.setdefault(_names().get(name, name), complaint)
    return out


def _names() -> dict[str, str]:
    return {**FIELDS, **{f"due.{what}": f"due_{what}" for what in OWED}}


def _read_back(form: Form, course: Course) -> ReadBack:
    """What was typed; or, by a tap, the recorded words of the drain that was tapped."""
    number, side, site = (form.text(name, longest=80) or "" for name in ("number", "side", "site"))
    tapped = form.said.get("tapped", "")
    if not tapped:
        return ReadBack(number, side, site)
    if tapped != course.drain.key:
        form.faults["tapped"] = "That is another drain of this patient. Read the number off the tube again."
        return ReadBack(number, side, site)
    drain, space = course.drain, course.space
    return ReadBack(number or drain["number"], side or space["side"] or "", site or drain["site"] or "")


async def _remove(request: Request, form: Form, course: Course) -> Response:
    facts = await request.app.state.judges.ask(removal_facts, asked_here(request, course))
    settings = request.app.state.settings
    tubes = await run_in_threadpool(_map, request, course)
    holds = [one for one in course.holds if one["to_ms"] is None]
    return form_page(
        request, "chart_remove.html", form, course, heading="Record a removal", facts=facts, tubes=tubes, holds=holds,
        kinds=[(word, word.replace("_", " ")) for word in REMOVAL_KINDS],
        phases=[(word, word.replace("_", " ")) for word in BREATH_PHASES], sides=[(word, word) for word in SIDES],
        owed=[(what, OWED_WORDS[what]) for what in OWED], after=spans(facts.after_s),
        removed=course.removal is not None, now_ms=settings.clock(),
    )  # fmt: skip


def _map(request: Request, course: Course) -> DrainMap:
    settings, record = request.app.state.settings, request.app.state.record
    with record.reading() as connection:
        tubes = tubes_of(connection, course.patient.key)
    return drain_map(tubes, "", settings.clock(), settings.zone)  # none is ringed: which one it is, is asked


# --- after it -------------------------------------------------------------------------------------


@router.get(f"{DRAIN}/after")
async def after_page(request: Request) -> Response:
    return _after(request, empty(), await course_here(request))


@router.post(f"{DRAIN}/after")
async def after(request: Request) -> Response:
    """A check that was owed is done; or observations of the patient."""
    form, course = await form_of(request), await course_here(request)
    check = next((one for one in course.checks if one.key == form.said.get("check")), None)
    if check is not None and course.removal is not None:
        done = await checked_after(request, form, check)
    else:
        done = await observed_after(request, form, course, after_rows(form))
    return to_drain(request, "/after") if done else _after(request, form, course)


async def checked_after(request: Request, form: Form, check: Thing) -> bool:
    """A check that was owed is done; whether that was recorded."""
    at_ms, by, once = moment_at(request, form), request.state.who.name, form.once
    result = form.text(f"result_{check.key}", needed="Write what was found.", longest=300) or ""
    film = form.said.get("chest_xray", "") if check["what"] == "chest_xray" else ""
    if check["what"] == "chest_xray" and film not in ITEMS["chest_xray"].words[:3]:
        form.faults["chest_xray"] = "Tap what the film shows; a film that is not read is still owed."
    version = version_of(form)
    if not form.fine or at_ms is None:
        return False

    def do(act: Acting, now: Course) -> str:
        if film:
            chart_set(act, now, (Typed("chest_xray", film, note=result),), by=by, at_ms=at_ms, once=once)
        check_done(act, now, check.key, version=version, by=by, at_ms=at_ms, result=result)
        return check.key

    return await recorded(request, form, f"{check['what']} after removal", do, at="at")


def after_rows(form: Form) -> Rows:
    rows = rows_of(form, SEEN)
    if site := form.text("site"):
        rows["site"] = Typed("site", site)
    return rows


async def observed_after(request: Request, form: Form, course: Course, rows: Rows) -> bool:
    """Observations of a patient whose drain is out; whether they were recorded."""
    if course.removal is None:
        form.faults["at"] = "The drain is in: chart a set instead."
        return False
    nothing = ("at", "Nothing was looked at yet, so there is nothing to record.")
    return await kept_rows(
        request, form, course, "observations after removal", rows, moment_at(request, form), after_removal=True,
        empty=nothing,
    )  # fmt: skip


def _after(request: Request, form: Form, course: Course) -> Response:
    settings = request.app.state.settings
    now = settings.clock()
    owed = sorted((one for one in course.checks if one["done_ms"] is None), key=lambda one: one["due_ms"] or now)
    return form_page(
        request, "chart_after.html", form, course, heading="After removal", owed=owed, words=OWED_WORDS,
        done=[one for one in course.checks if one["done_ms"] is not None],
        watched=watched(course, now, settings.zone), asks=SEEN, xray=XRAY[:3], now_ms=now,
    )  # fmt: skip
