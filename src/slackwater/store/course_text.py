"""`course.toml`: what is neither in a log nor in a chart: pairings, orders, holds, trips, times at home, removal."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from slackwater.assessment.document import stamp
from slackwater.episode.instants import WITH_OFFSET, read_instant
from slackwater.episode.plain_text import plain_text
from slackwater.episode.spelling import meant
from slackwater.errors import EpisodeError, QuantityError, RecordError
from slackwater.store import checks
from slackwater.store.acts import key_of
from slackwater.store.course import Course
from slackwater.store.facts import tell
from slackwater.store.nouns import INSTANT, NOUNS, Field, Value
from slackwater.store.record import Acting
from slackwater.store.rows import Thing
from slackwater.store.whose import Whose

# Each table of the file, and what tells one of its things from another.
TABLES: dict[str, tuple[str, ...]] = {
    "pairing": ("unit", "from_ms"),
    "order": ("kind", "from_ms"),
    "hold": ("reason", "from_ms"),
    "task": ("what", "due_ms"),
    "removal": (),
    "check": ("what", "due_ms"),
    "canister": ("from_ms",),
    "trip": ("from_ms", "destination"),
    "home": ("from_ms",),
    "unit_call": ("kind", "from_ms"),
}
ENTERED = ("order", "hold", "task", "check", "canister", "trip", "home", "unit_call")  # also on the ward's pages
BY_SERIAL = ("pairing", "unit_call")  # their `unit` is told by its serial number
STAY = ("ward", "bed", "initials", "closed_ms", "closed_why")  # keys of [stay], once


@dataclass(frozen=True)
class Given:
    """One table of the file: a noun (or `stay`) and its fields; a `unit` is its serial number."""

    noun: str
    fields: Mapping[str, Value]


def read_course(data: bytes, name: str) -> tuple[Given, ...]:
    """Read `[stay]`, `[removal]`, and a list of each other table: `[[pairing]]`, `[[order]]`, `[[trip]]` and so on.

    Times carry their offset. Raises EpisodeError naming table and key, for what is not known or missing.
    """
    text = plain_text(data, name, EpisodeError)
    try:
        found = tomllib.loads(text + "\n")
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise EpisodeError(f"is not TOML: {error}", where=name, mend='Write lines such as reason = "other".') from error
    given = []
    for table, content in found.items():
        if table not in (*TABLES, "stay"):
            raise EpisodeError(
                "is not a table of a course", where=f"{name}, {table}", mend=meant(table, (*TABLES, "stay"))
            )
        for number, one in enumerate(content if isinstance(content, list) else [content], start=1):
            where = f"{name}, {table}" + (f" {number}" if isinstance(content, list) else "")
            if not isinstance(one, dict):
                raise EpisodeError("is not a table", where=where, mend=f"Write [[{table}]] on its own line.")
            given.append(Given(table, _fields(table, one, where)))
    return tuple(given)


def enter(act: Acting, whose: Whose, told: Given, name: str, correct: bool) -> int:
    """Record one table; returns how many rows that made. A removal ends the drain's pairings first."""
    if told.noun == "stay":
        return tell(act, "episode", whose.episode, told.fields, of=name, correct=correct)
    fields: dict[str, Value] = {**told.fields, "drain": whose.drain}
    rows = 0
    if told.noun == "removal":
        rows += end_pairings(act, whose.drain, told.fields["time_ms"])
    if told.noun == "pairing":
        out = min((one["time_ms"] for one in act.things("removal", {"drain": whose.drain})), default=None)
        if out is not None and fields.get("to_ms") is None and isinstance(fields["from_ms"], int):
            if fields["from_ms"] >= out:
                raise RecordError("begins after this drain was out", where=f"{name}, pairing", mend="Mend its times.")
            fields["to_ms"] = out
        fields |= {"patient": whose.patient}
    if told.noun in BY_SERIAL and fields.get("unit") is not None:
        serial = str(fields["unit"])
        fields |= {"unit": key_of("unit", serial)}
        rows += tell(act, "unit", key_of("unit", serial), {"serial": serial}, of=name, correct=False)
    if told.noun in ENTERED and _stands(act, told.noun, fields):
        return rows
    key = natural_key(told.noun, whose.drain, told.fields)
    happened = next((fields[one] for one in ("time_ms", "from_ms", "done_ms") if fields.get(one) is not None), None)
    rows += tell(
        act,
        told.noun,
        key,
        fields,
        of=name,
        correct=correct,
        happened_ms=happened if isinstance(happened, int) else None,
    )
    return rows


def _stands(act: Acting, noun: str, fields: Mapping[str, Value]) -> bool:
    """Whether the drain has just this already, under the key of the form that it was entered with."""
    told = {name: value for name, value in fields.items() if value is not None}
    return any(
        all(one[name] == value for name, value in told.items()) for one in act.things(noun, {"drain": fields["drain"]})
    )


def end_pairings(act: Acting, drain: str, at: Value) -> int:
    """The unit is free again from the moment the drain is out."""
    rows = 0
    for pairing in act.things("pairing", {"drain": drain}):
        end = pairing["to_ms"]
        if isinstance(at, int) and pairing["from_ms"] < at and (end is None or end > at):
            act.change("pairing", pairing.key, {"to_ms": at}, version=pairing.version)
            rows += 1
    return rows


def natural_key(noun: str, drain: str, fields: Mapping[str, Value]) -> str:
    """The key of a thing that was not entered here: the same thing told again is the same."""
    return key_of(noun, drain, *(None if fields.get(one) is None else str(fields[one]) for one in TABLES[noun]))


def course_text(course: Course, serials: Mapping[str, str]) -> str:
    """The course as a file that `read_course` reads back. `serials`: serial numbers by the key of the unit."""
    parts = [_text("[stay]", {name: course.episode[name] for name in STAY})]
    mine = [pairing for pairing in course.pairings if pairing["drain"] == course.drain.key]
    parts += [
        _text("[[pairing]]", {**pairing.fields, "unit": serials.get(pairing["unit"]), "patient": None, "drain": None})
        for pairing in mine
        if not pairing["from_log"]  # its log shows it again
    ]
    for heading, found in _tables(course):
        for thing in found:
            unit = (
                serials.get(str(thing.fields.get("unit"))) if heading == "[[unit_call]]" else thing.fields.get("unit")
            )
            parts.append(_text(heading, {**thing.fields, "drain": None, "unit": unit}))
    return "\n".join(part for part in parts if part)


def _tables(course: Course) -> Iterable[tuple[str, tuple[Thing, ...]]]:
    yield "[[order]]", course.orders
    yield "[[hold]]", course.holds
    yield "[[task]]", course.tasks
    yield "[removal]", (course.removal,) if course.removal is not None else ()
    yield "[[check]]", course.checks
    yield "[[canister]]", course.canisters
    yield "[[trip]]", course.trips
    yield "[[home]]", course.homes
    yield "[[unit_call]]", course.calls


def _text(heading: str, fields: Mapping[str, Value]) -> str:
    lines = [
        f"{name.removesuffix('_ms')} = {_toml(name, value)}" for name, value in fields.items() if value is not None
    ]
    return "\n".join([heading, *lines, ""]) if lines else ""


def _toml(name: str, value: Value) -> str:
    if name.endswith("_ms") and isinstance(value, int):
        return f'"{stamp(value)}"'
    return json.dumps(value, ensure_ascii=False)  # TOML's strings, numbers and booleans are written as JSON's


def _fields(table: str, content: Mapping[str, Any], where: str) -> dict[str, Value]:
    allowed = _allowed(table)
    out: dict[str, Value] = {}
    for key, value in content.items():
        one = allowed.get(key)
        if one is None:
            raise EpisodeError("is not a key of it", where=f"{where}, {key}", mend=meant(key, tuple(allowed)))
        out[one.name] = _instant(value, f"{where}, {key}") if one.kind == INSTANT else value
    whole = {name: value for name, value in out.items() if table not in BY_SERIAL or name != "unit"}
    noun = "episode" if table == "stay" else table
    given: dict[str, Value] = {
        name: "-" for name in ("drain", "unit", "patient") if name in {f.name for f in NOUNS[noun].fields}
    }
    try:
        checks.known(noun, "", {**given, **whole})
    except RecordError as error:
        key = error.where.rpartition(", ")[2].removesuffix("_ms")
        raise EpisodeError(error.what, where=f"{where}, {key}", mend=error.mend) from error
    unit = out.get("unit")
    if table in BY_SERIAL and not isinstance(unit, str) and (unit is not None or table == "pairing"):
        raise EpisodeError("the unit's serial number is missing", where=f"{where}, unit", mend='Write unit = "...".')
    return out


def _allowed(table: str) -> dict[str, Field]:
    fields = NOUNS["episode" if table == "stay" else table].fields
    if table == "stay":
        fields = tuple(one for one in fields if one.name in STAY)
    return {one.name.removesuffix("_ms"): one for one in fields if one.name not in ("drain", "patient", "from_log")}


def _instant(value: Any, where: str) -> int:
    text = value.isoformat() if isinstance(value, datetime) and value.tzinfo is not None else value
    if not isinstance(text, str):
        raise EpisodeError(f"{value!s} does not say where its clock stood", where=where, mend=WITH_OFFSET)
    try:
        return read_instant(text)
    except QuantityError as error:
        raise EpisodeError(error.what, where=where, mend=error.mend) from error
