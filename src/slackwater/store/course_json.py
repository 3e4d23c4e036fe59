"""What the record holds of drains as JSON: the same for the terminal and for other programs. Times are UTC with Z."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection

from slackwater.store.course import Course, course_of, own_pairings
from slackwater.store.files import Files
from slackwater.store.history import Line, history_of
from slackwater.store.listing import Listed
from slackwater.store.live import Sent, sent_of
from slackwater.store.rows import Thing, things

Whole = tuple[Course, tuple[Line, ...], Thing | None, dict[str, str], tuple[Sent, ...]]


def whole_course(connection: Connection, files: Files, drain: str, known_ms: int | None = None) -> Whole:
    """What `course_dict` takes: course, history, the rule pinned, serial numbers by the key of the unit, and what its
    units sent by themselves."""
    course = course_of(connection, drain, known_ms)
    serials = {unit.key: unit["serial"] for unit in things(connection, "unit")}
    pinned = None if course.goal is None else course.goal["protocol"]
    rule = next(iter(things(connection, "protocol", keys=[pinned] if pinned else [])), None)
    sent = tuple(found for live in course.live if (found := sent_of(connection, files, live)) is not None)
    return course, history_of(connection, course, known_ms), rule, serials, sent


def list_dict(found: Sequence[Listed]) -> dict[str, Any]:
    return {
        "drains": [
            {
                "drain": one.key, "name": one.name, "ward": one.ward, "bed": one.bed, "side": one.side,
                "space": one.space, "site": one.site, "indication": one.indication,
                "connected_at": _stamp(one.connected_ms), "removed_at": _stamp(one.removed_ms), "removal": one.removal,
                "logs": one.logs, "log_until": _stamp(one.log_until_ms), "sent_until": _stamp(one.sent_until_ms),
                "chart_rows": one.entries, "protocol": one.protocol,
            }
            for one in found
        ]
    }  # fmt: skip


def course_dict(
    course: Course, history: Sequence[Line], rule: Thing | None, serials: Mapping[str, str], sent: Sequence[Sent]
) -> dict[str, Any]:
    """All that the record holds of one drain. `serials`: serial numbers by the key of the unit."""
    return {
        "name": course.name, "patient": thing_dict(course.patient), "episode": thing_dict(course.episode),
        "space": thing_dict(course.space), "drain": thing_dict(course.drain), "goal": thing_dict(course.goal),
        "protocol": thing_dict(rule),
        "pairings": [{**(thing_dict(one) or {}), "serial": serials.get(one["unit"])} for one in own_pairings(course)],
        "orders": _all(course.orders), "entries": _all(course.entries), "logs": _all(course.logs),
        "tables": _all(course.tables), "holds": _all(course.holds), "tasks": _all(course.tasks),
        "removal": thing_dict(course.removal), "checks": _all(course.checks),
        "canisters": _all(course.canisters), "trips": _all(course.trips), "homes": _all(course.homes),
        "unit_calls": [{**(thing_dict(one) or {}), "serial": serials.get(one["unit"])} for one in course.calls],
        "sent": [
            {
                "unit": one.unit, "serial": one.serial, "readings": one.readings,
                "first_at": _stamp(one.first_ms), "last_at": _stamp(one.last_ms),
            }
            for one in sent
        ],
        "history": history_list(history),
    }  # fmt: skip


def history_list(history: Sequence[Line]) -> list[dict[str, Any]]:
    """Who entered what, when and why."""
    return [
        {
            "act": line.seq, "recorded_at": _stamp(line.at_ms), "by": line.by, "what": line.what,
            "why": line.why or None, "new": dict(line.new), "taken_back": dict(line.taken_back),
            "corrected": [
                {"noun": noun, "field": named(name), "old": _told(name, old), "new": _told(name, new)}
                for noun, name, old, new in line.corrected
            ],
        }
        for line in history
    ]  # fmt: skip


def thing_dict(thing: Thing | None) -> dict[str, Any] | None:
    if thing is None:
        return None
    fields = {named(name): _told(name, value) for name, value in thing.fields.items()}
    return {"key": thing.key, "version": thing.version, "recorded_at": _stamp(thing.at_ms), **fields}


def _all(things: Sequence[Thing]) -> list[dict[str, Any] | None]:
    return [thing_dict(thing) for thing in things]


def _stamp(ms: int | None) -> str | None:
    from slackwater.assessment.document import stamp  # with all that judges; a list as text does without

    return stamp(ms)


def named(field: str) -> str:
    """A field of the record as it is called outside: instants end in `_at`."""
    return field.removesuffix("_ms") + "_at" if field.endswith("_ms") else field


def _told(field: str, value: Any) -> Any:
    """Instants as text; the two lists of drain numbers as lists."""
    if field.endswith("_ms"):
        return _stamp(value)
    return json.loads(value) if field.startswith("shares_") and value is not None else value
