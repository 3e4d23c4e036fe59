"""`record show` says how many readings a drain's units sent by themselves, from when until when.

Everything is invented. Source of the expected numbers: the readings that were sent, counted by their moment.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event

from behaviour.feed.a_feed import SERIAL, after, paired, sent, stay
from end_to_end.the_command import called
from slackwater.assessment.document import stamp
from slackwater.feed.line import Reported
from slackwater.simulate.unit_type import UnitType
from slackwater.simulate.unit_types import ESTUARY, PEBBLE
from slackwater.store import Record
from slackwater.store.course_json import whole_course
from slackwater.store.files import Files
from slackwater.store.live import seal

HERE, THERE = after(2.0) - 4_000, after(6.0) + 4_000  # amidst a reading


def shown(place: str, drain: str, folder: Path, *words: str) -> str:
    ran = called("record", "show", drain, *words, "--record", place, folder=folder)
    assert ran.code == 0, ran.err
    return ran.out


def told(place: str, drain: str, folder: Path) -> Any:
    return json.loads(shown(place, drain, folder, "--json"))["sent"]


def of_the_drain(readings: tuple[Reported, ...]) -> list[Reported]:
    """Those whose whole time lies in that of the pairing, HERE to THERE."""

    def began(one: Reported) -> int:
        return one.time_ms - (0 if one.marks == "start" else every_ms(one))

    return [one for one in readings if HERE <= began(one) <= THERE - every_ms(one)]


def every_ms(one: Reported) -> int:
    assert one.every is not None
    return int(one.every.value) * 1000


@pytest.mark.parametrize(("unit", "every_s"), [(PEBBLE, 10), (ESTUARY, 60)])  # one marks ends, one beginnings
def test_sealed_or_not_what_is_the_drains_is_counted(
    record: Record, place: str, tmp_path: Path, unit: UnitType, every_s: int
) -> None:  # fmt: skip
    one = stay(every_s=every_s, unit=unit)
    drain = paired(record, one.bundle, HERE, THERE)
    assert told(place, drain, tmp_path) == [] and "sent live" not in shown(place, drain, tmp_path)
    mine = of_the_drain(one.readings)
    expected = [len(mine), stamp(mine[0].time_ms), stamp(mine[-1].time_ms)]
    step = len(one.readings) // 7
    for at in range(0, len(one.readings), step):  # the pairing begins and ends amidst a file
        sent(record, one.readings[at : at + step])
        if at < 3 * step:
            seal(record, SERIAL)
    for _ in range(2):
        (found,) = told(place, drain, tmp_path)
        assert [found["readings"], found["first_at"], found["last_at"]] == expected and found["serial"] == SERIAL
        seal(record, SERIAL)
    assert f"sent live   {len(mine)} readings of {SERIAL}, from 2041-03-04 08:0" in shown(place, drain, tmp_path)


def listed(place: str, folder: Path, *words: str) -> tuple[str, dict[str, Any]]:
    ran = [called("record", "list", *words, *more, "--record", place, folder=folder) for more in ((), ("--json",))]
    (one,) = json.loads(ran[1].out)["drains"]
    return ran[0].out, one


def test_the_list_says_until_when_a_unit_sent_and_not_that_there_is_no_log(
    record: Record, place: str, tmp_path: Path
) -> None:
    one = stay()
    paired(record, one.bundle)
    text, told = listed(place, tmp_path)
    assert "no log" in text and told["sent_until"] is None
    sent(record, one.readings[:1000])
    for _ in range(2):
        text, told = listed(place, tmp_path)
        assert told["sent_until"] == stamp(one.readings[999].time_ms) and told["logs"] == 0
        assert "(sent live)" in text and "no log" not in text
        seal(record, SERIAL)


def test_counting_reads_no_file_that_lies_within_and_never_the_whole_table(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = stay()
    drain = paired(record, one.bundle)
    for at in range(0, len(one.readings), 600):
        sent(record, one.readings[at : at + 600])
        seal(record, SERIAL)
    read: list[str] = []
    held = Files.get
    monkeypatch.setattr(Files, "get", lambda files, sha256: read.append(sha256) or held(files, sha256))  # type: ignore[func-returns-value]
    asked: list[tuple[str, Any]] = []
    with record.reading() as connection:
        event.listen(connection, "before_cursor_execute", lambda *told: asked.append((told[2], told[3])))
        (found,) = whole_course(connection, record.files, drain)[4]
        about = [one for one in asked if "message_rows" in one[0]]
        plans = [
            row[3] for words, values in about
            for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {words}", values)
        ]  # fmt: skip
    assert found.readings == len(one.readings) and not read
    assert about and not [plan for plan in plans if plan.startswith("SCAN")]
