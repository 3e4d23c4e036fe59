"""The same history gives the same bytes on SQLite and on PostgreSQL (an invariant of the record, ours)."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from itertools import count
from pathlib import Path

import pytest

from postgres.answers import differences, of_a_drain, of_the_list, of_the_tables
from postgres.any_acts import MOMENT_MS, act_at_random
from postgres.stays import hand_in
from slackwater.errors import StaleError
from slackwater.store import Record, open_record
from slackwater.store.backup import backup, restore
from slackwater.store.verify import verify

pytestmark = pytest.mark.postgres

STAYS, ACTS = 30, 600


@pytest.fixture
def both(tmp_path: Path, database_url: str) -> Iterator[list[Record]]:
    """A record on SQLite and one on PostgreSQL, whose clocks tell the same."""
    with ExitStack() as stack:
        places = (f"{tmp_path / 'record'}", database_url)
        yield [stack.enter_context(open_record(at, create=True, clock=count(MOMENT_MS).__next__)) for at in places]


def test_the_same_stays_give_the_same_bytes(both: list[Record]):
    drains = []
    for number in range(STAYS):
        here, there = (hand_in(record, number) for record in both)
        assert here == there
        drains.append(here)
    for drain in drains:
        assert list(differences(*(of_a_drain(record, drain) for record in both))) == []
    assert list(differences(*map(of_the_tables, both))) == []
    assert list(differences(*map(of_the_list, both))) == []
    assert verify(both[0]) == verify(both[1])
    assert verify(both[0]).faults == ()


def test_the_same_acts_are_kept_and_refused_in_the_same_words(both: list[Record]):
    told = set()
    for seed in range(ACTS):
        here, there = (act_at_random(record, seed) for record in both)
        assert here == there, f"seed {seed}"
        told.add(here.partition(":")[0])
    assert told == {"kept", "RecordError", "StaleError"}  # else the draw asks too little
    assert list(differences(*map(of_the_tables, both))) == []


def test_a_backup_goes_from_one_to_the_other_and_back(both: list[Record], tmp_path: Path):
    sqlite, postgres = both
    drain = hand_in(sqlite, 1)
    backup(sqlite, tmp_path / "first")
    restore(tmp_path / "first", postgres.place)
    assert list(differences(of_a_drain(sqlite, drain), of_a_drain(postgres, drain))) == []
    backup(postgres, tmp_path / "second")
    restore(tmp_path / "second", tmp_path / "again")
    with open_record(tmp_path / "again") as again:
        assert list(differences(of_the_tables(sqlite), of_the_tables(again))) == []


def test_minus_nought_is_nought_on_both(both: list[Record]):
    for record in both:
        with record.act(by="ward", what="told") as act:
            act.add("episode", "key", {"patient": "p", "weight_kg": -0.0})
        with record.act(by="ward", what="told") as act:
            act.change("episode", "key", {"bed": "b2"}, version=1)
    assert list(differences(*map(of_the_tables, both))) == []


def test_what_an_act_may_go_on_after_is_the_same_on_both(both: list[Record]):
    hold = {"drain": "d", "reason": "other", "from_ms": MOMENT_MS}
    for record in both:
        with record.act(by="ward", what="held") as act:
            act.add("hold", "1", hold)
            with pytest.raises(StaleError):
                act.add("hold", "1", hold)
            act.add("hold", "2", hold)
    assert list(differences(*map(of_the_tables, both))) == []


def test_a_difference_of_one_byte_is_found(both: list[Record]):
    for record, value in zip(both, ("80", "80 "), strict=True):
        with record.act(by="ward", what="charted") as act:
            act.add("entry", "key", {"episode": "stay", "item": "weight", "value": value, "time_ms": MOMENT_MS})
    found = list(differences(*map(of_the_tables, both)))
    assert [line.partition(":")[0] for line in found] == ["act 1", "entry key 1"]
