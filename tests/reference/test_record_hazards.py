"""Hazards of a ward's record: the wrong patient's log, a unit that was not let go, two who enter at once.

Source of each: the hazard list that this project keeps (C01, C05, G13); the wards here are invented.
"""

from __future__ import annotations

import os
import random
import tempfile
import threading
from collections.abc import Iterator

import pytest

from behaviour.store.a_drain import bundle, course_held, episode, log, ms, removal, taken
from slackwater.assessment.minute_table import minute_columns
from slackwater.episode.instants import read_instant
from slackwater.errors import RecordError, StaleError
from slackwater.store import Record, open_record
from slackwater.store.read_out import assess_drain
from slackwater.store.take_in import GivenLog
from slackwater.store.verify import verify
from ward.until import LONG_S

PATIENTS = 12
FLOW = "flow_ml_per_min"


@pytest.fixture
def record() -> Iterator[Record]:
    memory = "/dev/shm" if os.path.isdir("/dev/shm") else None  # nothing is asked of the disk here
    with tempfile.TemporaryDirectory(dir=memory) as folder, open_record(f"{folder}/record", create=True) as opened:
        yield opened


def paired(serial: str) -> str:
    return f'[[pairing]]\nunit = "{serial}"\nfrom = "2041-05-06T06:00:00Z"\nchecked_by = "two nurses"\n'


def test_of_all_patients_and_all_logs_exactly_the_right_pairs_are_taken(record: Record) -> None:
    """C01: each of twelve patients is offered each of twelve logs, whoever's it is, in any order."""
    for number in range(PATIENTS):
        given = bundle(episode(f"INV-{number}"), logs=[], rows=None, course=paired(f"U-{number}"))
        taken(record, given)
    offered = [(patient, unit) for patient in range(PATIENTS) for unit in range(PATIENTS)]
    random.Random(1).shuffle(offered)
    accepted = []
    for patient, unit in offered:
        given = bundle(episode(f"INV-{patient}"), logs=[log(0, 3, f"U-{unit}")], rows=None)
        try:
            taken(record, given)
        except RecordError as refused:
            assert "another" in str(refused) and "log.csv" in str(refused)
        else:
            accepted.append((patient, unit))
    assert sorted(accepted) == [(number, number) for number in range(PATIENTS)]
    assert len(record.things("log")) == PATIENTS and verify(record).faults == ()


def test_over_a_hundred_turnovers_of_one_unit_no_minute_is_crossed(record: Record) -> None:
    """C05: each export begins in the time of the patient before, and runs on into that of the next.

    Every patient's flow is another one, so that each minute tells whose it is.
    """
    chance, begin, stays = random.Random(2), 0, []
    for number in range(100):
        end = begin + chance.randint(12, 20)
        stays.append((number, begin, end))
        begin = end + chance.randint(1, 3)
    rows = [
        row
        for number, first, last in stays
        for row in log(first, last, leak=200 + 20 * number).data.decode().splitlines()[1:]
    ]
    heading = log(0, 1).data.decode().splitlines()[0]
    wrong = 0
    for number, first, last in stays:
        around = [one for one in rows if ms(first - 30) < _moment(one) <= ms(last + 30)]
        given = GivenLog("log.csv", "\n".join([heading, *around, ""]).encode(), log().layout)
        of = episode(f"INV-{number}", connected=first)
        drain = taken(record, bundle(of, logs=[given], rows=None, course=removal(last))).drain
        flows = [value for value in minute_columns(assess_drain(record, drain))[FLOW] if value == value]
        assert flows
        wrong += sum(not 200 + 20 * number <= value <= 210 + 20 * number for value in flows)
        (pairing,) = [one for one in course_held(record, drain).pairings if one["drain"] == drain]
        assert (pairing["from_ms"], pairing["to_ms"]) == (ms(first), ms(last))
    assert wrong == 0


def _moment(row: str) -> int:
    return read_instant(row.split(",")[0])


def test_of_a_hundred_times_that_meet_at_random_none_overlaps_in_the_record(record: Record) -> None:
    """C05: whatever is asked, no unit serves two patients at once, and the database holds it, too."""
    chance = random.Random(3)
    for number in range(100):
        first = chance.randint(0, 3000)
        fields = {"patient": f"p{number}", "drain": f"d{number}", "unit": f"u{number % 3}", "from_ms": ms(first)}
        fields |= {"to_ms": ms(first + chance.randint(0, 90))} if chance.random() < 0.95 else {}
        try:
            with record.act(by="nurse", what="paired") as act:
                act.add("pairing", f"k{number}", fields)
        except RecordError as refused:
            assert "already paired" in str(refused)
    held = record.things("pairing")
    assert 20 < len(held) < 100
    for one in held:
        for other in held:
            if one.key < other.key and one["unit"] == other["unit"]:
                ends = [float("inf") if it["to_ms"] is None else it["to_ms"] for it in (one, other)]
                assert ends[0] <= other["from_ms"] or ends[1] <= one["from_ms"]


@pytest.mark.parametrize("what", ["the same thing", "the same bundle"])
def test_of_many_who_create_at_once_exactly_one_does(record: Record, what: str) -> None:
    """G13: eight at once, each with a connection of its own, over and over."""
    for turn in range(4):
        outcomes: list[str] = []
        start = threading.Barrier(8)

        def create(turn: int = turn, outcomes: list[str] = outcomes, start: threading.Barrier = start) -> None:
            with open_record(record.place) as own:
                start.wait(LONG_S)
                if what == "the same bundle":
                    given = bundle(episode(f"INV-{turn}"), logs=[log(0, 10, f"U-{turn}")])
                    outcomes.append("made" if taken(own, given).new_drain else "was there")
                    return
                try:
                    with own.act(by="nurse", what="entered") as act:
                        act.add("patient", f"p{turn}", {"label": f"INV-{turn}"})
                    outcomes.append("made")
                except StaleError:
                    outcomes.append("was there")

        threads = [threading.Thread(target=create) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(outcomes) == ["made"] + ["was there"] * 7
        assert len(record.things("patient")) == turn + 1
    assert verify(record).faults == ()
