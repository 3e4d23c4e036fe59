"""One drain: its page, now or looking back, and what is entered there: its goal, where the patient lies, tasks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import tzinfo

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from slackwater.episode.instants import read_instant
from slackwater.errors import StaleError, UsageError
from slackwater.store.acts import key_of
from slackwater.store.charting import CLAMP_OFF, add_task
from slackwater.store.course import Course, course_of
from slackwater.store.nouns import Value
from slackwater.store.record import Record
from slackwater.store.rows import was_told
from slackwater.web.bedside import recorded
from slackwater.web.charted import clamped_now
from slackwater.web.drain_sheet import Moment, Sheet, picture_of, sheet_of, state_now
from slackwater.web.forms import Form, empty, form_of, fresh_key
from slackwater.web.guard import Who
from slackwater.web.pages import local_input, render
from slackwater.web.policy import BEDSIDE, DOCTORS, EVERYONE, POLICY, Rule, allow, may

router = APIRouter(include_in_schema=False)

PAGE = "/drain/{drain}"
SETTERS = DOCTORS | {"specialist_nurse"}  # who says what a drain is for
allow("GET", PAGE, Rule(EVERYONE, drain=True, looks="drain"))
allow("GET", f"{PAGE}/live", Rule(EVERYONE, drain=True))
allow("GET", f"{PAGE}/picture", Rule(EVERYONE, drain=True))
allow("POST", f"{PAGE}/goal", Rule(SETTERS, drain=True))
allow("POST", f"{PAGE}/stay", Rule(BEDSIDE, drain=True))
allow("POST", f"{PAGE}/task", Rule(BEDSIDE, drain=True))

OWN = ("live", "picture")  # parts of this page, not pages
FORMS = ("goal", "stay", "task", "done")
# What can be done at a drain, by task, as a button says it; others go by their own name, under the last head.
DOING = {
    "Chart": {
        "set": "Chart a set", "fluid": "Fluid", "canister": "Canister", "try": "Cough or walk", "xray": "X-ray",
        "handle": "Trace tube and unit", "correct": "Correct an entry",
    },
    "Order, clamp, remove": {
        "order": "Order suction", "hold": "Keep the drain", "clamp": "Clamp", "connect": "Connect a unit",
        "remove": "Record a removal", "after": "After removal",
    },
    "Trips and home": {"trip": "Trip on battery", "home": "Home with the drain", "diary": "Diary at home"},
    "Print": {"sheets": "Sheets"},
    "Look back": {"suction": "Suction: ordered and delivered", "signals": "Signals of the unit"},
}  # fmt: skip
LAST = list(DOING)[-1]
STILL_CLAMPED = "The drain is charted clamped. Chart the clamp off: that ends its timer."
WHILE_IN = ("set", "canister", "trip", "order", "hold", "clamp", "remove", "connect", "diary", "home")


@dataclass(frozen=True)
class Doing:
    """A task, and what this person may do of it here: where it leads, and its words."""

    head: str
    links: tuple[tuple[str, str], ...]


# --- looking --------------------------------------------------------------------------------------


@router.get(PAGE)
async def drain_page(request: Request, at: str = "", known: str = "") -> Response:
    return await _page(request, _moment(request, at, known))


@router.get(f"{PAGE}/live")
async def live(request: Request, at: str = "", known: str = "", state: str = "", minute: str = "") -> Response:
    """The page's inside, for a page that keeps itself current; nothing (204) where it is still the same."""
    _looked(request)
    drain, moment = request.state.drain, _moment(request, at, known)
    if not moment.back and minute == str(moment.as_of_ms):
        now = await run_in_threadpool(state_now, request.app.state.record, drain)
        if now == state:
            return Response(status_code=204, headers={"x-drain": drain})
    answer = _shown(request, await sheet_of(request, drain, moment), "drain_live.html")
    answer.headers["x-drain"] = drain
    return answer


@router.get(f"{PAGE}/picture")
async def picture(request: Request, at: str = "", known: str = "") -> Response:
    """The picture with every single reading."""
    _looked(request)
    state, found = await picture_of(request, request.state.drain, _moment(request, at, known))
    return Response(found, media_type="application/json", headers={"x-drain": request.state.drain, "x-state": state})


def _looked(request: Request) -> None:
    """A page that keeps itself current is no new look; whoever asks for its parts by hand has looked, and so has
    whoever never opened the page."""
    looks, person, drain = request.app.state.looks, request.state.who.person, request.state.drain
    if request.headers.get("x-by-itself") != "1" or not looks.seen(person, "drain", drain):
        looks.saw(person, "drain", drain)


def _moment(request: Request, at: str, known: str) -> Moment:
    settings = request.app.state.settings
    now = settings.clock()
    found = [read_instant(text, settings.zone) if text.strip() else None for text in (at, known)]
    if any(one is not None and one > now for one in found):
        raise UsageError("that moment has not come yet", mend="Look back at a moment that has passed.")
    return Moment(now, *found)


async def _page(request: Request, moment: Moment, status: int = 200, **forms: Form) -> Response:
    return _shown(request, await sheet_of(request, request.state.drain, moment), "drain.html", status, **forms)


def _shown(request: Request, sheet: Sheet, template: str, status: int = 200, **forms: Form) -> Response:
    settings, moment = request.app.state.settings, sheet.moment
    zone = settings.zone
    said = {name: forms.get(name, empty()) for name in FORMS}
    return render(
        request, template, status=status, sheet=sheet, p=None if sheet.told is None else sheet.told.words,
        forms=said, faults=[one for one in said.values() if one.faults], once=fresh_key(),
        doing=[] if moment.back else list(_doing(request, sheet.course.removal is not None)),
        may_enter=not moment.back and request.state.who.role in BEDSIDE,
        may_set_goal=not moment.back and request.state.who.role in SETTERS, at_text=_local(moment.at_ms, zone),
        known_text=_local(moment.known_ms, zone), now_text=local_input(moment.now_ms, zone),
        clamp_task=CLAMP_OFF, clamped=_clamped(sheet.course),
        query=request.url.query if moment.back else "", part=template == "drain_live.html",
    )  # fmt: skip


def _clamped(course: Course) -> bool:
    return course.removal is None and clamped_now(course) is not None


def _local(ms: int | None, zone: tzinfo) -> str:
    return "" if ms is None else local_input(ms, zone)


def _doing(request: Request, is_out: bool) -> Iterator[Doing]:
    """Pages of this drain that are there, that this person may open, and that its state leaves to do."""
    names = [path.rpartition("/")[2] for method, path in POLICY if (method, path.rpartition("/")[0]) == ("GET", PAGE)]
    not_now = (*OWN, *(WHILE_IN if is_out else ("after",)))
    here = [name for name in names if name not in not_now and may(request.state.who.role, f"{PAGE}/{name}")]
    known = {name for group in DOING.values() for name in group}
    others = {name: name.replace("-", " ").capitalize() for name in sorted(here) if name not in known}
    for head, group in DOING.items():
        words = group | (others if head == LAST else {})
        links = tuple((f"/drain/{request.state.drain}/{name}", words[name]) for name in words if name in here)
        if links:
            yield Doing(head, links)


# --- entering -------------------------------------------------------------------------------------


@router.post(f"{PAGE}/goal")
async def goal(request: Request) -> Response:
    form = await form_of(request)
    await set_goal(request, form)
    return await _done(request, form, "goal")


async def set_goal(request: Request, form: Form) -> None:
    text = form.text("goal", needed="Write what this drain is for, and what finished looks like.", longest=500)
    version = _version(form)
    if text is not None and form.fine:
        await _recorded(form, "goal", _set_goal, request.app.state.record, request.state.who, request.state.drain,
                        text, version)  # fmt: skip


def _set_goal(record: Record, who: Who, drain: str, text: str, version: int) -> str:
    key = key_of("goal", drain)
    with record.act(by=who.name, what="goal of drainage") as act:
        if was_told(act.connection, "goal", key, {"text": text}, version=version):
            return key
        if version == 0:
            act.add("goal", key, {"drain": drain, "text": text})
        else:
            act.change("goal", key, {"text": text}, version=version)
    return key


@router.post(f"{PAGE}/stay")
async def stay(request: Request) -> Response:
    form = await form_of(request)
    ward = await set_stay(request, form)
    if form.fine and ward is not None and not request.state.who.sees(ward):
        return RedirectResponse("/", 303)  # the patient went to a ward that this person does not see
    return await _done(request, form, "stay")


async def set_stay(request: Request, form: Form) -> str | None:
    """Ward, bed and initials; the ward."""
    ward, bed, initials = form.text("ward", longest=60), form.text("bed", longest=20), form.text("initials", longest=6)
    version = _version(form)
    if form.fine:
        await _recorded(form, "ward", _set_stay, request.app.state.record, request.state.who, request.state.drain,
                        ward, bed, initials, version, form)  # fmt: skip
    return ward


def _set_stay(
    record: Record, who: Who, drain: str, ward: str | None, bed: str | None, initials: str | None, version: int,
    form: Form,
) -> str | None:  # fmt: skip
    tube = record.thing("drain", drain)
    assert tube is not None  # the guard found it
    episode = record.thing("episode", tube["episode"])
    if ward is None and episode is not None and episode["ward"] is not None:
        form.faults["ward"] = "A patient's ward cannot be left blank: it says who may see this drain."
        return None
    new = {"ward": ward, "bed": bed, "initials": initials}
    with record.act(by=who.name, what="ward and bed") as act:
        if not was_told(act.connection, "episode", tube["episode"], new, version=version):
            act.change("episode", tube["episode"], new, version=version)
    return str(tube["episode"])


@router.post(f"{PAGE}/task")
async def task(request: Request) -> Response:
    """A task is added, or (with the key of one) done."""
    form = await form_of(request)
    if "key" in form.said:
        await finish_task(request, form, form.said["key"])
        return await _done(request, form, "done")
    await new_task(request, form)
    return await _done(request, form, "task")


async def new_task(request: Request, form: Form) -> None:
    what = form.text("what", needed="Write what is to be done.", longest=200)
    due, once = form.moment("due", request.app.state.settings.zone), form.once
    if what is not None and form.fine:
        await recorded(
            request, form, "task", at="what", do=lambda act, now: add_task(act, now, what, due_ms=due, once=once)
        )


async def finish_task(request: Request, form: Form, key: str) -> None:
    result, version = form.text("result", longest=200), _version(form)
    if form.fine:
        now_ms = request.app.state.settings.clock()
        await _recorded(form, "result", _finish_task, request.app.state.record, request.state.who, request.state.drain,
                        key, result, version, now_ms, form)  # fmt: skip


def _finish_task(
    record: Record, who: Who, drain: str, key: str, result: str | None, version: int, now_ms: int, form: Form
) -> str | None:  # fmt: skip
    """A clamp's timer ends with the clamp alone: else nothing would speak of a drain that is still clamped."""
    done: dict[str, Value] = {"done_by": who.name, "result": result}
    with record.act(by=who.name, what="task done") as act:
        found = act.thing("task", key)
        if found is None or found["drain"] != drain:
            raise StaleError("this task is no longer there", mend="Load the page again.")
        timer = found["what"] == CLAMP_OFF and found["done_ms"] is None
        if timer and _clamped(course_of(act.connection, drain)):
            form.faults["result"] = STILL_CLAMPED
            return None
        if not was_told(act.connection, "task", key, done, version=version):
            act.change("task", key, {**done, "done_ms": now_ms}, version=version, happened_ms=now_ms)
    return key


def _version(form: Form) -> int:
    text = form.said.get("version", "")
    if not (text.isascii() and text.isdecimal() and len(text) < 9):
        raise UsageError("the form does not say which version it changes", mend="Load the page again.")
    return int(text)


async def _recorded(form: Form, field: str, act: Callable[..., str | None], *args: object) -> None:
    """Do it; where somebody was quicker, say so beside the field, and lose nothing of what was typed."""
    try:
        key = await run_in_threadpool(act, *args)
        form.keys = () if key is None else (key,)
    except StaleError:
        form.stale = True
        form.faults[field] = (
            "Somebody changed this while you wrote. What it is now stands above; what you wrote is still here. "
            "Look at both, then save again."
        )


async def _done(request: Request, form: Form, name: str) -> Response:
    if form.fine:
        return RedirectResponse(f"/drain/{request.state.drain}#{'tasks' if name in ('task', 'done') else name}", 303)
    moment = Moment(request.app.state.settings.clock())
    return await _page(request, moment, 422, **{name: form})
