"""What goes with every answer about a drain: on what data, by which rule, what it says, and the cautions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from slackwater.assessment import cautions
from slackwater.assessment.assessment import Assessment
from slackwater.assessment.cautions import Caution
from slackwater.assessment.document import document, stamp
from slackwater.assessment.minute_table import minute_columns, minute_csv
from slackwater.report.round import judged_at
from slackwater.store.course import Course
from slackwater.store.rows import Thing, things
from slackwater.web.api_door import fine
from slackwater.web.bedside import asked_here, course_here
from slackwater.web.drain_sheet import Moment, judged, known_course
from slackwater.web.forms import Form
from slackwater.web.judges import Asked
from slackwater.web.shapes import CautionShape, OfDrain, Recorded, RuleName

T = TypeVar("T")
NO_ANSWER = (
    cautions.RIGHT_DRAIN, cautions.OTHER_CAUSES, cautions.SUPPORT_ONLY, cautions.NOT_AN_ALARM, cautions.ABSENCE,
    cautions.OUT_OF_SCOPE, cautions.STATUS,
)  # fmt: skip


@dataclass(frozen=True)
class Standing:
    """How a drain stands. `status` is the contract's word; None where no rule for removal judged it."""

    data_until_ms: int | None
    status: str | None
    cautions: tuple[Caution, ...]


# --- in the judges' processes ---------------------------------------------------------------------


def standing(course: Course, found: Assessment | None, asked: Asked) -> Standing | None:
    """None where nothing was recorded yet."""
    if found is None:
        return None
    return Standing(found.data_until_ms, None if found.overall is None else found.overall.word, found.cautions)


def with_document(
    course: Course, found: Assessment | None, asked: Asked
) -> tuple[Standing | None, dict[str, Any] | None]:
    return standing(course, found, asked), None if found is None else document(found)


def with_minutes(
    course: Course, found: Assessment | None, asked: Asked
) -> tuple[Standing | None, dict[str, list[Any]] | None]:
    """The minute table's columns; None where nothing was recorded yet."""
    if found is None:
        return standing(course, found, asked), None
    columns = {
        name: column if isinstance(column, list) else [None if value != value else value for value in column.tolist()]
        for name, column in minute_columns(found).items()
    }
    return standing(course, found, asked), columns


def with_minute_csv(course: Course, found: Assessment | None, asked: Asked) -> tuple[Standing | None, str | None]:
    return standing(course, found, asked), None if found is None else minute_csv(found)


def standing_alone(course: Course, found: Assessment | None, asked: Asked) -> tuple[Standing | None, None]:
    return standing(course, found, asked), None


# --- in the server --------------------------------------------------------------------------------


async def looked_at(
    request: Request, moment: Moment,
    function: Callable[[Course, Assessment | None, Asked], tuple[Standing | None, T | None]],
) -> tuple[OfDrain, Course, T | None]:  # fmt: skip
    """The path's drain at a moment, with what `function` adds."""
    course, rule = await run_in_threadpool(_read, request, moment.known_ms)
    settings, key = request.app.state.settings, course.drain.key
    asked = Asked(settings.place, key, judged_at(course, moment.as_of_ms), settings.zone_name, known_ms=moment.known_ms)
    told, failed = await judged(request.app.state.judges, function, asked)
    found, further = told if told is not None else (None, None)
    return of_drain(request, course, rule, found, failed, asked), course, further


async def recorded_as(request: Request, form: Form, names: Mapping[str, str] | None = None) -> Recorded:
    """What a form recorded, and how the drain stands now; a Refusal of what it refused. `names`: as in `fine`."""
    fine(form, names)
    return Recorded(**(await _after_write(request)).model_dump(), recorded=list(form.keys))


async def _after_write(request: Request) -> OfDrain:
    course, rule = await run_in_threadpool(_read, request, None)
    asked = asked_here(request, await course_here(request))
    out = course.removed_ms
    if out is not None:
        settings = request.app.state.settings
        asked = Asked(asked.place, asked.drain, judged_at(course, Moment(settings.clock()).as_of_ms), asked.zone_name)
    found, failed = await judged(request.app.state.judges, standing, asked)
    return of_drain(request, course, rule, found, failed, asked)


def of_drain(
    request: Request, course: Course, rule: Thing | None, found: Standing | None, failed: str, asked: Asked
) -> OfDrain:
    now_ms, drain, space = request.app.state.settings.clock(), course.drain, course.space
    until = None if found is None else found.data_until_ms
    every = NO_ANSWER if found is None else found.cautions
    none = "cannot_tell" if failed or rule is not None else None
    return OfDrain.model_validate({
        "drain": drain.key, "name": course.name, "number": drain["number"], "side": space["side"],
        "space": space["kind"], "site": drain["site"], "as_of": stamp(asked.now_ms), "known": stamp(asked.known_ms),
        "data_until": stamp(until), "age_s": None if until is None else max(0, now_ms - until) // 1000,
        "protocol": rule_name(rule), "status": none if found is None else found.status, "failed": failed or None,
        "cautions": caution_list(every),
    })  # fmt: skip


def rule_name(rule: Thing | None) -> RuleName | None:
    return None if rule is None else RuleName(name=rule["name"], version=rule["edition"], sha256=rule["sha256"])


def caution_list(every: tuple[Caution, ...]) -> list[CautionShape]:
    return [CautionShape(id=one.id, text=one.text) for one in every]


def _read(request: Request, known_ms: int | None) -> tuple[Course, Thing | None]:
    with request.app.state.record.reading() as connection:
        course = known_course(connection, request.state.drain, known_ms)
        pinned = [] if course.goal is None or course.goal["protocol"] is None else [course.goal["protocol"]]
        return course, next(iter(things(connection, "protocol", keys=pinned, known_ms=known_ms)), None)
