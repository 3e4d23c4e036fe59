"""From the record back to what the core takes: episode, chart, logs and rule, and the one call over them."""

from __future__ import annotations

import json
import math

import numpy as np

from slackwater.assessment.assess import assess
from slackwater.assessment.assessment import Assessment
from slackwater.episode.chart import read_chart
from slackwater.episode.types import Chart, Episode
from slackwater.errors import LayoutError, RecordError
from slackwater.leak.filter.model import FilterModel
from slackwater.protocol.load import load_protocol
from slackwater.protocol.rule import Protocol
from slackwater.reading.layout import Layout
from slackwater.reading.log import Log
from slackwater.reading.read import read_log
from slackwater.store.acts import key_of
from slackwater.store.chart_text import chart_csv
from slackwater.store.course import Course, course_of
from slackwater.store.files import Files
from slackwater.store.live import log_of
from slackwater.store.record import Record
from slackwater.store.rows import Thing

ALL_ROWS = 1.0  # a log was accepted when it was recorded; what it refused then is refused again, and told


def episode_of(course: Course) -> Episode:
    """The drain as the core knows it. What drains share is what the files said and what the pairings show."""
    episode, drain, space = course.episode, course.drain, course.space
    gone = {removal["drain"] for removal in course.other_removals}
    numbers = {other.key: other["number"] for other in course.other_drains}
    mine = [pairing for pairing in course.pairings if pairing["drain"] == drain.key]
    on_one_unit = {
        numbers[other["drain"]]
        for own in mine
        for other in course.pairings
        if other["drain"] in numbers and other["unit"] == own["unit"] and _at_once(own, other)
    }
    in_one_space = {
        other["number"] for other in course.other_drains if other["space"] == space.key and other.key not in gone
    }
    told = drain["shares_space_with"]
    sides = {other.key: course.sides.get(other["space"]) for other in course.other_drains}
    apart = {key for key, other in sides.items() if _other_side(course.sides.get(space.key), other)}
    in_question = [
        other for other in course.other_drains
        if other.key not in gone and other["space"] != space.key and other.key not in apart
    ]  # fmt: skip
    return Episode(
        patient_id=course.patient["label"],
        age_years=episode["age_years"],
        weight_kg=episode["weight_kg"],
        drain_number=drain["number"],
        side=space["side"],
        space=space["kind"],
        site=drain["site"],
        size_fr=drain["size_fr"],
        connected_at=drain["connected_ms"],
        shares_unit_with=_numbers(drain["shares_unit_with"], on_one_unit),
        shares_space_with=_numbers(told, in_one_space),
        shares_space_told=told is not None or bool(course.other_drains and not in_question),
        other_drains=tuple(sorted(other["number"] for other in course.other_drains)),
        operation_kind=episode["operation_kind"],
        operation_end=episode["operation_end_ms"],
        indication=episode["indication"],
        goal=None if course.goal is None else course.goal["text"],
        breathing=episode["breathing"],
    )


def _other_side(one: tuple[str | None, str | None] | None, other: tuple[str | None, str | None] | None) -> bool:
    """Whether two spaces (kind, side) are known to be different ones."""
    if one is None or other is None:
        return False
    return any(a is not None and b is not None and a != b for a, b in zip(one, other, strict=True))


def chart_bytes(course: Course, with_orders: bool = True) -> bytes:
    """The chart file that stands for all entries of the episode, and for the drain's orders of suction."""
    orders = [
        {**order.fields, "drain": course.drain["number"]}
        for order in course.orders
        if with_orders and order["kind"] == "suction" and order["level"] is not None
    ]
    return chart_csv([entry.fields for entry in course.entries], orders).encode()


def chart_of(course: Course) -> Chart:
    """All entries of the episode as a chart; its lines are those of `slackwater record export`."""
    return read_chart(chart_bytes(course), "chart.csv")


def logs_of(record: Record, course: Course) -> list[Log]:
    """The drain's logs, read again from the original bytes, and what its units sent by themselves as logs beside them;
    none of a row after the removal."""
    files = record.files
    read = [
        read_log(files.get(log["sha256"]), layout_of(files, log["layout"]), log["name"], ALL_ROWS)
        for log in course.logs
    ]
    if course.live:
        with record.reading() as connection:
            read += [log for live in course.live for log in log_of(connection, files, live)]
    found = [while_paired(until(log, course.removed_ms), course) for log in read]
    return [log for log in found if len(log.time_ms)]


def layout_of(files: Files, sha256: str) -> Layout:
    """A layout by its hash."""
    try:
        return Layout.from_toml(files.get(sha256).decode(), "the recorded layout")
    except UnicodeDecodeError as error:
        raise LayoutError("the recorded layout is no text", mend="See: slackwater verify.") from error


def rule_of(files: Files, course: Course, known: dict[str, str]) -> Protocol | None:
    """The rule pinned to this drain, as it was when it was pinned. `known`: file names by hash."""
    if course.goal is None or course.goal["protocol"] is None:
        return None
    sha256 = course.goal["protocol"]
    return load_protocol(files.get(sha256), known.get(sha256, "the recorded rule"))


def until(log: Log, end_ms: int | None) -> Log:
    """The rows of a log that had ended by `end_ms`: a unit runs on after the drain is out."""
    if end_ms is None:
        return log
    ends = log.time_ms if log.marks == "end" else log.time_ms + log.every_ms
    keep = ends <= end_ms
    return log if bool(np.all(keep)) else log.only(keep)


def while_paired(log: Log, course: Course) -> Log:
    """The rows of the time for which a person paired this unit with the drain; all, where nobody entered a pairing.

    A row that began before it began may hold another patient's air, so it is left out, too.
    """
    if len(log.serials) != 1:
        return log
    unit = key_of("unit", log.serials[0])
    own = [one for one in course.pairings if one["unit"] == unit and one["drain"] == course.drain.key]
    if not any(not one["from_log"] for one in own):
        return log
    ends = log.time_ms if log.marks == "end" else log.time_ms + log.every_ms
    keep = np.zeros(len(ends), np.bool_)
    for one in own:
        keep |= (
            (ends > one["from_ms"])
            & (ends - log.every_ms >= one["from_ms"])
            & (ends <= (np.iinfo(np.int64).max if one["to_ms"] is None else one["to_ms"]))
        )
    return log if bool(np.all(keep)) else log.only(keep)


def assess_drain(
    record: Record,
    drain: str,
    *,
    protocol: Protocol | None = None,
    now_ms: int | None = None,
    known_ms: int | None = None,
    zone: str = "UTC",
    model: FilterModel | None = None,
) -> Assessment:
    """Judge a recorded drain, by its own pinned rule unless another is given.

    `now_ms`: as of this moment, by what staff had written and the unit had logged by then. `known_ms`: as this
    record stood then, whatever was added to it later. Both UTC ms. Raises RecordError for an unknown drain.
    """
    with record.reading() as connection:
        course = course_of(connection, drain, known_ms)
    return assess_course(record, course, protocol=protocol, now_ms=now_ms, zone=zone, model=model)


def assess_course(
    record: Record,
    course: Course,
    *,
    protocol: Protocol | None = None,
    now_ms: int | None = None,
    zone: str = "UTC",
    model: FilterModel | None = None,
) -> Assessment:
    """The same for a course that was read already."""
    rule = protocol or rule_of(record.files, course, _rule_names(record))
    logs, chart = logs_of(record, course), chart_of(course)
    if not logs and not chart.entries:
        raise RecordError(
            "has neither a log nor a chart yet: there is nothing to judge",
            where=course.name, mend="Record one: slackwater record FOLDER.",
        )  # fmt: skip
    return assess(logs, chart=chart, episode=episode_of(course), protocol=rule, now_ms=now_ms, zone=zone, model=model)


def _rule_names(record: Record) -> dict[str, str]:
    return {rule.key: f"{rule['name']}.toml" for rule in record.things("protocol")}


def _numbers(told: str | None, shown: set[str]) -> tuple[str, ...]:
    said = tuple(json.loads(told)) if told else ()
    return (*said, *sorted(shown - set(said)))


def _at_once(one: Thing, other: Thing) -> bool:
    ends = [math.inf if pairing["to_ms"] is None else pairing["to_ms"] for pairing in (one, other)]
    return bool(one["from_ms"] < ends[1] and other["from_ms"] < ends[0])
