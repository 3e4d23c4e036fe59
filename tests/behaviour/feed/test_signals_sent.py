"""Signals in what units send by themselves are those of the same log as a file.

Everything is invented. Source of the expected signals: the log as a file, looked through when it was recorded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from random import Random

import pytest

from behaviour.feed.a_feed import SERIAL, after, paired, sent, stay
from slackwater.feed.line import Reported
from slackwater.reading.layout import Layout
from slackwater.reading.log import STATES
from slackwater.store import Record, open_record
from slackwater.store.calls import Call
from slackwater.store.files import Files
from slackwater.store.live import seal
from slackwater.store.signals import heard
from slackwater.store.take_in import GivenLog, take_in

# row -> what the unit says there; a row is ten seconds. Those at 700 and 2100 lie across the ends of files.
SAYS = {
    **dict.fromkeys((300, 301, 305), "container_full"), **dict.fromkeys(range(697, 704), "line_blocked"),
    **dict.fromkeys((1500, 1520), "tilted"), **dict.fromkeys((2099, 2100), "fault"), 3599: "low_battery",
}  # fmt: skip
STEP = 700


def telling() -> list[Reported]:
    return [replace(one, state=SAYS.get(at, "running")) for at, one in enumerate(stay().readings)]


@pytest.fixture(scope="module")
def batch(tmp_path_factory: pytest.TempPathFactory) -> tuple[Call, ...]:
    """The signals of the same log as a file."""
    one = stay()
    head, *rows = one.given.data.decode().splitlines()
    said = "\n".join([f"{head}\tSays", *(f"{row}\t{SAYS.get(at, 'running')}" for at, row in enumerate(rows)), ""])
    words = ", ".join(f'{word} = "{word}"' for word in STATES)
    layout = Layout.from_toml(f'{one.given.layout.to_toml()}\n[state]\ncolumn = "Says"\nwords = {{ {words} }}\n', "l")
    with open_record(tmp_path_factory.mktemp("batch") / "record", create=True) as record:
        drain = paired(record, one.bundle)
        take_in(record, replace(one.bundle, logs=(GivenLog("log.csv", said.encode(), layout),)), by="tests")
        return heard(record, [drain]).calls


def test_what_is_expected_is_there(batch: tuple[Call, ...]) -> None:
    assert [one.kind for one in batch] == [
        "container_full", "line_blocked", "tilted", "tilted", "internal_fault", "low_battery",
    ]  # fmt: skip
    assert batch[0].until_ms == after(0) + 306 * 10_000 and batch[-1].until_ms is None


def shuffled(readings: Sequence[Reported]) -> list[Reported]:
    found, draw = list(readings), Random(3)
    for at in range(0, len(found), 900):
        piece = found[at : at + 900]
        draw.shuffle(piece)
        found[at : at + 900] = piece
    return found


@pytest.mark.parametrize("order", [list, shuffled], ids=["in order", "late"])
@pytest.mark.parametrize("sealed", [0, 3, 6], ids=["not sealed", "half sealed", "sealed"])
def test_live_equals_batch(record: Record, batch: tuple[Call, ...], sealed: int, order) -> None:  # type: ignore[no-untyped-def]
    drain, readings = paired(record, stay().bundle), order(telling())
    for at in range(0, len(readings), STEP):
        sent(record, readings[at : at + STEP])
        if at < sealed * STEP:
            seal(record, SERIAL)
    found = heard(record, [drain])
    assert found.calls == batch and found.tells == {drain} and not found.not_read


def test_little_is_read_and_nothing_where_nothing_was_told(record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    drain = paired(record, stay().bundle)
    quiet = [replace(one, state="running") for one in stay().readings]
    read: list[str] = []
    held = Files.get
    monkeypatch.setattr(Files, "get", lambda files, name: (read.append(name), held(files, name))[1])
    for at in range(0, 3500, 100):
        sent(record, quiet[at : at + 100])
        seal(record, SERIAL)
    found = heard(record, [drain])
    assert not found.calls and not found.tells and not read
    sent(record, [replace(quiet[3500], state="tilted"), *quiet[3501:]])
    assert [one.kind for one in heard(record, [drain]).calls] == ["tilted"]
    seal(record, SERIAL)
    read.clear()
    (one,) = heard(record, [drain]).calls
    assert one.until_ms == quiet[3500].time_ms and len(read) == 2  # the file, and the one before it


def test_signals_go_to_whom_the_unit_served_then(record: Record) -> None:
    one = stay()
    first = paired(record, one.bundle, after(0), after(3.0))
    other = replace(one.bundle, episode=replace(one.bundle.episode, patient_id="NEXT-1"), charts=())
    next_ = paired(record, other, after(3.0))
    sent(record, telling())
    seal(record, SERIAL)
    found = heard(record, [first, next_])
    assert {call.kind for call in found.calls if call.drain == first} == {"container_full", "line_blocked"}
    assert {call.kind for call in found.calls if call.drain == next_} == {"tilted", "internal_fault", "low_battery"}
