"""What a unit told by its own signal, looked back on: entered at one drain, and the figures of the ward.

Nothing here silences, answers or watches a unit: it is written down afterwards, to learn from.
"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from slackwater.audit.unit_calls import Stay
from slackwater.errors import MissingPart
from slackwater.quantities.spans import MINUTE_MS
from slackwater.store.calls import CAUSES, HELPED, Call, complete_call, record_call
from slackwater.store.course import Course
from slackwater.store.listing import listed
from slackwater.store.nouns import CALL_KINDS, Value
from slackwater.store.signals import heard
from slackwater.web.bedside import DRAIN, course_here, form_page, moment_at, recorded, to_drain, version_of
from slackwater.web.forms import Form, empty, form_of
from slackwater.web.pages import local_input, render
from slackwater.web.policy import BEDSIDE, EVERYONE, Rule, allow
from slackwater.web.signal_words import KINDS, NONE_KNOWN, Asked, kind_of, ward_told

router = APIRouter(include_in_schema=False)
LEARNERS = BEDSIDE | {"engineer", "audit_lead"}
allow("GET", "/signals", Rule(LEARNERS))
allow("GET", f"{DRAIN}/signals", Rule(EVERYONE, drain=True, looks="signals"))
allow("POST", f"{DRAIN}/signals", Rule(BEDSIDE, drain=True))
allow("POST", f"{DRAIN}/signals/{{call}}", Rule(BEDSIDE, drain=True))


# --- one drain ------------------------------------------------------------------------------------


@router.get(f"{DRAIN}/signals")
async def signals_page(request: Request) -> Response:
    return await _page(request, empty(), await course_here(request))


@router.post(f"{DRAIN}/signals")
async def entered(request: Request) -> Response:
    """One signal that was heard or seen, or what is known of one that the log tells of."""
    form, course = await form_of(request), await course_here(request)
    kind = form.one_of("kind", CALL_KINDS, needed="Tap what the unit told.")
    from_ms = moment_at(request, form, needed="Write when it began.")
    told = _told(request, form)
    if kind is not None and from_ms is not None and form.fine:
        once = form.once
        await recorded(
            request, form, "a unit's signal", at="at", names={"attended": "attended", "until": "until"},
            do=lambda act, now: record_call(act, now, kind, from_ms=from_ms, once=once, **told),
        )  # fmt: skip
    return to_drain(request, "/signals") if form.fine else await _page(request, form, course)


@router.post(f"{DRAIN}/signals/{{call}}")
async def completed(request: Request, call: str) -> Response:
    """Who came, what it was, what helped: told later."""
    form, course = await form_of(request), await course_here(request)
    told = {name: value for name, value in _told(request, form).items() if value is not None}
    version = version_of(form)
    if not told and form.fine:
        form.faults["attended"] = "Nothing is told yet."
    if form.fine:
        new: dict[str, Value] = dict(told)
        await recorded(
            request, form, "a unit's signal told", at="attended", names={"attended": "attended", "until": "until"},
            do=lambda act, now: complete_call(act, now, call, new, version=version),
        )  # fmt: skip
    return to_drain(request, "/signals") if form.fine else await _page(request, form, course, open_call=call)


def _told(request: Request, form: Form) -> dict[str, Any]:
    """What is known beside kind and beginning."""
    settings = request.app.state.settings
    now = settings.clock()
    attended, until = (form.moment(name, settings.zone, now_ms=now) for name in ("attended", "until"))
    cause = form.one_of("cause", CAUSES) or form.text("cause_text", longest=100)
    return {
        "attended_ms": attended, "until_ms": until, "attended_by": form.text("attended_by", longest=80),
        "cause": cause, "action": form.one_of("action", HELPED),
    }  # fmt: skip


async def _page(request: Request, form: Form, course: Course, open_call: str = "") -> Response:
    drain, settings = request.state.drain, request.app.state.settings
    found = await run_in_threadpool(heard, request.app.state.record, [drain])
    return form_page(
        request, "signals.html", form, course, calls=list(reversed(found.calls)), tells=drain in found.tells,
        kinds=tuple(KINDS.items()), causes=CAUSES, helped=HELPED, kind_of=kind_of, none_known=NONE_KNOWN,
        may_enter=request.state.who.role in BEDSIDE, open_call=open_call, may_ward=request.state.who.role in LEARNERS,
        local=lambda call: local_input(call.from_ms, settings.zone), status_of=status_of,
    )  # fmt: skip


def status_of(call: Call) -> str:
    """What is known of it, in words; attended is not put right."""
    came = "who came is not recorded" if call.attended_ms is None else ""
    if call.attended_ms is not None:
        minutes = (call.attended_ms - call.from_ms) // MINUTE_MS
        came = f"{call.attended_by or 'somebody'} came after {minutes} min"
    ended = "when it ended is not known" if call.until_ms is None else ""
    if call.until_ms is not None:
        ended = f"ended after {(call.until_ms - call.from_ms) // MINUTE_MS} min"
    return f"{came}; {ended}"


# --- the ward -------------------------------------------------------------------------------------


@router.get("/signals")
async def ward_page(request: Request, since: str = "", until: str = "", change: str = "") -> Response:
    """The figures of the drains that this person sees."""
    state, who = request.app.state, request.state.who
    form = Form({"since": since, "until": until, "change": change})
    now = state.settings.clock()
    from_ms, to_ms, change_ms = (form.moment(one, state.settings.zone) for one in ("since", "until", "change"))
    drains = [one for one in await run_in_threadpool(listed, state.record, everything=True) if who.sees(one.ward)]
    stays = tuple(
        Stay(one.key, one.connected_ms, min(now, one.removed_ms or now))
        for one in drains
        if one.connected_ms is not None
    )
    asked = Asked(
        state.settings.place, {one.key: one.name for one in drains}, stays, state.settings.zone_name,
        from_ms or 0, min(now, to_ms or now), change_ms,
    )  # fmt: skip
    wrong, told = "", None
    if form.fine:
        try:
            told = await state.judges.work(ward_told, asked)
        except MissingPart as error:
            wrong = f"{error.what}. {error.mend}"
    unknown = len(drains) - len(stays)
    return render(
        request, "signals_ward.html", status=200 if form.fine else 422, form=form, told=told, wrong=wrong,
        unknown=unknown, none_known=NONE_KNOWN,
    )  # fmt: skip
