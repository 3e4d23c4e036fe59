"""Orders of suction in any unit, read back before they stand; clamps with their timer; holds with their reason."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from slackwater.episode.episode import OPERATIONS
from slackwater.episode.order import Known, SuctionOrder, level_of, suction_order, unanswered
from slackwater.episode.values import CLAMP_KINDS, NONE_ADDED
from slackwater.errors import QuantityError
from slackwater.protocol.rule import Protocol
from slackwater.quantities.spans import MINUTE_MS
from slackwater.quantities.suction import exactly
from slackwater.store.acts import key_of
from slackwater.store.charting import (
    CLAMP_OFF,
    clamp_off,
    clamp_on,
    hold_off,
    hold_on,
    order_suction,
)  # fmt: skip
from slackwater.store.course import Course
from slackwater.store.nouns import HOLD_REASONS
from slackwater.store.read_out import rule_of
from slackwater.store.record import Record
from slackwater.store.rows import Thing
from slackwater.web.asked_items import SUCTION_UNITS
from slackwater.web.bedside import (
    DRAIN,
    asked_here,
    course_here,
    form_page,
    moment_at,
    out_by,
    recorded,
    to_drain,
    version_of,
    whole,
)  # fmt: skip
from slackwater.web.charted import clamped_now, mine
from slackwater.web.forms import Form, empty, form_of
from slackwater.web.policy import DOCTORS, NURSES, Rule, allow
from slackwater.web.set_facts import SetFacts, set_facts

router = APIRouter(include_in_schema=False)

Details = tuple[int, int | None, int | None]  # from when, the review (both UTC ms), how long off (min)
ORDERING = DOCTORS | {"specialist_nurse"}
HANDLING = DOCTORS | NURSES
for _page, _roles in (("order", ORDERING), ("clamp", HANDLING), ("hold", HANDLING)):
    allow("GET", f"{DRAIN}/{_page}", Rule(_roles, drain=True, looks="charting"))
    allow("POST", f"{DRAIN}/{_page}", Rule(_roles, drain=True))


# --- suction --------------------------------------------------------------------------------------


@router.get(f"{DRAIN}/order")
async def order_page(request: Request) -> Response:
    return await _order(request, empty(), await course_here(request), None)


@router.post(f"{DRAIN}/order")
async def ordered(request: Request) -> Response:
    """First the order is understood and shown in every unit; what stops it or is asked is said; then it is read back
    on a second page; only from there is it recorded."""
    form, course = await form_of(request), await course_here(request)
    if key_of("order", course.drain.key, form.once) in {one.key for one in course.orders}:
        return to_drain(request)  # sent twice
    facts = await request.app.state.judges.ask(set_facts, asked_here(request, course))
    order = await understood_here(request, form, course)
    if form.said.get("show") or form.said.get("back"):
        form.faults.clear()
        return await _order(request, form, course, order, facts)
    details = checked_order(request, form, course, order)
    if not form.fine or order is None or details is None:
        return await _order(request, form, course, order, facts)
    if not form.said.get("confirmed"):
        return _read_back(request, form, course, order)
    if await ordered_here(request, form, order, details):
        return to_drain(request)
    if "heard" in form.faults:
        return _read_back(request, form, course, order)
    return await _order(request, form, course, order, facts)


async def understood_here(request: Request, form: Form, course: Course) -> SuctionOrder | None:
    """The order as typed, held against what is known of this drain; or None with its fault."""
    facts = await request.app.state.judges.ask(set_facts, asked_here(request, course))
    return _understood(form, await run_in_threadpool(_known, request.app.state.record, course, facts))


def checked_order(request: Request, form: Form, course: Course, order: SuctionOrder | None) -> Details | None:
    """When, until the review, how long off; what stops it or was not answered is a fault of the form."""
    details = _details(request, form, course)
    if order is not None:
        _answered(form, order)
    if form.said.get("seen", "") != in_force_mark(course) and form.said.get("confirmed"):
        form.faults["level"] = "Another order was recorded meanwhile. Look at it, then read back again."
        form.stale = True
    return details


async def ordered_here(request: Request, form: Form, order: SuctionOrder, details: Details) -> bool:
    """Record it once it was said back; whether that was done."""
    from_ms, review_ms, off = details
    if not form.ticked("heard"):
        form.faults["heard"] = "Read the sentence aloud to whoever sets the unit, and tick that it was said back."
        return False
    answers = {one.id: form.said.get(f"answer_{one.id}", "") for one in order.questions}
    reason, once = form.text("reason") or "", form.once
    return await recorded(
        request, form, "suction ordered", at="level", why=reason,
        do=lambda act, now: order_suction(
            act, now, order, from_ms=from_ms, once=once, answers=answers, reason=reason, review_ms=review_ms,
            may_be_off_min=off,
        ),
    )  # fmt: skip


def _known(record: Record, course: Course, facts: SetFacts) -> Known:
    """What an order is held against."""
    rule = _rule(record, course)
    level, unit = _last_ordered(course)
    return Known(
        operation=course.episode["operation_kind"],
        allowed=None if rule is None else rule.suction,
        rule="" if rule is None else f"{rule.name} {rule.version}",
        last=level_of(level, unit),
        last_is_none_added=level == NONE_ADDED,
        delivered_cmh2o=facts.delivered_cmh2o,
    )


def _rule(record: Record, course: Course) -> Protocol | None:
    return rule_of(record.files, course, {})


def _in_force(course: Course) -> Thing | None:
    """The last order of suction that has not ended."""
    orders = [one for one in course.orders if one["kind"] == "suction" and one["until_ms"] is None]
    return orders[-1] if orders else None


def _last_ordered(course: Course) -> tuple[str | None, str | None]:
    """Level and unit of the last order, be it recorded as one or charted as a row."""
    order = _in_force(course)
    told = [] if order is None else [(order["from_ms"], order["level"], order["unit"])]
    told += [(one["time_ms"], one["value"], one["unit"]) for one in mine(course) if one["item"] == "suction_ordered"]
    return max(told, key=lambda one: int(one[0]))[1:] if told else (None, None)


def in_force_mark(course: Course) -> str:
    last = _in_force(course)
    return "none" if last is None else f"{last.key}.{last.version}"


def _understood(form: Form, known: Known) -> SuctionOrder | None:
    """The order as typed, or None with its fault beside level or unit."""
    level, unit = form.said.get("level", "").strip(), form.said.get("unit", "").strip()
    if unit == NONE_ADDED:
        if level:
            form.faults["level"] = "A level and 'none added' cannot both be: keep one."
            return None
        level, unit = NONE_ADDED, ""
    if not level:
        form.faults["level"] = "Write the level, or tap that none is added."
        return None
    try:
        order = suction_order(level, unit, known)
    except QuantityError as error:
        field = "unit" if error.where == "unit" else "level"
        form.faults[field] = f"{error.what.rstrip('.')}. {error.mend}"
        return None
    for stop in order.stops:
        form.faults["level"] = stop.text
    return order


def _answered(form: Form, order: SuctionOrder) -> None:
    answers = {one.id: form.said.get(f"answer_{one.id}", "") for one in order.questions}
    wanted = {
        one.id: "Type level and unit again, or mend the level." for one in order.questions if one.wants == "level"
    }
    for id_, complaint in unanswered(order, answers).items():
        form.faults[f"answer_{id_}"] = complaint if answers[id_].strip() else wanted.get(id_, "Say what was done.")


def _details(request: Request, form: Form, course: Course) -> Details | None:
    settings = request.app.state.settings
    from_ms = moment_at(request, form)
    out_by(form, course, from_ms)
    review_ms = form.moment("review", settings.zone)
    if review_ms is not None and from_ms is not None and review_ms <= from_ms:
        form.faults["review"] = "The review comes after the order begins."
    off = whole(form, "may_be_off_min")
    form.text("reason", needed="Write why: it stands beside the order.", longest=300)
    return None if from_ms is None else (from_ms, review_ms, off)


async def _order(
    request: Request, form: Form, course: Course, order: SuctionOrder | None, facts: SetFacts | None = None
) -> Response:
    record = request.app.state.record
    facts = facts or await request.app.state.judges.ask(set_facts, asked_here(request, course))
    rule = await run_in_threadpool(_rule, record, course)
    return form_page(
        request, "chart_order.html", form, course, heading="Order suction", order=order, facts=facts,
        units=SUCTION_UNITS, allowed=None if rule is None or rule.suction is None else rule.suction.told,
        step=None if rule is None or rule.suction is None or rule.suction.step is None else exactly(rule.suction.step),
        rule="" if rule is None else f"{rule.name} {rule.version}", operations=OPERATIONS, seen=in_force_mark(course),
    )  # fmt: skip


def _read_back(request: Request, form: Form, course: Course, order: SuctionOrder) -> Response:
    told = {
        name: text for name, text in form.said.items() if name not in ("csrf", "once", "seen", "heard", "confirmed")
    }
    return form_page(
        request, "chart_order_back.html", form, course, heading="Read the order back", order=order, told=told,
        seen=in_force_mark(course),
    )  # fmt: skip


# --- clamp ----------------------------------------------------------------------------------------


@router.get(f"{DRAIN}/clamp")
async def clamp_page(request: Request) -> Response:
    return await _clamp(request, empty(), await course_here(request))


@router.post(f"{DRAIN}/clamp")
async def clamp(request: Request) -> Response:
    """A clamp goes on with its kind and planned end, or comes off."""
    form, course = await form_of(request), await course_here(request)
    if form.said.get("off"):
        return to_drain(request) if await unclamped(request, form, course) else await _clamp(request, form, course)
    return to_drain(request, "/clamp") if await clamped(request, form, course) else await _clamp(request, form, course)


async def unclamped(request: Request, form: Form, course: Course) -> bool:
    """The clamp comes off; whether that was recorded."""
    by, once, at_ms = request.state.who.name, form.once, moment_at(request, form)
    out_by(form, course, at_ms)
    note = form.text("note", longest=300) or ""
    return form.fine and at_ms is not None and await recorded(
        request, form, "clamp off", at="at",
        do=lambda act, now: clamp_off(act, now, by=by, at_ms=at_ms, once=once, note=note),
    )  # fmt: skip


async def clamped(request: Request, form: Form, course: Course) -> bool:
    """The clamp goes on; whether that was recorded. What was recorded already is not asked about a second time."""
    by, once, at_ms = request.state.who.name, form.once, moment_at(request, form)
    again = key_of("entry", course.drain.key, f"{once} clamp", 0) in {one.key for one in course.entries}
    out_by(form, course, at_ms)
    note = form.text("note", longest=300) or ""
    facts = await request.app.state.judges.ask(set_facts, asked_here(request, course))
    kind = form.one_of("kind", CLAMP_KINDS, needed="Tap what kind of clamp it is.")
    by_whom = form.text("ordered_by", longest=80)
    if kind in ("trial", "ordered") and not by_whom:
        form.faults["ordered_by"] = "Write who ordered it."
    minutes = whole(form, "minutes", needed="Write after how many minutes it comes off.")
    because = form.text("because", longest=300)
    if (facts.leaked or _bubbled(course)) and not because and not again:
        form.faults["because"] = "Air was recorded or seen lately. Look at the drain; write who decided, and why."
    if clamped_now(course) is not None and not again:
        form.faults["kind"] = "It is charted clamped already: chart that clamp off first."
    if form.fine and kind is not None and minutes is not None and at_ms is not None:
        told = "; ".join(text for text in (f"ordered by {by_whom}" if by_whom else "", because, note) if text)
        end = at_ms + minutes * MINUTE_MS
        return await recorded(
            request, form, "clamp on", at="at", why=because or "",
            do=lambda act, now: clamp_on(act, now, kind, planned_off_ms=end, by=by, at_ms=at_ms, once=once, note=told),
        )  # fmt: skip
    return False


def _bubbled(course: Course) -> bool:
    """The last bubbling charted was some."""
    told = [one for one in mine(course) if one["item"] == "bubbling" and one["value"] is not None]
    last = max(told, key=lambda one: (one["time_ms"], one.seq), default=None)
    return last is not None and last["value"] != "none"


async def _clamp(request: Request, form: Form, course: Course) -> Response:
    facts = await request.app.state.judges.ask(set_facts, asked_here(request, course))
    task = next((one for one in course.tasks if one["what"] == CLAMP_OFF and one["done_ms"] is None), None)
    return form_page(
        request, "chart_clamp.html", form, course, heading="Clamp", facts=facts, on=clamped_now(course), task=task,
        bubbled=_bubbled(course), kinds=[(kind, kind) for kind in CLAMP_KINDS],
    )  # fmt: skip


# --- hold -----------------------------------------------------------------------------------------


@router.get(f"{DRAIN}/hold")
async def hold_page(request: Request) -> Response:
    return _hold(request, empty(), await course_here(request))


@router.post(f"{DRAIN}/hold")
async def hold(request: Request) -> Response:
    """The drain is kept for a reason, whatever the rule says; or a hold ends."""
    form, course = await form_of(request), await course_here(request)
    if key := form.said.get("end"):
        return to_drain(request) if await unheld(request, form, course, key) else _hold(request, form, course)
    return to_drain(request) if await held(request, form, course) else _hold(request, form, course)


async def unheld(request: Request, form: Form, course: Course, key: str) -> bool:
    """The hold ends; whether that was recorded."""
    at_ms, version, form.keys = moment_at(request, form), version_of(form), (key,)
    if any((one.key, one["to_ms"], one.version) == (key, at_ms, version + 1) for one in course.holds):
        return form.fine  # sent twice
    return form.fine and at_ms is not None and await recorded(
        request, form, "hold ended", at="at", do=lambda act, now: hold_off(act, now, key, version=version, at_ms=at_ms)
    )  # fmt: skip


async def held(request: Request, form: Form, course: Course) -> bool:
    """The drain is kept; whether that was recorded."""
    once, at_ms = form.once, moment_at(request, form)
    out_by(form, course, at_ms)
    reason = form.one_of("reason", HOLD_REASONS, needed="Tap why it is kept.")
    note = form.text("note", longest=300) or ""
    return form.fine and reason is not None and at_ms is not None and await recorded(
        request, form, "drain kept", at="reason", names={"note": "note"},
        do=lambda act, now: hold_on(act, now, reason, from_ms=at_ms, once=once, note=note),
    )  # fmt: skip


def _hold(request: Request, form: Form, course: Course) -> Response:
    reasons = [(word, word.replace("_", " ")) for word in HOLD_REASONS]
    standing = [one for one in course.holds if one["to_ms"] is None]
    return form_page(
        request, "chart_hold.html", form, course, heading="Keep the drain", reasons=reasons, standing=standing
    )
