"""One drain as data: its course, what its rule says, its minutes, who entered what."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import Query, Request
from fastapi.responses import JSONResponse, Response
from pydantic import WithJsonSchema
from starlette.concurrency import run_in_threadpool

from slackwater.episode.instants import read_instant
from slackwater.errors import RecordError, UsageError
from slackwater.store.course import course_of
from slackwater.store.course_json import course_dict, history_list, whole_course
from slackwater.store.history import history_of
from slackwater.web.about import (
    looked_at,
    standing_alone,
    with_document,
    with_minute_csv,
    with_minutes,
)
from slackwater.web.api_door import AT, READS, api_router, as_page
from slackwater.web.drain_sheet import Moment
from slackwater.web.routes.drain import PAGE
from slackwater.web.shapes import Instant, OfDrain
from slackwater.web.thing_shapes import ActShape, CourseAnswer

router = api_router("reading")

for _part in ("", "/assessment", "/minutes", "/history"):
    as_page("GET", f"{AT}{_part}", PAGE)

At = Annotated[Instant | None, Query(description="As of then, by what was written and logged by then.")]
Known = Annotated[Instant | None, Query(description="As the record stood then, whatever was added later.")]


class AssessmentAnswer(OfDrain):
    """What the unit's own rule says of the drain. `assessment` is null where nothing was recorded, or it failed."""

    assessment: Annotated[
        Any, WithJsonSchema({"anyOf": [{"$ref": "#/components/schemas/Assessment"}, {"type": "null"}]})
    ]


class MinutesAnswer(OfDrain):
    """The minute table by columns, one value a minute; null is nothing recorded, or not assessable."""

    columns: dict[str, list[str | float | None]] | None


class HistoryAnswer(OfDrain):
    history: list[ActShape]


def moment_of(request: Request, at: str | None, known: str | None) -> Moment:
    now = request.app.state.settings.clock()
    asked = [None if text is None else read_instant(text) for text in (at, known)]
    if any(one is not None and one > now for one in asked):
        raise UsageError("that moment has not come yet", mend="Look back at a moment that has passed.")
    return Moment(now, *asked)


@router.get(AT, response_model=CourseAnswer, responses=READS)
async def course(request: Request, at: At = None, known: Known = None) -> Any:
    """All that the record holds of the drain: what `slackwater record show --json` gives."""
    moment = moment_of(request, at, known)
    about, _, _ = await looked_at(request, moment, standing_alone)
    return {**about.model_dump(), "course": await run_in_threadpool(_course, request, moment.known_ms)}


def _course(request: Request, known_ms: int | None) -> dict[str, Any]:
    record = request.app.state.record
    with record.reading() as connection:
        return course_dict(*whole_course(connection, record.files, request.state.drain, known_ms))


@router.get(f"{AT}/assessment", response_model=AssessmentAnswer, responses=READS)
async def assessment(request: Request, at: At = None, known: Known = None) -> Response:
    """What `slackwater assess --drain --json` gives, as of this minute or of `at`."""
    about, _, found = await looked_at(request, moment_of(request, at, known), with_document)
    return JSONResponse({**about.model_dump(), "assessment": found})


@router.get(
    f"{AT}/minutes", response_model=MinutesAnswer,
    responses={**READS, 200: {"content": {"text/csv": {"schema": {"type": "string"}}}}},
)  # fmt: skip
async def minutes(
    request: Request, at: At = None, known: Known = None, format: Annotated[Literal["json", "csv"], Query()] = "json"
) -> Response:
    """One row a minute from connection to the moment asked about, missing ones included."""
    moment = moment_of(request, at, known)
    if format == "json":
        about, _, columns = await looked_at(request, moment, with_minutes)
        return JSONResponse({**about.model_dump(), "columns": columns})
    about, _, text = await looked_at(request, moment, with_minute_csv)
    if text is None:
        raise RecordError("nothing is recorded of this drain yet", mend=about.failed or "Connect a log, or chart.")
    return Response(text, media_type="text/csv; charset=utf-8", headers=_beside(about))


def _beside(about: OfDrain) -> dict[str, str]:
    """What a table of its own cannot say."""
    told = {
        "x-data-until": about.data_until, "x-age-s": about.age_s, "x-status": about.status,
        "x-protocol-sha256": None if about.protocol is None else about.protocol.sha256,
    }  # fmt: skip
    said = {name: str(value) for name, value in told.items() if value is not None}
    return {**said, "x-cautions": " ".join(one.id for one in about.cautions)}


@router.get(f"{AT}/history", responses=READS)
async def history(request: Request, known: Known = None) -> HistoryAnswer:
    """Who entered what, when and why."""
    moment = moment_of(request, None, known)
    about, _, _ = await looked_at(request, moment, standing_alone)
    told = await run_in_threadpool(_history, request, moment.known_ms)
    return HistoryAnswer.model_validate({**about.model_dump(), "history": told})


def _history(request: Request, known_ms: int | None) -> list[dict[str, Any]]:
    with request.app.state.record.reading() as connection:
        course = course_of(connection, request.state.drain, known_ms)
        return history_list(history_of(connection, course, known_ms))
