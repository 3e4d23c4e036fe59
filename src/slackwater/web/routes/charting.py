"""Charting at the bedside: a full set, handling of tube and unit, a film, a cough or walk, and correcting a row."""

from __future__ import annotations

from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from slackwater.episode.items import ITEMS
from slackwater.episode.typed import Typed
from slackwater.report.orders import suction_order
from slackwater.store.charting import correct_entry, take_back_entry
from slackwater.store.course import Course
from slackwater.store.rows import Thing
from slackwater.web.after_set import SO_IT_IS, JustCharted, after_set
from slackwater.web.asked_items import (
    EFFORT,
    EMPHYSEMA,
    PAIN_COUGH,
    SWING,
    XRAY,
    Choices,
    full_set,
    plain_choices,
    rows_of,
    typed_items,
)
from slackwater.web.bedside import (
    DRAIN,
    Rows,
    asked_here,
    course_here,
    form_page,
    kept_rows,
    moment_at,
    recorded,
    rows_fine,
    to_drain,
    version_of,
)  # fmt: skip
from slackwater.web.charted import last_of_each, mine, of_set, row_of, rows_by_time
from slackwater.web.forms import Form, empty, form_of
from slackwater.web.guard import Refused
from slackwater.web.pages import local_input, render
from slackwater.web.policy import BEDSIDE, Rule, allow
from slackwater.web.set_facts import Told, score, set_facts

router = APIRouter(include_in_schema=False)

for _page in ("set", "handle", "xray", "try"):
    allow("GET", f"{DRAIN}/{_page}", Rule(BEDSIDE, drain=True, looks="charting"))
    allow("POST", f"{DRAIN}/{_page}", Rule(BEDSIDE, drain=True))
allow("GET", f"{DRAIN}/set/told", Rule(BEDSIDE, drain=True, looks="charting"))
allow("POST", f"{DRAIN}/set/told", Rule(BEDSIDE, drain=True))
allow("GET", f"{DRAIN}/correct", Rule(BEDSIDE, drain=True, looks="charting"))
allow("GET", f"{DRAIN}/entry/{{entry}}/correct", Rule(BEDSIDE, drain=True, looks="charting"))
allow("POST", f"{DRAIN}/entry/{{entry}}/correct", Rule(BEDSIDE, drain=True))

HANDLED = "tube or unit handled"
# What is done to a tube or a unit, as a form sends it: item and word.
TUBE: Choices = tuple(
    (f"tubing:{word}", words)
    for word, words in (
        ("checked", "traced: free, joints tight"), ("kinked", "kink or loop found"), ("milked", "milked"),
        ("flushed", "flushed"), ("capped", "capped"), ("apart", "came apart"), ("reconnected", "reconnected"),
    )
)  # fmt: skip
UNIT: Choices = tuple(
    (f"suction_unit:{word}", words)
    for word, words in (
        ("off", "switched off, or off suction"), ("on", "on again"), ("exchanged", "exchanged"), ("fell", "fell"),
        ("tilted", "tilted"), ("charging", "put on charge"),
    )
)  # fmt: skip


# --- a full set -----------------------------------------------------------------------------------


@router.get(f"{DRAIN}/set")
async def set_page(request: Request) -> Response:
    return await _set(request, empty(), await course_here(request), {})


@router.post(f"{DRAIN}/set")
async def set_sent(request: Request) -> Response:
    """What was looked at becomes chart rows, all in one act. With `show` nothing is recorded: only the score."""
    form, course = await form_of(request), await course_here(request)
    at_ms = moment_at(request, form, needed="Write when it was looked at.")
    rows = rows_of(form)
    if form.said.get("show"):
        now = request.app.state.settings.clock()
        fit = {name: row for name, row in rows.items() if rows_fine(Form({}), {name: row}, at_ms, now)}
        form.faults.clear()
        return await _set(request, form, course, fit, at_ms)
    if await kept_set(request, form, course, rows, at_ms):
        return RedirectResponse(_told_path(request, form.once), 303)
    return await _set(request, form, course, {})


async def kept_set(request: Request, form: Form, course: Course, rows: Rows, at_ms: int | None) -> bool:
    """What was looked at, in one act."""
    nothing = ("at", "Nothing was looked at yet, so there is nothing to record.")
    return await kept_rows(request, form, course, "a set charted", rows, at_ms, empty=nothing)


async def _set(request: Request, form: Form, course: Course, rows: Rows, at_ms: int | None = None) -> Response:
    settings, judges = request.app.state.settings, request.app.state.judges
    asked = asked_here(request, course)
    facts = await judges.ask(set_facts, asked)
    last = last_of_each(course, settings.clock(), settings.zone)
    unit = bool(course.logs) or any(
        one["drain"] == course.drain.key and one["to_ms"] is None for one in course.pairings
    )
    once_known = {item: last[item] for item in ("spo2_scale", "pregnant") if item in last}
    wanted = full_set(unit=unit, flow_live=facts.live, counted=facts.counted, known=once_known, typed=typed_items(form))
    typed = Told(**vars(asked), rows=tuple(rows.values()), at_ms=asked.now_ms if at_ms is None else at_ms)
    shown = await judges.ask(score, typed) if any(name in rows for name in SCORED) else None
    return form_page(
        request, "chart_set.html", form, course, heading="Chart a set", facts=facts, groups=wanted, last=last,
        score=shown, once_known=[
            f"{item.replace('_', ' ').replace('spo2', 'SpO2')}: {one.text}, charted {one.when}."
            for item, one in once_known.items()
        ],
    )  # fmt: skip


SCORED = ("resp_rate", "spo2", "oxygen", "heart_rate", "systolic", "temperature", "consciousness")


@router.get(f"{DRAIN}/set/told")
async def told_page(request: Request, set: str = "") -> Response:
    return await _told(request, empty(), await course_here(request), set)


@router.post(f"{DRAIN}/set/told")
async def it_is_so(request: Request) -> Response:
    """What was asked about stands as it was charted; the note says that it was looked at again."""
    form, course = await form_of(request), await course_here(request)
    once = form.said.get("set", "")
    if await looked_again(request, form, entry_here(course, form.said.get("entry", ""))):
        return RedirectResponse(_told_path(request, once), 303)
    return await _told(request, form, course, once)


async def looked_again(request: Request, form: Form, row: Thing) -> bool:
    """It stands as it was charted; whether that was recorded."""
    note = form.text("note", needed="Say what was seen when it was looked at again.", longest=300) or ""
    version, by = version_of(form), request.state.who.name
    form.keys = (row.key,)
    if form.fine and row.version == version + 1 and (row["note"] or "").startswith(f"{SO_IT_IS}: {note}"):
        return True  # sent twice
    before = f" ({row['note']})" if row["note"] else ""
    same = Typed(row["item"], row["value"] or "", row["unit"] or "", f"{SO_IT_IS}: {note}{before}")
    return form.fine and await recorded(
        request, form, "looked at again", at="note", why=note,
        do=lambda act, now: correct_entry(act, now, row.key, same, version=version, by=by, why=note),
    )  # fmt: skip


async def _told(request: Request, form: Form, course: Course, once: str) -> Response:
    settings = request.app.state.settings
    rows = list(of_set(course, once))
    asked = asked_here(request, course)
    now, just = asked.now_ms, JustCharted(**vars(asked), once=once)
    return form_page(
        request, "chart_told.html", form, course, heading="Recorded", once_of=once,
        rows=[row_of(one, now, settings.zone) for one in rows],
        told=await request.app.state.judges.ask(after_set, just), of=form.said.get("entry", ""),
    )  # fmt: skip


def _told_path(request: Request, once: str) -> str:
    return f"/drain/{request.state.drain}/set/told?{urlencode({'set': once})}"


# --- handling, film, cough or walk ----------------------------------------------------------------


@router.get(f"{DRAIN}/handle")
async def handle_page(request: Request) -> Response:
    return await _handle(request, empty(), await course_here(request))


@router.post(f"{DRAIN}/handle")
async def handled(request: Request) -> Response:
    """Something was done to the tube or the unit, and what was seen after it."""
    form, course = await form_of(request), await course_here(request)
    rows = handled_rows(form)
    if await kept_rows(request, form, course, HANDLED, rows, moment_at(request, form)):
        return RedirectResponse(_told_path(request, form.once), 303)
    return await _handle(request, form, course)


def handled_rows(form: Form) -> Rows:
    what = form.one_of("what", tuple(word for word, _ in (*TUBE, *UNIT)), needed="Tap what was done.")
    note = form.text("note", longest=500) or ""
    rows: Rows = {}
    if what is not None:
        item, _, word = what.partition(":")
        rows["what"] = Typed(item, word, note=note)
    if amount := form.text("instilled"):
        rows["instilled"] = Typed("instilled", amount, "mL")
        if what != "tubing:flushed":
            form.faults["instilled"] = "An amount is put in when the tube is flushed. Tap that, or empty this."
    for item in ("swing", "surgical_emphysema"):
        if value := form.text(item):
            rows[item] = Typed(item, value)
    return rows


async def _handle(request: Request, form: Form, course: Course) -> Response:
    last = _last(request, course)
    return form_page(
        request, "chart_handle.html", form, course, heading="Trace tube and unit", tube=TUBE, unit=UNIT, last=last,
        swing=SWING.choices, emphysema=EMPHYSEMA,
    )  # fmt: skip


@router.get(f"{DRAIN}/xray")
async def xray_page(request: Request) -> Response:
    return _xray(request, empty(), await course_here(request))


@router.post(f"{DRAIN}/xray")
async def xray(request: Request) -> Response:
    """A film as it was reviewed; one that was taken and not read is charted so, and waits."""
    form, course = await form_of(request), await course_here(request)
    if await kept_film(request, form, course):
        return to_drain(request)
    return _xray(request, form, course)


async def kept_film(request: Request, form: Form, course: Course) -> bool:
    """A film is of the patient: it may be charted after the drain is out."""
    rows: Rows = {}
    if value := form.one_of("chest_xray", ITEMS["chest_xray"].words, needed="Tap what was seen."):
        reader = form.text("read_by", longest=80)
        if value != "not_reviewed" and not reader:
            form.faults["read_by"] = "Write who read it."
        note = "; ".join(text for text in (f"read by {reader}" if reader else "", form.text("note") or "") if text)
        rows["chest_xray"] = Typed("chest_xray", value, note=note)
    at_ms = moment_at(request, form)
    return await kept_rows(request, form, course, "chest X-ray charted", rows, at_ms, after_removal=True)


def _xray(request: Request, form: Form, course: Course) -> Response:
    last = _last(request, course)
    return form_page(request, "chart_xray.html", form, course, heading="Chest X-ray", choices=XRAY, last=last)


@router.get(f"{DRAIN}/try")
async def try_page(request: Request) -> Response:
    return await _try(request, empty(), await course_here(request))


@router.post(f"{DRAIN}/try")
async def tried(request: Request) -> Response:
    """A cough or a walk, and whether air was looked for and seen."""
    form, course = await form_of(request), await course_here(request)
    if await kept_effort(request, form, course):
        return RedirectResponse(_told_path(request, form.once), 303)
    return await _try(request, form, course)


async def kept_effort(request: Request, form: Form, course: Course) -> bool:
    effort = form.one_of("effort", ("cough", "walk"), needed="Tap which it was.")
    seen = form.one_of("seen", ITEMS["cough"].words, needed="Tap what was seen.")
    rows: Rows = {}
    if effort is not None and seen is not None:
        how = [form.text(name, longest=200) for name in ("distance", "suction", "note")]
        rows["seen"] = Typed(effort, seen, note="; ".join(text for text in how if text))
    if pain := form.text("pain_cough"):
        rows["pain_cough"] = Typed("pain_cough", pain)
    return await kept_rows(request, form, course, f"{effort or 'effort'} charted", rows, moment_at(request, form))


async def _try(request: Request, form: Form, course: Course) -> Response:
    facts = await request.app.state.judges.ask(set_facts, asked_here(request, course))
    order = suction_order(course, request.app.state.settings.clock())
    off = None if order is None else order.may_be_off_min
    return form_page(
        request, "chart_try.html", form, course, heading="Cough or walk", choices=EFFORT, facts=facts,
        last=_last(request, course), off=off, ordered=order is not None, pain=PAIN_COUGH,
    )  # fmt: skip


def _last(request: Request, course: Course) -> dict[str, object]:
    settings = request.app.state.settings
    return {**last_of_each(course, settings.clock(), settings.zone)}


# --- correcting -----------------------------------------------------------------------------------


@router.get(f"{DRAIN}/correct")
async def rows_page(request: Request) -> Response:
    """Every row that may be mended."""
    course, settings = await course_here(request), request.app.state.settings
    rows, older = rows_by_time(course, settings.clock(), settings.zone)
    return render(request, "chart_rows.html", course=course, heading="Correct an entry", rows=rows, older=older)


@router.get(f"{DRAIN}/entry/{{entry}}/correct")
async def correct_page(request: Request, entry: str) -> Response:
    course = await course_here(request)
    row = entry_here(course, entry)
    as_it_is = Form({name: row[name] or "" for name in ("value", "unit", "note")})
    return _correct(request, as_it_is, course, row)


@router.post(f"{DRAIN}/entry/{{entry}}/correct")
async def corrected(request: Request, entry: str) -> Response:
    """Another version of a row, or the row taken back; the old one stays in the history with the reason."""
    form, course = await form_of(request), await course_here(request)
    row = entry_here(course, entry)
    if await corrected_row(request, form, row):
        return to_drain(request, "/correct")
    return _correct(request, form, course, row)


async def corrected_row(request: Request, form: Form, row: Thing) -> bool:
    """The row as it ought to be, or (with `back`) taken back; whether that was recorded."""
    entry, form.keys = row.key, (row.key,)
    why = form.text("why", needed="Write why it is corrected: it stays in the history.", longest=300) or ""
    version = version_of(form)
    if form.said.get("back"):
        return form.fine and await recorded(
            request, form, "entry taken back", at="why", why=why,
            do=lambda act, now: take_back_entry(act, now, entry, version=version, why=why),
        )  # fmt: skip
    at_ms = moment_at(request, form)
    if form.said.get("at") == local_input(row["time_ms"], request.app.state.settings.zone):
        at_ms = row["time_ms"]  # the field shows whole minutes: an untouched one changes nothing
    value, unit, note = (form.said.get(name, "").strip() for name in ("value", "unit", "note"))
    if row["item"] == "suction_ordered" and (value, unit) != (row["value"] or "", row["unit"] or ""):
        form.faults["value"] = "A level is ordered on the page for orders, where it is checked and read back."
    typed = Typed(row["item"], value, unit, note, at_ms)
    by = request.state.who.name
    says = [row[name] or "" for name in ("value", "unit", "note", "written_by")]
    if row.version == version + 1 and (*says, row["time_ms"]) == (value, unit, note, by, at_ms):
        return form.fine  # sent twice
    fine = rows_fine(form, {"value": typed}, at_ms, request.app.state.settings.clock())
    return fine and await recorded(
        request, form, "entry corrected", at="value", why=why,
        do=lambda act, now: correct_entry(act, now, entry, typed, version=version, by=by, why=why),
    )  # fmt: skip


def entry_here(course: Course, key: str) -> Thing:
    """A row of this drain or its patient; another's is not there."""
    found = next((one for one in mine(course) if one.key == key), None)
    if found is None:
        raise Refused(404, "there is no such entry of this drain")
    return found


def _correct(request: Request, form: Form, course: Course, row: Thing) -> Response:
    settings = request.app.state.settings
    item = ITEMS.get(row["item"])
    words = () if item is None or not item.words else plain_choices(row["item"], no_leak="no leak seen")
    return form_page(
        request, "chart_correct.html", form, course, heading="Correct an entry", row=row, words=words,
        shown=row_of(row, settings.clock(), settings.zone), at=local_input(row["time_ms"], settings.zone),
        number=item is not None and item.kind in ("number", "suction", "oxygen"),
    )  # fmt: skip
