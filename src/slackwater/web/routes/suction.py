"""Suction of one drain, looking back: as ordered, set and delivered, and every stretch off it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from slackwater.assessment.assessment import Assessment
from slackwater.assessment.suction import Allowed, fidelity
from slackwater.episode.instants import read_zone
from slackwater.errors import QuantityError, UsageError
from slackwater.quantities.spans import MINUTE_MS
from slackwater.quantities.suction import exactly
from slackwater.quantities.units import parse_quantity
from slackwater.report.suction import MODEL, SuctionTold, starts_of, suction_told
from slackwater.store.course import Course
from slackwater.store.rows import Thing
from slackwater.trace.types import Interval
from slackwater.web.bedside import DRAIN, asked_here, course_here
from slackwater.web.forms import Form
from slackwater.web.judges import Asked
from slackwater.web.pages import render
from slackwater.web.policy import EVERYONE, Rule, allow

router = APIRouter(include_in_schema=False)
allow("GET", f"{DRAIN}/suction", Rule(EVERYONE, drain=True, looks="suction"))

NO_LOG = "No log of a unit is recorded for this drain: what was delivered is not known."
NOT_SAID = (
    "Nothing says how far from the order still counts as kept. A rule says it as kept_within in its [suction]; or "
    "write a distance above: no value is usual."
)


@dataclass(frozen=True)
class SuctionAsked(Asked):
    """within_cmh2o: so far from the order still counts as kept; None: by the rule, if it says."""

    within_cmh2o: float | None = None
    starts: tuple[int, ...] = ()


@dataclass(frozen=True)
class SuctionAnswer:
    """told: None where nothing can be said; why_not: why nothing, or only a part, can be said.

    by_rule: what the rule itself counts as kept.
    """

    told: SuctionTold | None
    by_rule: str = ""
    why_not: str = ""


@router.get(f"{DRAIN}/suction")
async def suction_page(request: Request, within: str = "", shifts: str = "") -> Response:
    form = Form({"within": within, "shifts": shifts})
    chosen, starts = _within(form), _starts(form)
    course = await course_here(request)
    asked = SuctionAsked(**vars(asked_here(request, course)), within_cmh2o=chosen, starts=starts)
    answer = await request.app.state.judges.ask(answer_of, asked)
    return render(
        request, "suction.html", status=200 if form.fine else 422, course=course, form=form, answer=answer,
        told=answer.told, model=MODEL,
    )  # fmt: skip


def answer_of(course: Course, found: Assessment | None, asked: Asked) -> SuctionAnswer:
    """Runs with the judges."""
    assert isinstance(asked, SuctionAsked)
    rule = None if found is None or found.evaluation is None else found.evaluation.protocol.suction
    kept = None if rule is None else rule.kept_within
    by_rule = "" if kept is None else exactly(kept)
    within = asked.within_cmh2o if asked.within_cmh2o is not None else None if kept is None else float(kept.value)
    if found is None or found.leak_trace is None:
        return SuctionAnswer(None, by_rule, NO_LOG)
    orders = tuple(Allowed(one["from_ms"], one["may_be_off_min"]) for one in course.orders if one["kind"] == "suction")
    told = fidelity(
        found,
        math.inf if within is None else within,
        until_ms=course.removed_ms,
        allowed=orders,
        known=_known(course.trips),
    )
    assert told is not None
    why_not = NOT_SAID if within is None else ""
    return SuctionAnswer(suction_told(told, read_zone(asked.zone_name), asked.starts), by_rule, why_not)


def _within(form: Form) -> float | None:
    text = form.text("within", longest=40)
    if text is None:
        return None
    try:
        found = float(parse_quantity(text, "pressure").value)
    except QuantityError as error:
        form.faults["within"] = f"{error.what}. {error.mend}".strip()
        return None
    if not 0 < abs(found) < 100:
        form.faults["within"] = "Write a distance above zero with its unit, e.g. 2 cmH2O."
        return None
    return abs(found)


def _starts(form: Form) -> tuple[int, ...]:
    """Minutes of the day at which shifts begin."""
    try:
        return starts_of(form.text("shifts", longest=80) or "")
    except UsageError as error:
        form.faults["shifts"] = f"{error.what}. {error.mend}"
        return ()


def _known(trips: tuple[Thing, ...]) -> tuple[Interval, ...]:
    """Trips as they were recorded; one whose end is not known lasts as long as was planned."""
    return tuple(
        Interval(
            one["from_ms"],
            one["back_ms"]
            if one["back_ms"] is not None
            else one["from_ms"] + (one["planned_min"] or 0) * MINUTE_MS + 1,
            f"trip: {one['destination']}",
        )
        for one in trips
    )
