"""All that one drain's page shows: read from the record here, judged in the judges' processes, and joined."""

from __future__ import annotations

import logging
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any, TypeVar

from fastapi import Request
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool

from slackwater.assessment import cautions
from slackwater.assessment.assessment import Assessment
from slackwater.assessment.cautions import Caution
from slackwater.episode.instants import read_zone
from slackwater.errors import RecordError, SlackwaterError
from slackwater.quantities.spans import MINUTE_MS, format_span
from slackwater.report.drain_facts import Acted, DrainFacts, drain_facts, history_lines, read_beside
from slackwater.report.drains import DrainMap, drain_map, tubes_of, whose
from slackwater.report.pack import packed
from slackwater.report.page import view
from slackwater.report.round import escalation, judged_at
from slackwater.report.times import offset, shown
from slackwater.store.course import Course, course_of
from slackwater.store.history import history_of
from slackwater.store.recalls import recalled_at
from slackwater.store.record import Record
from slackwater.web.judges import Asked, Judges, as_json
from slackwater.web.off_the_mains import open_items

PAGE_OLD_MS = 10 * MINUTE_MS  # a page that has not heard from the server for so long covers its answer (ours)
KEPT = 64  # answers that the server remembers
ABOVE = ("cau-C1", "cau-C4", "cau-C6", "cau-C9", "cau-C10", "cau-C11")  # above the verdict, whatever is known

_log = logging.getLogger(__name__)
T = TypeVar("T")


@dataclass(frozen=True)
class Told:
    """What the judges give back: the words of the answer, the picture's minutes as JSON, and until when they hold."""

    words: dict[str, Any]
    minutes: str
    data_until_ms: int | None
    data_age_ms: int | None  # older data meet nothing, by the rule; None: no rule says
    watches: bool  # the rule names values to act on


@dataclass(frozen=True)
class Moment:
    """Which moment is asked about. at: None is now. known: None is all that is recorded by now."""

    now_ms: int
    at_ms: int | None = None
    known_ms: int | None = None

    @property
    def back(self) -> bool:
        return self.at_ms is not None or self.known_ms is not None

    @property
    def as_of_ms(self) -> int:
        """Whole minutes, so that an answer is worked out once a minute."""
        told = self.at_ms if self.at_ms is not None else self.known_ms if self.known_ms is not None else self.now_ms
        return told // MINUTE_MS * MINUTE_MS


@dataclass(frozen=True)
class Sheet:
    """Everything that the page shows of one drain."""

    course: Course
    whose: str
    state: str
    minute: int
    moment: Moment
    told: Told | None
    failed: str
    facts: DrainFacts
    map: DrainMap
    history: tuple[Acted, ...]
    older: int
    cautions: tuple[Caution, ...]
    freshness: tuple[str, str]
    age_ms: int | None
    limit_ms: int | None
    covered: str
    judged_at_removal: str
    recalled: tuple[str, ...] = ()  # lots at this drain that must no longer be used


_kept: OrderedDict[tuple[Any, ...], Told | None] = OrderedDict()


async def sheet_of(request: Request, drain: str, moment: Moment) -> Sheet:
    """The page of a drain at a moment. Raises RecordError where the record did not know it then."""
    settings = request.app.state.settings
    course, facts, shown_map, history, older, recalled = await run_in_threadpool(
        _read, request.app.state.record, drain, moment, settings.zone
    )
    asked_ms = judged_at(course, moment.as_of_ms)
    told, failed = await _told(request, course, moment, asked_ms)
    age = None if told is None or told.data_until_ms is None else max(0, moment.now_ms - told.data_until_ms)
    live = not moment.back and course.removal is None
    limit = told.data_age_ms if told is not None and age is not None and live else None
    covered = ""
    if age is not None and limit is not None and age > limit:
        covered = f"Data older than {format_span(limit // 1000)}: what they say of the leak is no longer shown."
    return Sheet(
        course, whose(course), course.state, moment.as_of_ms, moment, told, failed, facts, shown_map, history,
        older, _cautions(told, facts), _freshness(told, moment, live, settings.zone), age, limit, covered,
        f"This drain is out; judged as of its removal, {shown(asked_ms, settings.zone)}."
        if asked_ms != moment.as_of_ms else "", recalled,
    )  # fmt: skip


def state_now(record: Record, drain: str) -> str:
    with record.reading() as connection:
        return course_of(connection, drain).state


async def picture_of(request: Request, drain: str, moment: Moment) -> tuple[str, str]:
    """State and the whole picture as JSON, single readings with it ('null' where nothing can be drawn)."""
    course = await run_in_threadpool(read_course, request.app.state.record, drain, moment.known_ms)
    asked = _asked(request, drain, moment, judged_at(course, moment.as_of_ms))
    return course.state, await request.app.state.judges.ask(tell_picture, asked)


# --- in the judges' processes ---------------------------------------------------------------------


def tell(course: Course, found: Assessment | None, asked: Asked) -> Told | None:
    """The words of the answer and the picture's minutes."""
    if found is None:
        return None
    zone = read_zone(asked.zone_name)
    rule = None if found.evaluation is None else found.evaluation.protocol
    age = None if rule is None or rule.data_age_s is None else round(1000 * rule.data_age_s)
    watches = found.evaluation is not None and bool(found.evaluation.escalation)
    fired, unseen = escalation(found.evaluation)
    words = view(found, zone) | {
        "to_act": fired, "never_told": unseen,  # as on the round
        "not_back": open_items(course, found, zone),
    }  # fmt: skip
    return Told(words, as_json(packed(found, zone, readings=False)), found.data_until_ms, age, watches)


def tell_picture(course: Course, found: Assessment | None, asked: Asked) -> str:
    return "null" if found is None else as_json(packed(found, read_zone(asked.zone_name)))


# --- in the server --------------------------------------------------------------------------------


def read_course(record: Record, drain: str, known_ms: int | None = None) -> Course:
    """As it stands, or as the record stood then; RecordError where it did not hold this drain then."""
    with record.reading() as connection:
        return known_course(connection, drain, known_ms)


def known_course(connection: Connection, drain: str, known_ms: int | None) -> Course:
    try:
        return course_of(connection, drain, known_ms)
    except RecordError as error:
        if known_ms is None:
            raise
        raise RecordError("this drain was not in the record then", mend="Choose a later moment.") from error


def _read(
    record: Record, drain: str, moment: Moment, zone: tzinfo
) -> tuple[Course, DrainFacts, DrainMap, tuple[Acted, ...], int, tuple[str, ...]]:
    """All reads of one moment of the record."""
    known = moment.known_ms
    with record.reading() as connection:
        course = known_course(connection, drain, known)
        serials, rules, decisions = read_beside(connection, course, known)
        tubes = tubes_of(connection, course.patient.key, known)
        lines = history_of(connection, course, known)
        recalled = recalled_at(connection, course, moment.as_of_ms, known)
    facts = drain_facts(course, moment.as_of_ms, zone, serials, rules, decisions)
    return course, facts, drain_map(tubes, drain, moment.as_of_ms, zone), *history_lines(lines, zone), recalled


def _asked(request: Request, drain: str, moment: Moment, at_ms: int) -> Asked:
    settings = request.app.state.settings
    return Asked(settings.place, drain, at_ms, settings.zone_name, known_ms=moment.known_ms)


async def _told(request: Request, course: Course, moment: Moment, at_ms: int) -> tuple[Told | None, str]:
    """What the judges say, kept by drain, minute and state of the record; or why nothing can be said.

    Whatever went wrong there, the page stands without an answer; the last one is never shown in its place.
    """
    key = (course.drain.key, at_ms, moment.known_ms, course.state)
    if key in _kept:
        _kept.move_to_end(key)
        return _kept[key], ""
    answer, failed = await judged(request.app.state.judges, tell, _asked(request, course.drain.key, moment, at_ms))
    if failed:
        return None, failed
    _kept[key] = answer
    while len(_kept) > KEPT:
        _kept.popitem(last=False)
    return answer, ""


async def judged(
    judges: Judges, function: Callable[[Course, Assessment | None, Asked], T], asked: Asked
) -> tuple[T | None, str]:
    """What the judges say; or why nothing can be said."""
    try:
        return await judges.ask(function, asked), ""
    except SlackwaterError as error:
        return None, str(error)
    except Exception:  # noqa: BLE001  # whatever it was, the last answer must not stand
        _log.exception("a drain could not be judged")
        return None, "the program failed. Use the paper checklist, and tell the keeper of this server."


def _cautions(told: Told | None, facts: DrainFacts) -> tuple[Caution, ...]:
    """The six that stand above every verdict, in order; where the answer has none, what takes its place."""
    found = {one.id: one for one in (cautions.SUPPORT_ONLY, cautions.OTHER_CAUSES, cautions.RIGHT_DRAIN,
                                     cautions.OUT_OF_SCOPE)}  # fmt: skip
    found["cau-C6"] = Caution("cau-C6", f"Judged by no rule here. {facts.rule}")
    found["cau-C11"] = cautions.NO_FLOW
    if told is not None:
        every = (told.words[name] for name in ("cautions_above", "cautions_beside", "cautions_below"))
        found |= {one.id: one for some in every for one in some}
    return tuple(found[id_] for id_ in ABOVE)


def _freshness(told: Told | None, moment: Moment, live: bool, zone: tzinfo) -> tuple[str, str]:
    """Until when the data go, and from when on this page is out of date; the age stands between them, counted on."""
    if told is None or told.data_until_ms is None:
        until, old = "No log: this rests on what was charted", moment.now_ms + PAGE_OLD_MS
    else:
        until = f"Data until {shown(told.data_until_ms, zone)} ({offset(told.data_until_ms, zone)})"
        limit = told.data_age_ms
        old = moment.now_ms + PAGE_OLD_MS if limit is None else told.data_until_ms + limit
    if moment.back:
        return until, "Looking back: nothing later is in here."
    return until, f"After {shown(old, zone)} this page or print is out of date." if live else ""
