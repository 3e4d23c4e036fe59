"""Live equals batch: what a unit sends by itself, in whatever pieces and order, is judged as its log given as a file.

Everything is invented; the assessments are compared whole, but for what tells files apart (names, lines, hashes).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from behaviour.feed.a_feed import SERIAL, after, judged, paired, sent, stay
from slackwater.feed.line import Reported
from slackwater.simulate.unit_types import ESTUARY, PEBBLE, SANDBAR
from slackwater.store import Record, open_record
from slackwater.store.course import course_of
from slackwater.store.live import due, seal
from slackwater.store.take_in import take_in
from slackwater.store.verify import verify

MOMENTS = (2.0, 5.5, 9.0, None)  # hours after the start; None: at the last reading


@pytest.fixture
def batch(tmp_path: Path) -> dict[float | None, object]:
    """The assessments at MOMENTS with the log as a file."""
    one = stay()
    with open_record(tmp_path / "batch", create=True) as record:
        drain = paired(record, one.bundle)
        take_in(record, replace(one.bundle, logs=(one.given,)), by="tests")
        return {hours: judged(record, drain, None if hours is None else after(hours)) for hours in MOMENTS}


def orders() -> dict[str, list[Reported]]:
    readings = list(stay().readings)
    shuffled, draw = list(readings), Random(7)
    for at in range(0, len(readings), 50):  # late by up to fifty readings
        piece = shuffled[at : at + 50]
        draw.shuffle(piece)
        shuffled[at : at + 50] = piece
    doubled = [one for reading in readings for one in (reading, reading)] + readings[100:900]
    return {
        "in order": readings,
        "doubled": doubled,
        "reordered": shuffled,
        "last half first": readings[1800:] + readings,
    }


@pytest.mark.parametrize("order", orders())
def test_a_stay_sent_in_pieces_is_judged_as_its_file(
    record: Record, batch: dict[float | None, object], order: str
) -> None:
    drain = paired(record, stay().bundle)
    sent(record, orders()[order])
    for hours in MOMENTS:
        assert judged(record, drain, None if hours is None else after(hours)) == batch[hours], hours


def test_what_is_concluded_at_a_moment_needs_nothing_of_later(
    record: Record, batch: dict[float | None, object]
) -> None:
    drain, readings, sent_until = paired(record, stay().bundle), stay().readings, 0
    for hours in (2.0, 5.5, 9.0):
        by_then = sum(one.time_ms <= after(hours) for one in readings)
        sent(record, readings[sent_until:by_then])
        sent_until = by_then
        assert judged(record, drain, after(hours)) == batch[hours], hours


def test_sealed_or_not_is_the_same(record: Record, batch: dict[float | None, object]) -> None:
    drain, readings = paired(record, stay().bundle), list(stay().readings)
    late, in_time = readings[500:520], readings[:500] + readings[520:]
    for at in range(0, len(in_time), 400):
        sent(record, in_time[at : at + 400])
        assert seal(record, SERIAL) == 400 or at + 400 > len(in_time)
    sent(record, late)  # comes when its hour lies sealed
    assert judged(record, drain) == batch[None]
    assert seal(record, SERIAL) == 20 and seal(record, SERIAL) == 0
    for hours in MOMENTS:
        assert judged(record, drain, None if hours is None else after(hours)) == batch[hours], hours
    assert verify(record).faults == ()


@pytest.mark.parametrize("unit", [ESTUARY, SANDBAR, PEBBLE], ids=lambda unit: unit.name)
def test_other_units_and_signs_of_the_file_make_no_difference(record: Record, tmp_path: Path, unit: object) -> None:
    # ESTUARY stamps beginnings, rounds down and writes L/min; SANDBAR counts suction up, in kPa, and gives extremes.
    one = stay("plateau", 4.0, 60, unit)  # type: ignore[arg-type]
    drain = paired(record, one.bundle)
    sent(record, one.readings)
    with open_record(tmp_path / "batch", create=True) as other:
        there = take_in(other, replace(one.bundle, logs=(one.given,)), by="tests").drain
        assert judged(record, drain) == judged(other, there)


def test_a_number_with_two_readings_leaves_both_in_doubt(record: Record) -> None:
    drain, readings = paired(record, stay().bundle), list(stay().readings)
    sent(record, readings)
    before = judged(record, drain)
    flow = readings[3500].flow
    assert flow is not None
    sent(record, [replace(readings[3500], flow=replace(flow, value="900"))])
    after_ = judged(record, drain)
    assert after_["ledger"]["rows_read"] == before["ledger"]["rows_read"] + 1
    assert after_["ledger"]["used"] == before["ledger"]["used"] - 1  # one row that had a value has none any more
    assert after_["ledger"]["first_refused"][0]["why"].startswith("'in-dispute' is not a number")
    assert seal(record, SERIAL) == len(readings) + 1
    assert judged(record, drain) == after_


def test_readings_count_once_a_pairing_covers_their_time(record: Record) -> None:
    one = stay()
    drain = paired(record, one.bundle, from_ms=after(5.0))
    sent(record, one.readings)
    assert judged(record, drain)["ledger"]["rows_read"] == sum(r.time_ms > after(5.0) for r in one.readings)
    seal(record, SERIAL)
    with record.act(by="tests", what="mended") as act:
        (pairing,) = act.things("pairing", {"drain": drain})
        act.change("pairing", pairing.key, {"from_ms": after(2.0), "to_ms": after(6.0)}, version=pairing.version)
    covered = sum(after(2.0) < r.time_ms <= after(6.0) for r in one.readings)
    assert judged(record, drain)["ledger"]["rows_read"] == covered


def test_what_was_known_then_is_judged_as_it_was_then(record: Record) -> None:
    drain, readings = paired(record, stay().bundle), stay().readings
    sent(record, readings[:1000])
    (then,) = [record.head()]
    assert then is not None
    sent(record, readings[1000:])
    seal(record, SERIAL)
    with record.reading() as connection:
        assert [live.count for live in course_of(connection, drain, then.at_ms).live] == [1000]


def test_the_course_says_when_something_came(record: Record) -> None:
    drain = paired(record, stay().bundle)

    def state() -> str:
        with record.reading() as connection:
            return course_of(connection, drain).state

    states = [state()]
    for some in (stay().readings[:1], stay().readings[1:3]):
        sent(record, some)
        states.append(state())
    seal(record, SERIAL)
    states.append(state())
    assert len(set(states)) == 4


def test_one_reading_alone_is_no_log_yet(record: Record) -> None:
    drain = paired(record, stay().bundle)
    sent(record, [replace(stay().readings[0], every=None)])
    assert judged(record, drain)["ledger"]["rows_read"] == 0
    sent(record, [replace(one, every=None) for one in stay().readings[:2]])
    assert judged(record, drain)["ledger"]["rows_read"] == 2


def test_units_are_sealed_an_hour_after_their_oldest_message(record: Record) -> None:
    paired(record, stay().bundle)
    sent(record, stay().readings[:5])
    with record.reading() as connection:
        assert due(connection, record.now_ms()) == ()
        assert due(connection, record.now_ms() + 3_700_000) == (SERIAL,)
    seal(record, SERIAL)
    with record.reading() as connection:
        assert due(connection, record.now_ms() + 3_700_000) == ()


def test_signs_that_change_are_read_each_by_its_own(record: Record) -> None:
    """An engineer sets the unit to count suction up: what it sent before is not turned round."""
    drain, readings = paired(record, stay().bundle), list(stay().readings[:400])
    turned: Sequence[Reported] = [
        replace(one, pressure=None if one.pressure is None else replace(
            one.pressure, value=one.pressure.value.removeprefix("-") if one.pressure.value.startswith("-")
            else f"-{one.pressure.value}" if one.pressure.value != "0" else "0", suction_is="positive"))
        for one in readings[200:]
    ]  # fmt: skip
    sent(record, [*readings[:200], *turned])
    both = judged(record, drain)
    with record.reading() as connection:
        (live,) = course_of(connection, drain).live
    assert live.count == 400 and both["ledger"]["used"] == 400
    seal(record, SERIAL)
    assert judged(record, drain) == both
