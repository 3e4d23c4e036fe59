"""Things of the record as programs are given them: made of the record's own nouns, so that the document is true."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, create_model

from slackwater.store.course_json import named
from slackwater.store.nouns import COUNT, FLAG, INSTANT, NOUNS, NUMBER, TEXT, WORDS, Field
from slackwater.web.shapes import OfDrain, Shape, Stamp

_KINDS: dict[str, Any] = {TEXT: str, INSTANT: Stamp, COUNT: int, NUMBER: float, FLAG: bool}


def _kind(noun: str, field: Field) -> Any:
    words = WORDS.get((noun, field.name))
    kind: Any = Literal[words] if words else list[str] if field.name.startswith("shares_") else _KINDS[field.kind]
    return kind if field.needed else kind | None


def _shape(noun: str) -> type[BaseModel]:
    """A thing as `course_json.thing_dict` writes it."""
    fields: dict[str, Any] = {named(one.name): (_kind(noun, one), ...) for one in NOUNS[noun].fields}
    name = f"Recorded{noun.title().replace('_', '')}"
    return create_model(name, __base__=Shape, key=(str, ...), version=(int, ...), recorded_at=(Stamp, ...), **fields)


SHAPES: dict[str, Any] = {noun: _shape(noun) for noun in NOUNS}


class Corrected(Shape):
    """A field that an act changed."""

    noun: str
    field: str
    old: str | int | float | bool | list[str] | None
    new: str | int | float | bool | list[str] | None


class ActShape(Shape):
    """One act of the ledger as it concerns one drain: how many rows of each noun it made."""

    act: int
    recorded_at: Stamp
    by: str
    what: str
    why: str | None
    new: dict[str, int]
    taken_back: dict[str, int]
    corrected: list[Corrected]


class SentShape(Shape):
    """How many readings a unit sent by itself that are this drain's, and of which first and last moment."""

    unit: str
    serial: str
    readings: int
    first_at: Stamp
    last_at: Stamp


_PAIRING: Any = create_model("RecordedPairingOfUnit", __base__=SHAPES["pairing"], serial=(str | None, ...))
_CALL: Any = create_model("RecordedSignalOfUnit", __base__=SHAPES["unit_call"], serial=(str | None, ...))
_MANY = {"orders": "order", "entries": "entry", "logs": "log", "tables": "table", "holds": "hold", "tasks": "task",
         "checks": "check", "canisters": "canister", "trips": "trip", "homes": "home"}  # fmt: skip
_LIST: Any = list  # of a kind that was made here
_PARTS: dict[str, Any] = {
    "name": str, **{noun: SHAPES[noun] for noun in ("patient", "episode", "space", "drain")},
    **{noun: SHAPES[noun] | None for noun in ("goal", "protocol", "removal")},
    **{name: _LIST[SHAPES[noun]] for name, noun in _MANY.items()},
    "pairings": _LIST[_PAIRING], "unit_calls": _LIST[_CALL], "sent": list[SentShape], "history": list[ActShape],
}  # fmt: skip
_FIELDS: dict[str, Any] = {name: (kind, ...) for name, kind in _PARTS.items()}
_COURSE: Any = create_model("Course", __base__=Shape, **_FIELDS)

CourseAnswer = create_model("CourseOfDrain", __base__=OfDrain, course=(_COURSE, ...))
