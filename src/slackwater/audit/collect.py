"""From the record to a cohort: each drain judged once, looking back, and kept without what names a person.

De-identified by default: pseudonyms by a key that is kept apart, ages above 89 as 90, no free text, no serial
number, and each stay moved by whole minutes into one and the same week, in which weekday and time of day stand as
the ward's clock showed them at connection. Rare combinations can still be telling: docs/cohort.md.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import polars

from slackwater import __version__
from slackwater.assessment.assessment import Assessment
from slackwater.audit.case import About, Case, case_of
from slackwater.audit.cohort import Cohort, close_cohort, is_whole, write_case
from slackwater.audit.engines import Failed, Over, each
from slackwater.audit.outcome import outcome_of
from slackwater.errors import UsageError
from slackwater.store.course import Course, course_of
from slackwater.store.derive import pyramid_frame
from slackwater.store.listing import Listed, listed
from slackwater.store.place import Place
from slackwater.store.read_out import assess_course
from slackwater.store.record import Record, open_record

WEEK_BEGINS = datetime(2000, 1, 3, tzinfo=UTC)  # a Monday; every de-identified stay begins in this week
OLDEST = 89  # years; above, 90 is kept: Safe Harbor, 45 CFR 164.514(b)(2)(i)(C)
FREE_TEXT = ("note", "site")
MINUTE_MS = 60_000


@dataclass(frozen=True)
class Job:
    """One drain to be collected; what a process needs to do it alone."""

    place: Place
    drain: str  # its key in the record
    folder: Path
    key: bytes
    order: int
    others: tuple[Listed, ...]
    zone: str
    keep_dates: bool
    now_ms: int


def collect(
    place: Place, folder: Path, *, key: bytes, zone: str, now_ms: int, over: Over = map, keep_dates: bool = False
) -> Iterator[str | Failed | Cohort]:
    """Each drain's pseudonym as it is done, or why it could not be; last the cohort.

    A drain that is in the folder already is not worked on again, so what was stopped goes on where it was. `key`: at
    least 16 bytes; the same key gives the same pseudonyms. Raises UsageError for a shorter one.
    """
    if len(key) < 16:
        raise UsageError("the key of the pseudonyms is too short", mend="Give at least 16 bytes, made at random.")
    with open_record(place) as record:
        found = listed(record, everything=True)
    patients: dict[str, list[Listed]] = {}
    for one in found:
        patients.setdefault(_patient(one.name), []).append(one)
    jobs = [
        Job(
            place, one.key, folder, key, order,
            tuple(other for other in patients[_patient(one.name)] if other.key != one.key), zone, keep_dates, now_ms,
        )
        for order, one in enumerate(found, start=1)
    ]  # fmt: skip
    failed = []
    left = [job for job in jobs if not is_whole(folder, pseudonym(key, "drain", job.drain))]
    for job in jobs:
        if job not in left:
            yield pseudonym(key, "drain", job.drain)
    for done in each(over, collect_one, left):
        if isinstance(done, Failed):
            failed.append({"drain": pseudonym(key, "drain", done.item), "why": done.why})
        yield done
    yield close_cohort(
        folder,
        {
            "made_by": f"slackwater {__version__}", "de_identified": not keep_dates,
            "zone": zone if keep_dates else "the ward's clock, as at connection", "failed": failed,
        },
    )  # fmt: skip


def collect_one(job: Job) -> str:
    """Judge the drain as of its removal, or of its last reading, and write its part; returns its pseudonym."""
    record = _record(job.place)
    with record.reading() as connection:
        course = course_of(connection, job.drain)
    found = assess_course(record, course, now_ms=course.removed_ms, zone=job.zone)
    case = case_of(found, about_of(course, record, job), outcome_of(course, job.others, job.now_ms))
    by_ms = 0 if job.keep_dates else shift_of(case, job.zone)
    more = {"chart": chart_table(found, by_ms)}
    if found.trace is not None:
        more["pyramid"] = pyramid_frame(found).with_columns(
            (polars.col("start").cast(polars.Int64) + by_ms).alias("start")
        )
    write_case(job.folder, case if job.keep_dates else de_identified(case), by_ms, more)
    return case.about.drain


def about_of(course: Course, record: Record, job: Job) -> About:
    goal = course.goal
    sha256 = None if goal is None else goal["protocol"]
    rules = {rule.key: f"{rule['name']} {rule['edition'] or ''}".strip() for rule in record.things("protocol")}
    ward = course.episode["ward"]
    return About(
        drain=pseudonym(job.key, "drain", course.drain.key), patient=pseudonym(job.key, "patient", course.patient.key),
        ward=ward if job.keep_dates or ward is None else f"ward {pseudonym(job.key, 'ward', ward)[:4]}",
        indication=course.episode["indication"], operation=course.episode["operation_kind"],
        space=course.space["kind"], side=course.space["side"], age_years=course.episode["age_years"], order=job.order,
        protocol=None if sha256 is None else rules.get(sha256), protocol_sha256=sha256,
    )  # fmt: skip


def de_identified(case: Case) -> Case:
    """Without an age above 89; what names a person is not in a case at all."""
    age = case.about.age_years
    if age is None or age <= OLDEST:
        return case
    about: Mapping[str, Any] = {**case.facts.about, "patient.age_years": OLDEST + 1.0}
    return replace(
        case, about=replace(case.about, age_years=OLDEST + 1.0), facts=replace(case.facts, about=about)
    )  # fmt: skip


def shift_of(case: Case, zone: str) -> int:
    """By how many ms, a whole number of minutes, the stay is moved so that it begins in the one week."""
    local = datetime.fromtimestamp(case.from_ms / 1000, UTC).astimezone(ZoneInfo(zone))
    wanted = WEEK_BEGINS + timedelta(days=local.weekday(), hours=local.hour, minutes=local.minute)
    begins = case.from_ms // MINUTE_MS * MINUTE_MS
    return round(wanted.timestamp() * 1000) - begins


def chart_table(found: Assessment, by_ms: int) -> polars.DataFrame:
    """What staff charted, of the items that the program knows, without free text and names."""
    rows = [
        {
            "time_ms": one.time + by_ms, "recorded_ms": one.recorded + by_ms, "item": one.item, "drain": one.drain,
            "number": one.value if isinstance(one.value, float) else None,
            "word": one.value if isinstance(one.value, str) else None, "conflict": one.conflict,
        }
        for one in found.chart.entries
        if one.known and one.item not in FREE_TEXT
    ]  # fmt: skip
    schema = {
        "time_ms": polars.Int64, "recorded_ms": polars.Int64, "item": polars.String, "drain": polars.String,
        "number": polars.Float64, "word": polars.String, "conflict": polars.Boolean,
    }  # fmt: skip
    return polars.DataFrame(rows, schema=schema)


def pseudonym(key: bytes, kind: str, name: str) -> str:
    """HMAC-SHA256 of the name, 16 hex digits: the same key gives the same, and without it there is no way back."""
    return hmac.new(key, f"{kind}:{name}".encode(), hashlib.sha256).hexdigest()[:16]


def _patient(name: str) -> str:
    return name.rpartition("/")[0]


_records: dict[Place, Record] = {}


def _record(place: Place) -> Record:
    """One open record a process."""
    if place not in _records:
        _records[place] = open_record(place)
    return _records[place]
