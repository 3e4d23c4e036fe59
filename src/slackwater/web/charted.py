"""What was charted of a drain, as the charting pages show it: the last of each item, and single rows to be mended."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import tzinfo

from slackwater.episode.items import ITEMS
from slackwater.report.round_facts import when
from slackwater.store.acts import key_of
from slackwater.store.course import Course
from slackwater.store.rows import Thing

MOST_ROWS = 100  # single rows that a page offers for mending (ours)


@dataclass(frozen=True)
class Last:
    """The last entry of an item: `value` as the form sends it, `text` with its unit."""

    value: str
    text: str
    when: str
    time_ms: int


@dataclass(frozen=True)
class Row:
    """One chart row: its key, what it says, when, by whom."""

    key: str
    item: str
    text: str
    note: str
    when: str
    by: str


def mine(course: Course) -> Iterator[Thing]:
    """The patient's rows and this drain's; a row that names no drain is this drain's only where it is the only one."""
    several = bool(course.other_drains)
    for one in course.entries:
        item = ITEMS.get(one["item"])
        patients = item is not None and item.subject == "patient"
        if patients or one["drain"] == course.drain["number"] or (one["drain"] is None and not several):
            yield one


def last_of_each(course: Course, now_ms: int, zone: tzinfo) -> dict[str, Last]:
    """The last entry of every item that says something."""
    found: dict[str, Last] = {}
    for one in sorted(mine(course), key=lambda row: (row["time_ms"], row.seq)):
        if one["time_ms"] <= now_ms and one["value"] is not None:
            moment = when(one["time_ms"], now_ms, zone)
            found[one["item"]] = Last(one["value"], said(one), moment, one["time_ms"])
    return found


def said(one: Thing) -> str:
    """What a row says, in words."""
    if one["value"] is None:
        return "left blank"
    text = str(one["value"])
    if text == "no_leak":
        return "no leak seen"
    unit = {"Cel": "°C", "[degF]": "°F"}.get(one["unit"] or "", one["unit"] or "")
    return f"{text.replace('_', ' ')} {unit}".strip()


def row_of(one: Thing, now_ms: int, zone: tzinfo) -> Row:
    item = one["item"].replace("_", " ")
    by = one["written_by"] or "by whom is not recorded"
    return Row(one.key, item, said(one), one["note"] or "", when(one["time_ms"], now_ms, zone), by)


def rows_by_time(course: Course, now_ms: int, zone: tzinfo) -> tuple[tuple[Row, ...], int]:
    """Single rows, the latest first, and how many older ones are not shown."""
    found = sorted(mine(course), key=lambda row: (-row["time_ms"], -row.seq, row.key))
    return tuple(row_of(one, now_ms, zone) for one in found[:MOST_ROWS]), max(0, len(found) - MOST_ROWS)


def clamped_now(course: Course) -> Thing | None:
    """The entry of a clamp that is on."""
    told = [one for one in mine(course) if one["item"] == "clamp" and one["value"] is not None]
    last = max(told, key=lambda one: (one["time_ms"], one.seq), default=None)
    return last if last is not None and last["value"] == "on" else None


def of_set(course: Course, once: str) -> Iterable[Thing]:
    """The rows that one form recorded, in its order."""
    keys = {key_of("entry", course.drain.key, once, place): place for place in range(64)}
    return sorted((one for one in course.entries if one.key in keys), key=lambda one: keys[one.key])
