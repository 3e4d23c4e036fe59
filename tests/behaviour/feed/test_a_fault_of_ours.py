"""What fails here is never told to the sender as refused: he would drop the reading."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Sequence

import pytest

from slackwater.errors import RecordError, StaleError
from slackwater.feed.intake import Intake
from slackwater.feed.keys import make_key
from slackwater.feed.take import NOT_WRITTEN, REFUSED, Answer, take
from slackwater.store import group, open_record
from slackwater.store.group import KEPT, Message
from slackwater.store.record import Record

SERIAL = "SN-1"
LINE = (
    b'{"unit":"SN-1","sequence":%d,"time":"2041-03-04T15:19:%02dZ","marks":"end","statistic":"mean",'
    b'"flow":{"value":40,"unit":"mL/min"}}'
)


def taken(record: Record, data: bytes, serial: str = SERIAL) -> list[Answer]:
    async def go() -> list[Answer]:
        async with Intake(record) as intake:
            return await take(intake, data, serial)

    return asyncio.run(go())


def lines(*numbers: int) -> bytes:
    return b"\n".join(LINE % (number, number) for number in numbers)


@pytest.fixture
def record(place: str) -> Record:
    return open_record(place, create=True)


@pytest.mark.parametrize(
    "error",
    [StaleError("was changed"), RecordError("cannot be read"), MemoryError(), RuntimeError("odd"), UnicodeError("odd")],
    ids=lambda error: type(error).__name__,
)
def test_whatever_an_act_fails_of_the_reading_is_to_be_sent_again(
    record: Record, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def fails(*_: object) -> list[str]:
        raise error

    with record:
        make_key(record, SERIAL, by="engineer")
        monkeypatch.setattr(group, "keep_messages", fails)
        assert {one.outcome for one in taken(record, lines(1, 2))} == {NOT_WRITTEN}
        monkeypatch.undo()
        assert {one.outcome for one in taken(record, lines(1, 2))} == {KEPT}


def test_one_message_that_cannot_be_written_is_no_fault_of_the_others(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = group.keep_messages

    def stumbles(record: Record, messages: Sequence[Message], by: str) -> list[str]:
        if any(message.sequence == 2 for message in messages):
            raise RecordError("stumbles over this one")
        return whole(record, messages, by)

    monkeypatch.setattr(group, "keep_messages", stumbles)
    with record:
        make_key(record, SERIAL, by="engineer")
        assert [one.outcome for one in taken(record, lines(1, 2, 3))] == [KEPT, NOT_WRITTEN, KEPT]


def test_a_record_that_another_program_holds_is_no_refusal(place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    if "://" in place:
        pytest.skip("it is SQLite that one writer locks")
    monkeypatch.setattr("slackwater.store.engine.WAIT_S", 0.2)
    with open_record(place, create=True) as record:
        make_key(record, SERIAL, by="engineer")
        other = sqlite3.connect(record.place.database, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        assert [one.outcome for one in taken(record, lines(1))] == [NOT_WRITTEN]
        other.execute("ROLLBACK")
        other.close()
        assert [one.outcome for one in taken(record, lines(1))] == [KEPT]


def test_a_unit_that_was_registered_just_now_is_known(record: Record) -> None:
    """Others that are not registered do not keep the answer old."""

    async def go() -> list[Answer]:
        async with Intake(record) as intake:
            first = await take(intake, LINE.replace(b"SN-1", b"SN-9") % (1, 1), "SN-9")
            make_key(record, SERIAL, by="engineer")
            return first + await take(intake, lines(1), SERIAL)

    with record:
        assert [one.outcome for one in asyncio.run(go())] == [REFUSED, KEPT]
