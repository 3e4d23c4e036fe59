"""What must hold of a change before it is recorded. The database holds the gravest of it too."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence

from sqlalchemy import Connection

from slackwater.errors import RecordError
from slackwater.store import rows
from slackwater.store.acts import Change
from slackwater.store.nouns import COUNT, FLAG, INSTANT, NOUNS, NUMBER, TEXT, WORDS, Value

_TYPES: dict[str, tuple[type, ...]] = {
    TEXT: (str,), INSTANT: (int,), COUNT: (int,), NUMBER: (int, float), FLAG: (bool,),
}  # fmt: skip
_FIELDS = {name: {one.name: one for one in noun.fields} for name, noun in NOUNS.items()}
_LONGEST = 1_000_000  # characters
_LARGEST = 2**62
# What no file of ours may hold, and what cannot be written as UTF-8.
_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\x85\u2028\u2029\ud800-\udfff]")


def plain(text: str, where: str, longest: int = _LONGEST) -> None:
    """Refuse text that does not print, cannot be written, or has no end."""
    if _UNPRINTABLE.search(text) or len(text) > longest:
        raise RecordError("is no plain text", where=where, mend="Leave out what does not print, and shorten it.")


def moment(at_ms: int | None, where: str) -> None:
    """Refuse what is no instant."""
    if at_ms is not None and (isinstance(at_ms, bool) or not isinstance(at_ms, int) or abs(at_ms) > _LARGEST):
        raise RecordError("is no moment", where=where, mend="Give UTC milliseconds, or leave it out.")


def known(noun: str, key: str, fields: Mapping[str, Value]) -> dict[str, Value]:
    """The fields that are known, each of its kind. Raises RecordError naming noun, key and field."""
    names = _FIELDS[noun]
    out: dict[str, Value] = {}
    for name, value in fields.items():
        where = f"{noun} {key}, {name}"
        if name not in names:
            raise RecordError("is not a field of it", where=where, mend=f"Known: {', '.join(names)}.")
        if value is None:
            continue
        kind = names[name].kind
        if not isinstance(value, _TYPES[kind]) or (isinstance(value, bool) and kind != FLAG):
            raise RecordError(f"{value!r} is no {kind}", where=where, mend=f"Give a {kind}, or leave it out.")
        if isinstance(value, str):
            plain(value, where)
            words = WORDS.get((noun, name))
            if words is not None and value not in words:
                raise RecordError(f"{value!r} is no word for it", where=where, mend=f"Known: {', '.join(words)}.")
        elif abs(value) > _LARGEST or not math.isfinite(value):  # a whole number may be too large to be a float
            raise RecordError("is a number that cannot be", where=where, mend="Leave it out if it is not known.")
        elif kind == NUMBER:
            value = float(value) + 0.0  # one nought: SQLite gives back no other
        out[name] = value
    for one in names.values():
        if one.needed and out.get(one.name) in (None, ""):
            raise RecordError("is missing", where=f"{noun} {key}, {one.name}", mend="Give it.")
    return out


def fixed(noun: str, key: str, changed: Sequence[str]) -> None:
    """Whose a thing is never changes: what was filed under the wrong drain is taken back and entered anew."""
    for name in changed:
        if NOUNS[noun].field(name).fixed:
            raise RecordError(
                "never changes", where=f"{noun} {key}, {name}", mend="Take it back, and enter it where it belongs."
            )


def before(connection: Connection, noun: str, changes: Sequence[Change]) -> None:
    """The noun's own check, if it has one; and nothing is taken back that others stand on."""
    for change in changes:
        if change.gone:
            _stands_on(connection, change)
        elif noun in CHECKS:
            CHECKS[noun](connection, change)


# What is a thing's own, by the field that names it: while one stands, the thing stays.
_OWN = {
    "patient": (("episode", "patient"),),
    "episode": (("drain", "episode"), ("space", "episode")),
    "drain": tuple(
        (noun, "drain") for noun in ("log", "pairing", "order", "hold", "task", "removal", "check", "canister")
    ),
    "unit": (("pairing", "unit"),),
    "protocol": (("approval", "protocol"),),
}


def _stands_on(connection: Connection, change: Change) -> None:
    for noun, field in _OWN.get(change.noun, ()):
        if rows.things(connection, noun, {field: change.key}):
            raise RecordError(
                f"has a {noun} that stands", where=f"{change.noun} {change.key}", mend="Take that back first."
            )


def _order_of_time(first: str, second: str) -> Callable[[Connection, Change], None]:
    def check(_: Connection, change: Change) -> None:
        start, end = change.new.get(first), change.new.get(second)
        if isinstance(start, int) and isinstance(end, int) and end < start:
            raise RecordError(
                f"{second} lies before {first}", where=f"{change.noun} {change.key}", mend="Mend one of the two times."
            )

    return check


def _pairing(connection: Connection, change: Change) -> None:
    """A unit serves one patient at a time, and a drain has one unit at a time."""
    _order_of_time("from_ms", "to_ms")(connection, change)
    new = change.new
    for removal in rows.things(connection, "removal", {"drain": new["drain"]}):
        if _ends(new) > removal["time_ms"]:
            raise RecordError("the drain is out", where=f"pairing {change.key}", mend="Let it end by the removal.")
    others = {
        other.key: other
        for field in ("unit", "drain")
        for other in rows.things(connection, "pairing", {field: new[field]})
        if other.key != change.key
    }
    for other in others.values():
        apart = _ends(other.fields) <= _start(new) or _ends(new) <= _start(other.fields)
        shared = other["unit"] == new["unit"] and other["patient"] == new["patient"] and other["drain"] != new["drain"]
        if apart or shared:  # two limbs of one patient may share a unit
            continue
        if other["unit"] == new["unit"] and other["drain"] != new["drain"]:
            what = "the unit serves another patient's drain at that time: already paired"
        elif other["unit"] == new["unit"]:
            what = "the unit is already paired with this drain at that time"
        else:
            what = "the drain is already paired with another unit at that time"
        raise RecordError(what, where=f"pairing {change.key}", mend="End that pairing first, or mend the times.")


def _start(fields: Mapping[str, Value]) -> float:
    start = fields["from_ms"]
    assert isinstance(start, int)
    return start


def _ends(fields: Mapping[str, Value]) -> float:
    end = fields.get("to_ms")
    return math.inf if end is None else float(end)


def _approval(connection: Connection, change: Change) -> None:
    """Two people, each with a role, and only once each."""
    person = str(change.new["person"])
    if not rows.things(connection, "person", keys=[person]):
        raise RecordError("is not a person of this record", where=f"approval, {person}", mend="Enter the person first.")
    for other in rows.things(connection, "approval", {"protocol": change.new["protocol"]}):
        if other["person"] == person and other.key != change.key:
            raise RecordError("has approved it already", where=f"approval, {person}", mend="A second person must.")


def _removal(connection: Connection, change: Change) -> None:
    for other in rows.things(connection, "removal", {"drain": change.new["drain"]}):
        if other.key != change.key:
            raise RecordError(
                "this drain is out already",
                where=f"removal {change.key}",
                mend="Correct that removal, or enter the new tube under its own number.",
            )
    for drain in rows.things(connection, "drain", keys=[str(change.new["drain"])]):
        _in_before_out(drain["connected_ms"], change.new["time_ms"], f"removal of drain {drain['number']}")


def _drain(connection: Connection, change: Change) -> None:
    for removal in rows.things(connection, "removal", {"drain": change.key}):
        _in_before_out(change.new.get("connected_ms"), removal["time_ms"], f"drain {change.new['number']}")


def _in_before_out(connected: Value, out: Value, where: str) -> None:
    if isinstance(connected, int) and isinstance(out, int) and out < connected:
        raise RecordError("is out before it was connected", where=where, mend="Mend one of the two times.")


CHECKS: dict[str, Callable[[Connection, Change], None]] = {
    "pairing": _pairing,
    "approval": _approval,
    "removal": _removal,
    "drain": _drain,
    "hold": _order_of_time("from_ms", "to_ms"),
    "order": _order_of_time("from_ms", "until_ms"),
}
