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
from slackwater.store.nouns import Value
from slackwater.store.record import Record
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
# What can be done at a drain, as a button says it; a page that is not here goes by its own name.
DOING = {
    "set": "Chart a set", "handle": "Tube and unit", "xray": "X-ray", "try": "Cough or walk", "fluid": "Fluid",
    "canister": "Canister", "order": "Order", "clamp": "Clamp", "hold": "Hold", "connect": "Connect a unit",
    "remove": "Record a removal", "after": "After removal", "correct": "Correct an entry",
}  # fmt: skip


@dataclass(frozen=True)
class Doing:
    """Something that this person may do here."""

    href: str
    words: str


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
    """A page that keeps itself current is no new look; whoever asks for its parts by hand has looked."""
    if request.headers.get("x-by-itself") != "1":
        request.app.state.looks.saw(request.state.who.person, "drain", request.state.drain)


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
        doing=[] if moment.back else list(_doing(request)),
        may_enter=not moment.back and request.state.who.role in BEDSIDE,
        may_set_goal=not moment.back and request.state.who.role in SETTERS, at_text=_local(moment.at_ms, zone),
        known_text=_local(moment.known_ms, zone), now_text=local_input(moment.now_ms, zone),
        query=request.url.query if moment.back else "", part=template == "drain_live.html",
    )  # fmt: skip


def _local(ms: int | None, zone: tzinfo) -> str:
    return "" if ms is None else local_input(ms, zone)


def _doing(request: Request) -> Iterator[Doing]:
    """Pages of this drain that are there and that this person may open."""
    for method, path in POLICY:
        head, _, name = path.rpartition("/")
        if (method, head) == ("GET", PAGE) and name not in OWN and may(request.state.who.role, path):
            yield Doing(f"/drain/{request.state.drain}/{name}", DOING.get(name, name.replace("-", " ").capitalize()))


# --- entering -------------------------------------------------------------------------------------


@router.post(f"{PAGE}/goal")
async def goal(request: Request) -> Response:
    form = await form_of(request)
    text = form.text("goal", needed="Write what this drain is for, and what finished looks like.", longest=500)
    version = _version(form)
    if text is not None and form.fine:
        await _recorded(form, "goal", _set_goal, request.app.state.record, request.state.who, request.state.drain,
                        text, version)  # fmt: skip
    return await _done(request, form, "goal")


def _set_goal(record: Record, who: Who, drain: str, text: str, version: int) -> None:
    key = key_of("goal", drain)
    with record.act(by=who.name, what="goal of drainage") as act:
        if version == 0:
            act.add("goal", key, {"drain": drain, "text": text})
        else:
            act.change("goal", key, {"text": text}, version=version)


@router.post(f"{PAGE}/stay")
async def stay(request: Request) -> Response:
    form = await form_of(request)
    ward, bed, initials = form.text("ward", longest=60), form.text("bed", longest=20), form.text("initials", longest=6)
    version = _version(form)
    if form.fine:
        await _recorded(form, "ward", _set_stay, request.app.state.record, request.state.who, request.state.drain,
                        ward, bed, initials, version, form)  # fmt: skip
    if form.fine and ward is not None and not request.state.who.sees(ward):
        return RedirectResponse("/", 303)  # the patient went to a ward that this person does not see
    return await _done(request, form, "stay")


def _set_stay(
    record: Record, who: Who, drain: str, ward: str | None, bed: str | None, initials: str | None, version: int,
    form: Form,
) -> None:  # fmt: skip
    tube = record.thing("drain", drain)
    assert tube is not None  # the guard found it
    episode = record.thing("episode", tube["episode"])
    if ward is None and episode is not None and episode["ward"] is not None:
        form.faults["ward"] = "A patient's ward cannot be left blank: it says who may see this drain."
        return
    with record.act(by=who.name, what="ward and bed") as act:
        act.change("episode", tube["episode"], {"ward": ward, "bed": bed, "initials": initials}, version=version)


@router.post(f"{PAGE}/task")
async def task(request: Request) -> Response:
    """A task is added, or (with the key of one) done."""
    form = await form_of(request)
    record, who, drain = request.app.state.record, request.state.who, request.state.drain
    settings = request.app.state.settings
    if "key" in form.said:
        result, version = form.text("result", longest=200), _version(form)
        if form.fine:
            args = (record, who, drain, form.said["key"], result, version, settings.clock())
            await _recorded(form, "result", _finish_task, *args)
        return await _done(request, form, "done")
    what = form.text("what", needed="Write what is to be done.", longest=200)
    due = form.moment("due", settings.zone)
    if what is not None and form.fine:
        await run_in_threadpool(_add_task, record, who, drain, what, due, form.once)
    return await _done(request, form, "task")


def _add_task(record: Record, who: Who, drain: str, what: str, due: int | None, once: str) -> None:
    key = key_of("task", drain, once)
    if record.thing("task", key) is None:  # the same form sent again is the same task
        with record.act(by=who.name, what="task") as act:
            act.add("task", key, {"drain": drain, "what": what, "due_ms": due})


def _finish_task(record: Record, who: Who, drain: str, key: str, result: str | None, version: int, now_ms: int) -> None:
    with record.act(by=who.name, what="task done") as act:
        found = act.thing("task", key)
        if found is None or found["drain"] != drain:
            raise StaleError("this task is no longer there", mend="Load the page again.")
        told: dict[str, Value] = {"done_ms": now_ms, "done_by": who.name, "result": result}
        act.change("task", key, told, version=version, happened_ms=now_ms)


def _version(form: Form) -> int:
    text = form.said.get("version", "")
    if not (text.isascii() and text.isdecimal() and len(text) < 9):
        raise UsageError("the form does not say which version it changes", mend="Load the page again.")
    return int(text)


async def _recorded(form: Form, field: str, act: Callable[..., None], *args: object) -> None:
    """Do it; where somebody was quicker, say so beside the field, and lose nothing of what was typed."""
    try:
        await run_in_threadpool(act, *args)
    except StaleError:
        form.faults[field] = (
            "Somebody changed this while you wrote. What it is now stands above; what you wrote is still here. "
            "Look at both, then save again."
        )


async def _done(request: Request, form: Form, name: str) -> Response:
    if form.fine:
        return RedirectResponse(f"/drain/{request.state.drain}#{'tasks' if name in ('task', 'done') else name}", 303)
    moment = Moment(request.app.state.settings.clock())
    return await _page(request, moment, 422, **{name: form})
