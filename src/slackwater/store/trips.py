"""Ways off the mains with a drain: planned, with what the charge said then, and come back from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

from slackwater.equipment.trip import CANNOT_TELL, Answer, answer
from slackwater.errors import ProtocolError, RecordError
from slackwater.protocol.rule import Protocol, TripMargin
from slackwater.quantities.spans import MINUTE_MS
from slackwater.store.acts import key_of
from slackwater.store.charges import NOTHING, Battery, batteries
from slackwater.store.course import Course, course_of, own_pairings
from slackwater.store.facts import is_new
from slackwater.store.nouns import Value
from slackwater.store.read_out import rule_of
from slackwater.store.record import Acting, Record
from slackwater.store.rows import Thing

LONGEST_MIN = 24 * 60
SOON_MS = 30 * MINUTE_MS  # the charge now says nothing of a trip that leaves later than that (ours)


@dataclass(frozen=True)
class AtDrain:
    """What a trip with this drain is judged by: its unit now, that unit's battery, its rule's margin."""

    course: Course
    unit: str | None
    serial: str | None
    battery: Battery
    margin: TripMargin | None

    def covers(
        self, planned_min: float, now_ms: int, leaves_ms: int, zone: tzinfo, percent: float | None = None
    ) -> Answer:
        """`percent`: as read from the unit; None: as it was logged lately."""
        logged = self.battery.now(now_ms)
        known = percent if percent is not None else None if logged is None else float(logged.percent)
        why = "no unit is recorded with this drain" if self.unit is None else self.battery.why_not(now_ms) or ""
        margin = self.margin
        needed = None if margin is None else margin.needed_min(planned_min)
        if margin is not None and needed is not None and leaves_ms - now_ms > SOON_MS:
            at = datetime.fromtimestamp(leaves_ms / 1000, zone)
            told = f"the charge at {at:%H:%M} decides; needed {needed:.0f} min, {margin.told}"
            return Answer(CANNOT_TELL, told, needed, yet=False)
        return answer(known, self.battery.runs(now_ms), why, needed, "" if margin is None else margin.told)


def at_drain(record: Record, drain: str, now_ms: int, known: Mapping[str, Battery] | None = None) -> AtDrain:
    """`known`: the batteries, where they were read already. Raises RecordError where there is no such drain."""
    with record.reading() as connection:
        course = course_of(connection, drain)
    unit = unit_now(course, now_ms)
    found = None if unit is None else record.thing("unit", unit)
    battery = NOTHING
    if unit is not None:
        battery = (batteries(record, now_ms, [unit]) if known is None else known).get(unit, NOTHING)
    return AtDrain(course, unit, None if found is None else found["serial"], battery, margin_of(record, course))


def unit_now(course: Course, now_ms: int) -> str | None:
    """The unit that serves the drain now: by a pairing that people entered, or by the log that last showed it."""
    mine = [one for one in own_pairings(course) if one["from_ms"] <= now_ms]
    open_now = [one for one in mine if one["to_ms"] is None or one["to_ms"] > now_ms or one["from_log"]]
    return max(open_now, key=lambda one: one["from_ms"])["unit"] if open_now and course.removal is None else None


def margin_of(record: Record, course: Course) -> TripMargin | None:
    """What the drain's own rule says of a trip; None where it, or any rule, says nothing."""
    try:
        rule: Protocol | None = rule_of(record.files, course, {})
    except ProtocolError:  # an older rule that can no longer be read: told on the drain's page, and no margin here
        return None
    return None if rule is None else rule.trip


def plan_trip(
    act: Acting, course: Course, *, from_ms: int, destination: str, planned_min: int, fallback: str | None,
    charge_percent: float | None, said: Answer, note: str | None, once: str,
) -> str:  # fmt: skip
    """Enter a trip with what the planner said of its charge then; its key. The same form again is the same trip."""
    if not 0 < planned_min <= LONGEST_MIN:
        raise RecordError("is no length of a trip", where="planned", mend="Write whole minutes, up to a day.")
    if charge_percent is not None and not 0 <= charge_percent <= 100:
        raise RecordError("is no charge", where="charge", mend="Write percent, 0 to 100.")
    key = key_of("trip", course.drain.key, once)
    fields: dict[str, Value] = {
        "drain": course.drain.key, "from_ms": from_ms, "destination": destination, "fallback": fallback,
        "planned_min": planned_min, "charge_percent": charge_percent, "note": note,
    }  # fmt: skip
    if is_new(act, "trip", key, fields, whole=True):
        told: dict[str, Value] = {"charge": said.answer, "because": said.because}
        act.add("trip", key, {**fields, **told}, happened_ms=from_ms)
    return key


def back_from(act: Acting, course: Course, key: str, *, version: int, at_ms: int) -> None:
    """The trip is over: back at the bed since `at_ms`."""
    found = next((one for one in course.trips if one.key == key), None)
    if found is None:
        raise RecordError("there is no such trip of this drain", where="trip", mend="Look at the drain again.")
    if found["back_ms"] == at_ms:
        return  # sent twice
    if at_ms < found["from_ms"]:
        raise RecordError("comes back before it leaves", where="back", mend="Mend the time.")
    act.change("trip", key, {"back_ms": at_ms}, version=version, happened_ms=at_ms)


def open_trips(course: Course) -> tuple[Thing, ...]:
    """Trips that are planned or under way: nobody has said that they are back."""
    return tuple(one for one in course.trips if one["back_ms"] is None)
