"""What the demo's ward has beside its drains: units of every standing, trips, a patient at home, signals."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from slackwater.cli.demo_beside import CALLS, HOME, LEAVING, RECALLED, UNITS
from slackwater.cli.demo_ward import STAYS, fill
from slackwater.equipment.trip import CANNOT_TELL
from slackwater.store.course import Course, course_of, find_drain
from slackwater.store.home import at_home, of_diary
from slackwater.store.recalls import to_pull
from slackwater.store.record import Record, open_record
from slackwater.store.signals import heard
from slackwater.store.trips import open_trips
from slackwater.store.units import units_now
from slackwater.web.home_lines import FLAGS
from ward.a_ward import Clock

pytestmark = pytest.mark.slow
NOW = datetime(2041, 3, 7, 9, 0, tzinfo=UTC)
NOW_MS = int(NOW.timestamp() * 1000)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Record]:
    place = tmp_path_factory.mktemp("demo") / "record"
    with open_record(place, create=True, clock=Clock(NOW_MS)) as found:
        assert fill(found, NOW, "+00:00", lambda _: None) == len(STAYS) + 1
        yield found


def course(record: Record, name: str) -> Course:
    with record.reading() as connection:
        return course_of(connection, find_drain(connection, name))


def test_the_register_holds_every_unit_in_all_its_standings(record: Record) -> None:
    units = units_now(record, NOW_MS)
    assert [one.serial for one in units] == [serial for serial, *_ in UNITS]
    assert all(one.facts["registered"] and one.facts["service_due_ms"] for one in units)
    assert Counter(one.state for one in units) == {"in_use": 6, "ready": 1, "dirty": 1, "faulty": 1, "tested": 1}
    pulled = to_pull(record, NOW_MS, {})
    assert [one.unit.serial for one in pulled if one.unit and RECALLED in " ".join(one.why)] == ["S1010", "S3004"]
    assert pulled[0].drain is not None, "the one at a patient first"
    assert any("safety test was due" in why for one in pulled for why in one.why)


def test_one_trip_is_planned_and_one_came_back(record: Record) -> None:
    (soon,) = open_trips(course(record, LEAVING))
    assert soon["from_ms"] > NOW_MS and soon["charge"] != CANNOT_TELL, "its unit's own discharges tell"
    (gone,) = course(record, "LW-1990/1").trips
    assert gone["back_ms"] is not None and gone["from_ms"] < gone["back_ms"] < NOW_MS


def test_one_patient_is_at_home_and_one_of_the_diary_s_entries_is_a_flag(record: Record) -> None:
    drain = course(record, HOME)
    stay = at_home(record.things("home", {"drain": drain.drain.key}), NOW_MS)
    assert stay is not None
    told = of_diary(drain, stay["from_ms"], NOW_MS)
    assert len({one["time_ms"] for one in told}) == 3
    flagged = [one for one in told if (one["item"], one["value"]) in FLAGS]
    assert [one["time_ms"] for one in flagged] == [told[-1]["time_ms"]]


def test_some_signals_are_known_and_one_that_nobody_answered(record: Record) -> None:
    calls = heard(record, {one.key for one in record.things("drain")}).calls
    assert len(calls) == len(CALLS)
    assert sum(one.attended_ms is None for one in calls) == 1
