"""The handover of many drains of the record, one after another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo

from slackwater.errors import SlackwaterError
from slackwater.protocol.rule import Protocol
from slackwater.report.round import judged_at
from slackwater.report.sheets.frame import frame
from slackwater.report.sheets.handover import handover
from slackwater.report.sheets.material import BACK_MS, SHIFT_MS, Beside, Material, beside_of
from slackwater.report.sheets.sheet import Section, Sheet, Words
from slackwater.store.course import Course, course_of
from slackwater.store.read_out import assess_course
from slackwater.store.record import Record
from slackwater.store.rows import things


@dataclass(frozen=True)
class WardAsked:
    """As of which moment, printed when, told in which zone; by another rule than the pinned ones where one is given."""

    at_ms: int
    printed_ms: int
    zone: tzinfo
    zone_name: str
    shift_ms: int = SHIFT_MS
    rule: Protocol | None = None


def drains_in(
    record: Record, ward: str | None, at_ms: int, sees: Callable[[str | None], bool] = lambda _: True
) -> list[str]:
    """The drains that are in at that moment, or out and still owed a check, as on the round; by ward, bed, patient and
    number, of one ward where it is named.

    sees: whether the reader may see a ward's drains.
    """
    with record.reading() as connection:
        stays = {one.key: one for one in things(connection, "episode")}
        labels = {one.key: one["label"] for one in things(connection, "patient")}
        gone = {one["drain"] for one in things(connection, "removal") if one["time_ms"] <= at_ms}
        owed = {one["drain"] for one in things(connection, "check") if one["done_ms"] is None or one["done_ms"] > at_ms}
        found = []
        for drain in things(connection, "drain"):
            stay = stays[drain["episode"]]
            if drain.key not in gone - owed and ward in (None, stay["ward"]) and sees(stay["ward"]):
                place = (stay["ward"] or "", _bed(stay["bed"]), labels[stay["patient"]], drain["number"])
                found.append((place, drain.key))
    return [key for _, key in sorted(found)]


def _bed(bed: str | None) -> tuple[int, str]:
    """Bed 10 comes after bed 9."""
    text = bed or ""
    return (int(text) if text.isascii() and text.isdecimal() and len(text) < 9 else 0, text)


def handover_of(record: Record, drain: str, asked: WardAsked) -> Sheet:
    """One drain's handover. Where it cannot be judged, the sheet says why and shows no verdict."""
    with record.reading() as connection:
        course = course_of(connection, drain)
        beside = beside_of(connection, course)
    at_ms = judged_at(course, asked.at_ms)
    try:
        found = None
        if course.logged or course.entries or course.orders:
            found = assess_course(record, course, protocol=asked.rule, now_ms=at_ms, zone=asked.zone_name)
        back = asked.printed_ms - asked.at_ms > BACK_MS
        return handover(
            Material(
                found, course, asked.zone, at_ms, asked.printed_ms, beside, asked.shift_ms, back,
                asked_ms=asked.at_ms, many=True,
            )
        )  # fmt: skip
    except SlackwaterError as error:
        return failed(course, str(error), asked, beside)


def failed(course: Course, why: str, asked: WardAsked, beside: Beside | None = None) -> Sheet:
    """A drain of the ward that could not be judged: it stays on the paper, without any verdict."""
    of = Material(None, course, asked.zone, asked.at_ms, asked.printed_ms, beside or Beside(), asked.shift_ms)
    said = Words((f"Cannot tell: {why}", "Look at the drain and the patient; use the paper checklist."), strong=True)
    return Sheet("handover", "Handover", frame(of), (Section("Situation", (said,)),), doubtful=True)
