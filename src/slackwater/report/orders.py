"""The orders that stand. Suction may be entered as an order or charted as a row: whichever is later stands, told alike
on every page and sheet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from slackwater.episode.values import NONE_ADDED
from slackwater.store.course import Course
from slackwater.store.rows import Thing

ALLOWED = "off suction up to"  # as ordered; the round is filtered by it
ASK = "off suction not ordered: ask first"
NONE_KNOWN = "cannot tell: no order of suction is recorded"
NO_SUCTION = "no suction is added"


@dataclass(frozen=True)
class SuctionOrder:
    """What was ordered last. level: as written; None: left blank. told: the order, or the chart row."""

    from_ms: int
    level: str | None
    unit: str
    may_be_off_min: int | None
    charted: bool
    told: Thing

    @property
    def words(self) -> str:
        """The level as a person says it: '−20 cmH2O'."""
        if self.level is None:
            return "without a level"
        if self.level == NONE_ADDED:
            return "none added (water seal or gravity)"
        return f"{self.level.replace('_', ' ').replace('-', '−')} {self.unit}".strip()


def standing(course: Course, now_ms: int) -> list[Thing]:
    """Of each kind the last order that has begun, unless it has ended; one that it replaced does not come back."""
    last: dict[str, Thing] = {one["kind"]: one for one in course.orders if one["from_ms"] <= now_ms}
    return [one for one in last.values() if one["until_ms"] is None or one["until_ms"] > now_ms]


def suction_order(course: Course, now_ms: int) -> SuctionOrder | None:
    """The order of suction that stands; None where none was ever told, or the last one has ended."""
    last = max((*_entered(course, now_ms), *_charted(course, now_ms)), key=lambda one: one.from_ms, default=None)
    if last is None or (not last.charted and last.told not in standing(course, now_ms)):
        return None
    return last


def off_words(order: SuctionOrder | None) -> str:
    """Whether suction may come off, as ordered. It never says that the patient may go."""
    if order is None:
        return NONE_KNOWN
    if order.level == NONE_ADDED:
        return NO_SUCTION
    return f"{ALLOWED} {order.may_be_off_min} min, as ordered" if order.may_be_off_min else ASK


def _entered(course: Course, now_ms: int) -> Iterator[SuctionOrder]:
    for one in reversed(course.orders):  # of one moment the last
        if one["kind"] == "suction" and one["from_ms"] <= now_ms:
            yield SuctionOrder(one["from_ms"], one["level"], one["unit"] or "", one["may_be_off_min"], False, one)


def _charted(course: Course, now_ms: int) -> Iterator[SuctionOrder]:
    """Rows of this drain that staff had written by then; with several drains one that names none counts for none."""
    mine = (course.drain["number"],) if course.other_drains else (course.drain["number"], None)
    for one in reversed(course.entries):
        written = one["time_ms"] if one["written_ms"] is None else one["written_ms"]
        if one["item"] == "suction_ordered" and one["drain"] in mine and max(one["time_ms"], written) <= now_ms:
            yield SuctionOrder(one["time_ms"], one["value"], one["unit"] or "", None, True, one)
