"""A unit that goes from one patient to the next: nothing of the one stands in the other's trace, unless it is doubted.

Everything is invented. Source: what was sent, and when each patient had the unit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from behaviour.feed.a_feed import SERIAL, START_MS, Stayed, after, judged, paired, sent, stay
from slackwater.feed.line import Reported
from slackwater.reading.layout import Layout
from slackwater.simulate.unit_type import UnitType
from slackwater.simulate.unit_types import ESTUARY, PEBBLE
from slackwater.store import Record, open_record
from slackwater.store.course import course_of
from slackwater.store.live import Live, seal
from slackwater.store.read_out import logs_of
from slackwater.store.take_in import Bundle, GivenLog, take_in

MOVED_MS = after(5.0) + 4_000  # amidst a reading of ten seconds


def other_bundle(bundle: Bundle) -> Bundle:
    """The same invented stay of somebody else."""
    return replace(bundle, episode=replace(bundle.episode, patient_id="NEXT-1"), charts=())


def both(record: Record, bundle: Bundle) -> tuple[str, str]:
    """One patient until the unit was moved, the next from then on."""
    first = paired(record, bundle, START_MS - 60_000, MOVED_MS)
    return first, paired(record, other_bundle(bundle), MOVED_MS)


def times(record: Record, drain: str) -> list[tuple[int, int]]:
    """When each row that a drain's logs hold began and ended."""
    with record.reading() as connection:
        course = course_of(connection, drain)
    found = []
    for log in logs_of(record, course):
        ends = log.time_ms if log.marks == "end" else log.time_ms + log.every_ms
        found += [(int(end) - log.every_ms, int(end)) for end in ends]
    return sorted(found)


def sealed_in_pieces(record: Record, readings: Sequence[Reported]) -> None:
    for at in range(0, len(readings), 700):
        sent(record, readings[at : at + 700])
        seal(record, SERIAL)


@pytest.mark.parametrize("declared", [True, False], ids=["every said", "every not said"])
@pytest.mark.parametrize(("unit", "every_s"), [(PEBBLE, 10), (ESTUARY, 60)])  # one marks ends, one beginnings
def test_a_reading_across_the_move_is_neithers(
    record: Record, unit: UnitType, every_s: int, declared: bool
) -> None:  # fmt: skip
    one = stay(every_s=every_s, unit=unit)
    readings = one.readings if declared else tuple(replace(reading, every=None) for reading in one.readings)
    first, next_ = both(record, one.bundle)
    for keep in (sent, sealed_in_pieces):
        keep(record, readings)  # the second time the same: nothing new, and sealed
        of_first, of_next = times(record, first), times(record, next_)
        assert of_first[-1][1] <= MOVED_MS <= of_next[0][0]
        assert of_next[0][0] - of_first[-1][1] == 1000 * every_s  # that reading alone is missing
        assert len(of_first) + len(of_next) == len(readings) - 1


def test_a_file_is_cut_as_what_was_sent(record: Record, tmp_path: Path) -> None:
    one = stay()
    _, next_ = both(record, one.bundle)
    sent(record, one.readings)
    with open_record(tmp_path / "batch", create=True) as batch:
        there = paired(batch, other_bundle(one.bundle), MOVED_MS)
        take_in(batch, replace(other_bundle(one.bundle), logs=(of_the_unit(one),)), by="tests")
        assert times(record, next_) == times(batch, there)


def of_the_unit(one: Stayed) -> GivenLog:
    """Its log as a file in which the unit's serial stands."""
    head, *rows = one.given.data.decode().splitlines()
    told = "\n".join([f"{head}\tUnit", *(f"{row}\t{SERIAL}" for row in rows), ""])
    layout = Layout.from_toml(f'{one.given.layout.to_toml()}\n[serial]\ncolumn = "Unit"\n', "with-serial.toml")
    return GivenLog("log.csv", told.encode(), layout)


def live_of(record: Record, drain: str) -> Live:
    with record.reading() as connection:
        (live,) = course_of(connection, drain).live
    return live


@pytest.mark.parametrize("sealed", [False, True])
def test_one_number_in_two_patients_times_is_doubted_in_both(record: Record, sealed: bool) -> None:
    """A clock set anew, and a reading sent once more: the first patient's flow under the next one's time."""
    one = stay()
    first, next_ = both(record, one.bundle)
    sent(record, one.readings)
    if sealed:
        seal(record, SERIAL)
    before = judged(record, first), judged(record, next_)
    states = live_of(record, first).state, live_of(record, next_).state
    again = replace(one.readings[300], time_ms=one.readings[3000].time_ms + 3_000)
    sent(record, [again, again])
    for drain, was in zip((first, next_), before, strict=True):
        assert judged(record, drain)["ledger"]["first_refused"][0]["why"].startswith("'in-dispute' is not a number")
        assert not was["ledger"]["first_refused"]
    assert judged(record, first)["ledger"]["used"] == before[0]["ledger"]["used"] - 1
    assert judged(record, next_)["ledger"]["used"] == before[1]["ledger"]["used"]  # what came has no value there
    assert live_of(record, first).state != states[0] and live_of(record, next_).state != states[1]
    then = judged(record, first), judged(record, next_)
    seal(record, SERIAL)
    assert (judged(record, first), judged(record, next_)) == then
    assert [thing["sequence"] for thing in record.things("disputed")] == [again.sequence]


def test_as_the_record_stood_then_nothing_was_in_dispute(record: Record) -> None:
    one = stay()
    first, _ = both(record, one.bundle)
    sent(record, one.readings)
    head = record.head()
    assert head is not None
    sent(record, [replace(one.readings[300], time_ms=one.readings[3000].time_ms + 3_000)])
    with record.reading() as connection:
        then, now = (course_of(connection, first, known).live[0].disputed for known in (head.at_ms, None))
    assert (then, now) == (0, 1)


def test_what_the_next_patients_unit_sends_leaves_the_first_ones_course_alone(record: Record) -> None:
    one = stay()
    first, _ = both(record, one.bundle)
    sent(record, one.readings[:2500])
    seal(record, SERIAL)
    state = live_of(record, first).state
    sent(record, one.readings[2500:])
    seal(record, SERIAL)
    assert live_of(record, first).state == state
