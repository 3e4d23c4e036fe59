"""Messages that arrive together share one act; each is acknowledged once it is on the disk."""

from __future__ import annotations

from concurrent.futures import Future
from concurrent.futures import wait as wait_for
from pathlib import Path
from threading import Event
from typing import Any

import pytest

from slackwater.errors import NotWritten, RecordError, UsageError
from slackwater.store import Record, open_record
from slackwater.store.group import GroupCommit, Message, keep_messages
from slackwater.store.verify import verify
from ward.until import LONG_S


def message(number: int, body: str = "flow 5", unit: str = "U-1") -> Message:
    return Message(unit, number, body)


def settled(futures: list[Future[str]]) -> list[BaseException | None]:
    done, waiting = wait_for(futures, timeout=LONG_S)
    assert not waiting
    return [future.exception() for future in futures if future in done]


def test_a_message_is_kept_before_it_is_acknowledged(record: Record) -> None:
    intake = GroupCommit(record, "intake")
    intake.send(message(1)).result(LONG_S)
    (kept,) = record.things("message")
    assert (kept["unit"], kept["sequence"], kept["body"]) == ("U-1", 1, "flow 5")
    intake.close()


def test_closing_writes_what_was_handed_over(record: Record) -> None:
    intake = GroupCommit(record, "intake")
    futures = [intake.send(message(number)) for number in range(500)]
    intake.close()
    assert all(future.done() for future in futures) and settled(futures) == [None] * 500
    assert len(record.things("message")) == 500 and verify(record).faults == ()


def test_messages_that_wait_share_an_act(record: Record) -> None:
    intake = GroupCommit(record, "intake")
    with record.act(by="nurse", what="held", even_if_empty=True):  # while a writer is busy, they gather
        futures = [intake.send(message(number)) for number in range(300)]
    settled(futures)
    intake.close()
    head = record.head()
    assert head is not None and head.seq <= 4


def test_the_same_message_again_is_acknowledged_and_kept_once(record: Record) -> None:
    # Hazard G06.
    intake = GroupCommit(record, "intake")
    futures = [intake.send(message(1)) for _ in range(5)]
    assert settled(futures) == [None] * 5
    assert [future.result() for future in futures] == ["kept", *["kept already"] * 4]
    intake.close()
    assert len(record.things("message")) == 1
    assert keep_messages(record, [message(1), message(1)], "intake") == ["kept already"] * 2


def test_other_words_under_the_same_number_are_kept_beside(record: Record) -> None:
    five, fifty = message(1, "flow 5"), message(1, "flow 50")
    assert keep_messages(record, [five, fifty, fifty, five], "intake") == [
        "kept", "kept beside", "kept already", "kept already",
    ]  # fmt: skip
    assert keep_messages(record, [fifty, five], "intake") == ["kept already"] * 2
    assert keep_messages(record, [message(1, "flow 7")], "intake") == ["kept beside"]
    assert len(record.things("message")) == 3


def test_the_same_number_of_another_unit_is_another_message(record: Record) -> None:
    assert keep_messages(record, [message(1), message(1, unit="U-2")], "intake") == ["kept"] * 2


def test_an_error_reaches_every_one_of_the_act(record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> list[str]:
        raise NotWritten("the disk is full")

    intake = GroupCommit(record, "intake")
    with monkeypatch.context() as broken:
        broken.setattr("slackwater.store.group.keep_messages", fails)
        errors = settled([intake.send(message(number)) for number in range(20)])
    assert all(isinstance(error, NotWritten) for error in errors)
    intake.send(message(1)).result(LONG_S)  # and it goes on
    intake.close()
    assert len(record.things("message")) == 1


def test_a_message_that_cannot_be_kept_is_refused(record: Record) -> None:
    intake = GroupCommit(record, "intake")
    (error,) = settled([intake.send(message(1, "a\x00b"))])
    intake.close()
    assert isinstance(error, RecordError) and "body" in str(error)


def test_a_closed_intake_takes_nothing(record: Record) -> None:
    intake = GroupCommit(record, "intake")
    intake.close()
    with pytest.raises(UsageError, match="the intake is closed"):
        intake.send(message(1))


def test_whoever_sends_too_much_must_wait(record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    from threading import Thread

    monkeypatch.setattr("slackwater.store.group.WAITING", 3)
    intake, through = GroupCommit(record, "intake"), Event()

    def send() -> None:
        for number in range(20):
            intake.send(message(number))
        through.set()

    sender = Thread(target=send)
    with record.act(by="nurse", what="held", even_if_empty=True):
        sender.start()
        assert not through.wait(0.2)
    assert through.wait(LONG_S)
    sender.join()
    intake.close()
    assert len(record.things("message")) == 20


def test_an_act_costs_no_more_in_a_long_record(tmp_path: Path) -> None:
    """Counted in steps of SQLite's own machine. The rows of an act wait for its line in the ledger; where SQLite enters
    the line it looks for what waits, and without an index through every row there is."""
    with open_record(tmp_path / "record", create=True) as record:

        def steps(number: int) -> int:
            count = 0

            def step() -> None:
                nonlocal count
                count += 1

            with record.act(by="tests", what="received") as act:
                raw: Any = act.connection.connection.driver_connection
                raw.set_progress_handler(step, 10)
                act.add("message", f"own{number}", {"unit": "U-1", "sequence": number, "body": "flow 5"})
            raw.set_progress_handler(None, 0)
            return count

        first = steps(1)
        keep_messages(record, [message(number, unit="U-2") for number in range(1000)], "intake")
        assert 0 < steps(2) < 1.2 * first
