"""The record as lines for a person, and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING, Any

from slackwater.assessment.document import stamp

if TYPE_CHECKING:
    from slackwater.store.course import Course
    from slackwater.store.history import Line
    from slackwater.store.listing import Listed
    from slackwater.store.rows import Thing
    from slackwater.store.take_in import Taken

SUPPORT = "It supports decisions; clinicians and local policy decide. Confirm patient, side and site at the bedside."


def taken_dict(one: Taken) -> dict[str, Any]:
    return {
        "drain": one.drain, "name": one.name, "new_drain": one.new_drain, "new_logs": one.logs,
        "same_logs": one.same_logs, "new_entries": one.entries, "same_entries": one.same_entries, "rows": one.rows,
        "notes": list(one.notes),
    }  # fmt: skip


def taken_text(done: Sequence[Taken], place: str) -> str:
    lines = []
    for one in done:
        new = [
            f"{count} new {what}{'s' if count != 1 and what != 'entry' else ''}".replace("entry", "chart rows")
            for count, what in ((one.logs, "log"), (one.entries, "entry"))
            if count
        ]
        same = [
            f"{one.same_logs} logs" * bool(one.same_logs),
            f"{one.same_entries} chart rows" * bool(one.same_entries),
        ]
        there = " and ".join(text for text in same if text)
        what = (
            ", ".join(new) if new else ("new drain" if one.new_drain else "nothing new" if not one.rows else "changed")
        )
        lines.append(f"{one.name}  {one.drain[:8]}  {what}" + (f"; there already: {there}" if there else ""))
        lines += [f"    look at this: {note}" for note in one.notes]
    lines.append(f"record: {place}")
    return "\n".join(lines)


def list_dict(found: Sequence[Listed]) -> dict[str, Any]:
    return {
        "drains": [
            {
                "drain": one.key, "name": one.name, "ward": one.ward, "bed": one.bed, "side": one.side,
                "space": one.space, "site": one.site, "indication": one.indication,
                "connected_at": stamp(one.connected_ms), "removed_at": stamp(one.removed_ms), "removal": one.removal,
                "logs": one.logs, "log_until": stamp(one.log_until_ms), "chart_rows": one.entries,
                "protocol": one.protocol,
            }
            for one in found
        ]
    }  # fmt: skip


def list_text(found: Sequence[Listed], everything: bool) -> str:
    if not found:
        return "no drain is in" if not everything else "the record holds no drain yet"
    heads: tuple[str, ...] = (
        "drain",
        "key",
        "where",
        "connected (UTC)",
        "out (UTC)",
        "logs until (UTC)",
        "chart rows",
        "rule",
    )
    rows: list[tuple[str, ...]] = [
        (
            one.name, one.key[:8], " ".join(word for word in (one.bed, one.side, one.space) if word) or "not recorded",
            _short(one.connected_ms), f"{_short(one.removed_ms)} {one.removal}" if one.removed_ms is not None else "in",
            _short(one.log_until_ms) if one.logs else "no log", str(one.entries), one.protocol or "none pinned",
        )
        for one in found
    ]  # fmt: skip
    if not everything:
        heads, rows = _without(heads, 4), [_without(row, 4) for row in rows]
    wide = [max(len(row[column]) for row in (heads, *rows)) for column in range(len(heads))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, wide, strict=True)).rstrip() for row in (heads, *rows)
    ]
    return "\n".join([*lines, "", SUPPORT])


def _without(row: tuple[str, ...], column: int) -> tuple[str, ...]:
    return row[:column] + row[column + 1 :]


def course_dict(course: Course, history: Sequence[Line]) -> dict[str, Any]:
    def one(thing: Thing | None) -> dict[str, Any] | None:
        if thing is None:
            return None
        fields = {
            name.removesuffix("_ms") + ("_at" if name.endswith("_ms") else ""): stamp(value)
            if name.endswith("_ms")
            else value
            for name, value in thing.fields.items()
        }
        return {"key": thing.key, "version": thing.version, "recorded_at": stamp(thing.at_ms), **fields}

    def all_of(things: Sequence[Thing]) -> list[dict[str, Any] | None]:
        return [one(thing) for thing in things]

    return {
        "name": course.name, "patient": one(course.patient), "episode": one(course.episode),
        "space": one(course.space), "drain": one(course.drain), "goal": one(course.goal),
        "pairings": all_of([pairing for pairing in course.pairings if pairing["drain"] == course.drain.key]),
        "orders": all_of(course.orders), "entries": all_of(course.entries), "logs": all_of(course.logs),
        "tables": all_of(course.tables), "holds": all_of(course.holds), "tasks": all_of(course.tasks),
        "removal": one(course.removal), "checks": all_of(course.checks),
        "history": [
            {
                "act": line.seq, "recorded_at": stamp(line.at_ms), "by": line.by, "what": line.what,
                "why": line.why or None, "new": dict(line.new), "taken_back": dict(line.taken_back),
                "corrected": [
                    {"noun": noun, "field": name, "old": old, "new": new} for noun, name, old, new in line.corrected
                ],
            }
            for line in history
        ],
    }  # fmt: skip


def course_lines(course: Course, history: Sequence[Line], zone: tzinfo) -> str:
    """What a person looks for first: whose, what for, what is open; then who entered what."""
    drain, space, stay = course.drain, course.space, course.episode
    where = " ".join(word for word in (space["side"], space["kind"], drain["site"]) if word) or "place not recorded"
    lines = [
        f"{course.name}  drain {drain.key[:8]}  {where}",
        f"  connected   {_at(drain['connected_ms'], zone)}",
        f"  out         {_out(course, zone)}",
        f"  stay        {_stay(stay)}",
        f"  goal        {course.goal['text'] if course.goal is not None and course.goal['text'] else 'not recorded'}",
        f"  logs        {_logs(course, zone)}",
        f"  chart rows  {len(course.entries)}",
    ]
    for heading, things, words in (
        ("orders", course.orders, ("kind", "level", "unit", "reason")),
        ("holds", course.holds, ("reason", "note")),
        ("tasks", course.tasks, ("what", "result")),
        ("checks", course.checks, ("what", "result")),
    ):
        lines += [f"  {heading:<11} {_thing(thing, words, zone)}" for thing in things]
    lines.append("  who entered what:")
    for line in history:
        counted = ", ".join(f"{count} {noun}" for noun, count in line.new.items()) or "nothing new"
        back = "".join(f"; took back {count} {noun}" for noun, count in line.taken_back.items())
        why = f" ({line.why})" if line.why else ""
        lines.append(f"    {_at(line.at_ms, zone)}  {line.by}: {line.what}: {counted}{back}{why}")
        lines += [
            f"      {noun} {name.removesuffix('_ms')}: {old!r} became {new!r}"
            for noun, name, old, new in line.corrected
        ]
    return "\n".join([*lines, "", SUPPORT])


def _out(course: Course, zone: tzinfo) -> str:
    if course.removal is None:
        return "in"
    return f"{_at(course.removal['time_ms'], zone)} ({course.removal['kind']})"


def _stay(stay: Thing) -> str:
    age = f"{stay['age_years']:g} years" if stay["age_years"] is not None else "age not recorded"
    weight = f"{stay['weight_kg']:g} kg" if stay["weight_kg"] is not None else "weight not recorded"
    what = [stay["indication"] or "indication not recorded", stay["operation_kind"] or "operation not recorded"]
    return ", ".join([*what, age, weight])


def _logs(course: Course, zone: tzinfo) -> str:
    if not course.logs:
        return "none"
    until = max(log["last_ms"] for log in course.logs)
    read = sum(log["rows_read"] for log in course.logs)
    refused = sum(log["rows_refused"] for log in course.logs)
    return f"{len(course.logs)}, {read} rows ({refused} refused), until {_at(until, zone)}"


def _thing(thing: Thing, words: tuple[str, ...], zone: tzinfo) -> str:
    said = " ".join(str(thing[name]) for name in words if thing[name] is not None)
    times = [
        f"{name.removesuffix('_ms')} {_at(value, zone)}"
        for name, value in thing.fields.items()
        if name.endswith("_ms") and value is not None
    ]
    return ", ".join([said, *times])


def _at(ms: int | None, zone: tzinfo) -> str:
    if ms is None:
        return "not recorded"
    return datetime.fromtimestamp(ms / 1000, zone).isoformat(sep=" ", timespec="minutes")


def _short(ms: int | None) -> str:
    return "not recorded" if ms is None else datetime.fromtimestamp(ms / 1000, UTC).strftime("%Y-%m-%d %H:%M")
