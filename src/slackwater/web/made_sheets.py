"""Sheets of the ward: made in the judges' processes, from the same course and assessment as the drain's page."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from slackwater.assessment.assessment import Assessment
from slackwater.episode.instants import read_zone
from slackwater.errors import UsageError
from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.round import judged_at
from slackwater.report.sheets.incident import EITHER_SIDE_MS
from slackwater.report.sheets.make import print_many, print_one, sheet
from slackwater.report.sheets.material import Material, beside_of
from slackwater.report.sheets.sheet import Print, Sheet
from slackwater.report.sheets.ward import WardAsked, drains_in, failed
from slackwater.store.course import Course
from slackwater.store.record import Record, opened
from slackwater.web.drain_sheet import Moment, judged, read_course
from slackwater.web.judges import Asked


@dataclass(frozen=True, kw_only=True)
class SheetAsked(Asked):
    """Which sheet, printed when. moment_ms: what an incident's is about. back: a moment of the past was asked for.

    asked_ms: the moment asked about; `now_ms` is the removal's where the drain was out by then. many: as `Material`.
    """

    name: str
    printed_ms: int
    moment_ms: int | None = None
    back: bool = False
    demo: bool = False
    asked_ms: int | None = None
    many: bool = False


def made(course: Course, found: Assessment | None, asked: Asked) -> Sheet:
    """Run by a judge, in its own process."""
    assert isinstance(asked, SheetAsked)
    with opened(asked.place).reading() as connection:
        beside = beside_of(connection, course, asked.known_ms, acts=asked.moment_ms is not None)
    zone = read_zone(asked.zone_name)
    of = Material(
        found, course, zone, asked.now_ms, asked.printed_ms, beside, back=asked.back, demo=asked.demo,
        moment_ms=asked.moment_ms, asked_ms=asked.asked_ms, many=asked.many,
    )  # fmt: skip
    return sheet(asked.name, of)


async def print_of(
    request: Request, name: str, at_ms: int | None, known_ms: int | None, about_ms: int | None
) -> tuple[Print | None, str]:
    """A sheet of `KINDS` of the path's drain, looking back to those moments; or why it cannot be made.

    Raises UsageError where a moment has not come yet, or an incident is about none.
    """
    now = request.app.state.settings.clock()
    if any(one is not None and one > now for one in (at_ms, known_ms, about_ms)):
        raise UsageError("that moment has not come yet", mend="Choose a moment that has passed.")
    if name == "incident" and about_ms is None:
        raise UsageError("an incident is about a moment", mend="Choose when it was.")
    return await one_print(request, name, Moment(now, at_ms, known_ms), about_ms if name == "incident" else None)


async def one_print(request: Request, name: str, moment: Moment, about_ms: int | None) -> tuple[Print | None, str]:
    """One sheet of the path's drain; or why it cannot be made. about_ms: an incident's moment."""
    settings, drain = request.app.state.settings, request.state.drain
    course = await run_in_threadpool(read_course, request.app.state.record, drain, moment.known_ms)
    now_ms, asked_ms = judged_at(course, moment.as_of_ms), moment.as_of_ms
    if about_ms is not None:
        now_ms = asked_ms = min(about_ms + EITHER_SIDE_MS, moment.now_ms) // MINUTE_MS * MINUTE_MS
    asked = SheetAsked(
        settings.place, drain, now_ms, settings.zone_name, known_ms=moment.known_ms, name=name,
        printed_ms=moment.now_ms, moment_ms=about_ms, back=moment.back, demo=settings.demo,
        asked_ms=asked_ms,
    )  # fmt: skip
    found, why = await judged(request.app.state.judges, made, asked)
    return (None if found is None else print_one(found, moment.now_ms, settings.zone)), why


async def handover_print(request: Request, ward: str | None) -> Print | None:
    """Of every drain that the person sees and that is in; one that cannot be judged says so. None: there is none."""
    settings, who = request.app.state.settings, request.state.who
    record: Record = request.app.state.record
    now_ms = settings.clock()
    at_ms = now_ms // MINUTE_MS * MINUTE_MS
    drains = await run_in_threadpool(drains_in, record, ward, at_ms, who.sees)
    gate = asyncio.Semaphore(max(1, settings.judges))  # so that other pages' answers come between

    async def one(drain: str) -> Sheet:
        course = await run_in_threadpool(read_course, record, drain, None)
        asked = SheetAsked(
            settings.place, drain, judged_at(course, at_ms), settings.zone_name, name="handover",
            printed_ms=now_ms, demo=settings.demo, asked_ms=at_ms, many=True,
        )  # fmt: skip
        async with gate:
            found, why = await judged(request.app.state.judges, made, asked)
        if found is None:
            found = failed(course, why, WardAsked(at_ms, now_ms, settings.zone, settings.zone_name))
        request.app.state.looks.saw(who.person, "handover", drain)
        return found

    sheets = await asyncio.gather(*(one(drain) for drain in drains))
    title = f"Handover, {ward or 'my drains'}, {len(sheets)} drain{'' if len(sheets) == 1 else 's'}"
    return print_many(title, sheets, now_ms, settings.zone) if sheets else None
