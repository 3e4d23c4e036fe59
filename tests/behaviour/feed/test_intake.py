"""The door that all lines share: known units, durable answers, and room for so many."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import TypeVar

import pytest

from behaviour.feed.a_feed import SERIAL, stay
from slackwater.errors import NotWritten, RecordError
from slackwater.feed import intake as intake_module
from slackwater.feed.intake import Intake, told_of
from slackwater.feed.keys import make_key
from slackwater.feed.line import message_of
from slackwater.store import Record
from slackwater.store.group import KEPT, KEPT_ALREADY, KEPT_BESIDE, Message

T = TypeVar("T")


def run(record: Record, work: Callable[[Intake], Awaitable[T]]) -> T:
    async def inside() -> T:
        async with Intake(record) as intake:
            return await work(intake)

    return asyncio.run(inside())


def test_it_answers_once_the_record_holds_it(record: Record) -> None:
    make_key(record, SERIAL, by="tests")
    message = message_of(stay().readings[0])

    async def work(intake: Intake) -> list[str]:
        first = await intake.offer(message)
        assert [one["body"] for one in record.things("message")] == [message.body]
        again = await intake.offer(message)
        other = await intake.offer(Message(SERIAL, message.sequence, "other words", message.time_ms))
        assert intake.counts == {KEPT: 1, KEPT_ALREADY: 1, KEPT_BESIDE: 1}
        return [first, again, other]

    assert run(record, work) == [KEPT, KEPT_ALREADY, KEPT_BESIDE]
    assert "both are doubtful" in told_of(KEPT_BESIDE) and told_of(KEPT) == KEPT


def test_an_unregistered_unit_is_refused_until_it_is_registered(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intake_module, "LOOKED_S", 0.0)
    message = message_of(stay().readings[0])

    async def work(intake: Intake) -> str:
        with pytest.raises(RecordError, match="is not registered here"):
            await intake.offer(message)
        assert record.things("message") == () and intake.counts == {"refused": 1}
        make_key(record, SERIAL, by="tests")
        return await intake.offer(message)

    assert run(record, work) == KEPT


def test_what_is_written_is_counted_though_its_sender_has_hung_up(record: Record) -> None:
    make_key(record, SERIAL, by="tests")
    message = message_of(stay().readings[0])
    intakes: list[Intake] = []

    async def work(intake: Intake) -> None:
        intakes.append(intake)
        assert await intake.registered(SERIAL)
        offered = asyncio.create_task(intake.offer(message))
        await asyncio.sleep(0)  # its unit is known and there is room: it goes straight to where it waits for the disk
        offered.cancel()
        with pytest.raises(asyncio.CancelledError):
            await offered

    run(record, work)
    assert len(record.things("message")) == 1 and intakes[0].counts == {KEPT: 1}


def test_a_flood_waits_for_room_and_nothing_is_lost(record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(intake_module, "MOST_WAITING", 50)
    make_key(record, SERIAL, by="tests")

    async def work(intake: Intake) -> list[str]:
        return list(await asyncio.gather(*(intake.offer(message_of(one)) for one in stay().readings[:1000])))

    assert run(record, work) == [KEPT] * 1000
    assert len(record.things("message")) == 1000


def test_where_the_disk_fails_nothing_is_acknowledged(record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    make_key(record, SERIAL, by="tests")

    def full(*_: object) -> list[str]:
        raise NotWritten("the disk is full")

    async def work(intake: Intake) -> str:
        with monkeypatch.context() as broken:
            broken.setattr("slackwater.store.group.keep_messages", full)
            with pytest.raises(NotWritten):
                await intake.offer(message_of(stay().readings[0]))
        assert intake.counts == {"not written": 1}
        return await intake.offer(message_of(stay().readings[0]))

    assert run(record, work) == KEPT


def test_a_sender_that_gives_up_waiting_loses_nothing_that_was_promised(record: Record) -> None:
    """Cancelled before the commit: no answer was given, so sending it again keeps it once."""
    make_key(record, SERIAL, by="tests")
    message = message_of(stay().readings[0])

    async def work(intake: Intake) -> str:
        offered = asyncio.create_task(intake.offer(message))
        await asyncio.sleep(0)
        offered.cancel()
        return await intake.offer(message)

    assert run(record, work) in (KEPT, KEPT_ALREADY)
    assert len(record.things("message")) == 1
