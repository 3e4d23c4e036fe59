"""What the demo's ward has beside its drains: a register of units with a recall, trips, a patient at home, signals.

All invented.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from slackwater.quantities.spans import MINUTE_MS

if TYPE_CHECKING:
    from slackwater.store.course import Course
    from slackwater.store.record import Record

BY = "demo"
RECALLED = "B-1204"  # a battery lot: of one unit at a patient, and of one on the shelf
# serial; battery lot; days until service and safety test. The first six are at drains, by the logs of the ward.
UNITS = (
    ("S1001", "B-1188", 200, 80), ("S1004", "B-1188", 200, 80), ("S1005", "B-1190", 60, 12),
    ("S1007", "B-1190", 60, 140), ("S1008", "B-1190", 60, 140), ("S1010", RECALLED, 120, 70),
    ("S3001", "B-1190", 240, 160), ("S3002", "B-1188", 240, -9), ("S3003", "B-1190", 30, 160),
    ("S3004", RECALLED, 120, 70),
)  # fmt: skip
LIFE = {
    "S3001": (("cleaned", "wiped, by the local list"), ("tested", "self-test passed, memory cleared"), ("ready", "")),
    "S3002": (),  # came back from a patient: dirty
    "S3003": (("faulty", "does not reach its suction, filter changed"),),
    "S3004": (("cleaned", "wiped, by the local list"), ("tested", "self-test passed, memory cleared")),
}
# drain; kind; hours ago; minutes until somebody came (None: nobody wrote it) and until it ended; cause; what helped
CALLS = (
    ("LW-1975/1", "low_battery", 20.0, 6, 9, "not_plugged_in", "plugged_in"),
    ("LW-1990/1", "large_leak", 9.0, 4, 5, "joint_loose", "joint_pushed_home"),
    ("LW-1990/1", "large_leak", 2.5, None, None, None, None),
    ("LW-2003/1", "line_blocked", 5.0, 11, 40, "not_found", "stopped_by_itself"),
    ("LW-2041/1", "container_full", 1.2, 3, 8, "canister_full", "canister_changed"),
)  # fmt: skip
LEAVING = "JW-0412/1"  # to X-ray, soon
HOME = "LW-2060/1"
HOME_H = 26.0  # since so many hours
CONTACT = "Lantern ward, extension 41 (invented), day and night"


def furnish(record: Record, now: datetime) -> None:
    """Record it, after the drains. The ward's clock is that of the record; what lies in the past says when it was."""
    _register(record, now)
    courses = _courses(record)
    _trips(record, courses, now)
    _home(record, courses[HOME], now)
    _signals(record, courses, now)


def _register(record: Record, now: datetime) -> None:
    from slackwater.store.acts import key_of
    from slackwater.store.recalls import recall
    from slackwater.store.register import take_register
    from slackwater.store.units import set_state

    day = now.date()
    lines = ["serial,kind,bought,battery_lot,battery_from,must_run_min,service_due,safety_test_due"]
    lines += [
        f"{serial},invented unit,{day - timedelta(days=900)},{lot},{day - timedelta(days=400)},240,"
        f"{day + timedelta(days=service)},{day + timedelta(days=test)}"
        for serial, lot, service, test in UNITS
    ]
    _, _, refused = take_register(record, "\n".join(lines) + "\n", by=BY, why="the demo's register")
    assert not refused, refused
    for serial, steps in LIFE.items():
        for number, (state, said) in enumerate(steps):
            set_state(
                record, key_of("unit", serial), state, by=BY, method=said if state != "faulty" else None,
                note=said if state == "faulty" else None, place="equipment room", once=f"demo {number}",
            )  # fmt: skip
    recall(record, "battery", RECALLED, "swells when charged; maker's letter (invented)", by=BY)


def _courses(record: Record) -> dict[str, Course]:
    from slackwater.store.course import course_of, find_drain

    names = {HOME, LEAVING, *(one[0] for one in CALLS)}
    with record.reading() as connection:
        return {name: course_of(connection, find_drain(connection, name)) for name in sorted(names)}


def _trips(record: Record, courses: dict[str, Course], now: datetime) -> None:
    """One planned, one come back."""
    from slackwater.store.trips import at_drain, back_from, plan_trip

    def planned(name: str, leaves: datetime, to: str, percent: float | None, fallback: str) -> str:
        asked_ms, leaves_ms = _ms(min(now, leaves)), _ms(leaves)
        there = at_drain(record, courses[name].drain.key, asked_ms)
        said = there.covers(25, asked_ms, leaves_ms, now.tzinfo or UTC, percent)
        with record.act(by=BY, what="trip planned") as act:
            return plan_trip(
                act, courses[name], from_ms=leaves_ms, destination=to, planned_min=25, charge_percent=percent,
                fallback=fallback, said=said, note=None, once="demo",
            )  # fmt: skip

    gone = now - timedelta(hours=6)
    key = planned("LW-1990/1", gone, "CT", 92.0, "a nurse goes along with a second unit")
    courses = _courses(record)
    with record.act(by=BY, what="back from a trip") as act:
        back_from(act, courses["LW-1990/1"], key, version=1, at_ms=_ms(gone + timedelta(minutes=34)))
    planned(LEAVING, now + timedelta(minutes=25), "X-ray", None, "water seal, by the ward's own steps")


def _home(record: Record, course: Course, now: datetime) -> None:
    """Home with the drain; the diary is in the drain's chart."""
    from slackwater.store.home import send_home

    with record.act(by=BY, what="home with the drain", why="decided by the surgeon on the round (invented)") as act:
        send_home(
            act, course, from_ms=_ms(now - timedelta(hours=HOME_H)), visit_ms=_ms(now + timedelta(hours=20)),
            contact=CONTACT, eligible="no rule on it", protocol="", once="demo",
        )  # fmt: skip


def _signals(record: Record, courses: dict[str, Course], now: datetime) -> None:
    from slackwater.store.calls import record_call

    with record.act(by=BY, what="signals of units") as act:
        for number, (name, kind, hours, came, ended, cause, action) in enumerate(CALLS):
            begun = _ms(now - timedelta(hours=hours))
            record_call(
                act, courses[name], kind, from_ms=begun, attended_ms=None if came is None else begun + came * MINUTE_MS,
                until_ms=None if ended is None else begun + ended * MINUTE_MS, cause=cause, action=action,
                attended_by=None if came is None else "Ines Aberdour", once=f"demo {number}",
            )  # fmt: skip


def _ms(moment: datetime) -> int:
    """The whole minute, as people write it."""
    return round(moment.timestamp() // 60) * MINUTE_MS
