"""Home with the drain in: from when, until when, whom to ring, the next visit; and what is told from there.

What patient or district nurse tell is charted like anything else; its note begins with DIARY and says who told it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from slackwater.episode.typed import Typed, plain
from slackwater.errors import RecordError
from slackwater.store.acts import key_of
from slackwater.store.charting import chart_set
from slackwater.store.course import Course
from slackwater.store.facts import is_new
from slackwater.store.nouns import Value
from slackwater.store.record import Acting
from slackwater.store.rows import Thing

DIARY = "diary, told by "
TELLERS = ("patient", "relative", "district_nurse")


def send_home(
    act: Acting, course: Course, *, from_ms: int, contact: str, eligible: str, protocol: str, once: str,
    visit_ms: int | None = None,
) -> str:  # fmt: skip
    """The patient goes home with the drain; the key. `eligible`: the rule's answer then, `protocol`: which."""
    if course.removed_ms is not None and course.removed_ms <= from_ms:
        raise RecordError("the drain was out by then", where="from", mend="Look at the day and the drain.")
    key = key_of("home", course.drain.key, once)
    fields: dict[str, Value] = {
        "drain": course.drain.key, "from_ms": from_ms, "visit_ms": visit_ms, "contact": plain(contact) or None,
        "protocol": protocol or None,
    }  # fmt: skip
    if not is_new(act, "home", key, fields):  # the rule may answer otherwise by the time the form is sent again
        return key
    if at_home(act.things("home", {"drain": course.drain.key}), from_ms) is not None:
        raise RecordError("the patient is at home with it already", where="from", mend="Look at what is recorded.")
    act.add("home", key, {**fields, "eligible": eligible}, happened_ms=from_ms)
    return key


def change_home(act: Acting, course: Course, key: str, new: Mapping[str, Value], *, version: int) -> None:
    """The next visit, whom to ring, or that the patient is back (`to_ms`)."""
    seen = act.thing("home", key)
    if seen is None or seen["drain"] != course.drain.key:
        raise RecordError("there is no such time at home of this drain", where="home", mend="Look at the drain again.")
    told = {**seen.fields, **new}
    if told["to_ms"] is not None and told["to_ms"] < told["from_ms"]:
        raise RecordError("ends before it began", where="to", mend="Mend the time.")
    if seen.version == version + 1 and all(seen[name] == value for name, value in new.items()):
        return  # sent twice
    act.change("home", key, dict(new), version=version)


def at_home(stays: Iterable[Thing], now_ms: int) -> Thing | None:
    """The time at home that has begun and not ended, of one drain's."""
    open_ = [one for one in stays if one["from_ms"] <= now_ms and (one["to_ms"] is None or one["to_ms"] > now_ms)]
    return max(open_, key=lambda one: (one["from_ms"], one.seq), default=None)


def tell_diary(
    act: Acting, course: Course, rows: Sequence[Typed], teller: str, *, by: str, at_ms: int, once: str
) -> tuple[str, ...]:  # fmt: skip
    """Chart what was told from home at `at_ms`; who told it stands in each row's note."""
    if teller not in TELLERS:
        raise RecordError(f"{teller!r} is nobody who tells", where="teller", mend=f"Known: {', '.join(TELLERS)}.")
    said = [replace(row, note=f"{DIARY}{teller.replace('_', ' ')}") for row in rows]
    return chart_set(act, course, said, by=by, at_ms=at_ms, once=once)


def of_diary(course: Course, from_ms: int, now_ms: int) -> tuple[Thing, ...]:
    """This drain's diary rows since `from_ms`, in order of time."""
    rows = [
        one
        for one in course.entries
        if (one["note"] or "").startswith(DIARY)
        and one["drain"] in (course.drain["number"], None)
        and from_ms <= one["time_ms"] <= now_ms
    ]
    return tuple(sorted(rows, key=lambda one: (one["time_ms"], one.seq)))
