"""Whoever changes the record behind its back is found (SQLite: with the guards taken away)."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from behaviour.store.a_drain import RULE, bundle, episode, log, taken
from slackwater.errors import RecordError
from slackwater.store import Record, open_record
from slackwater.store.verify import Verified, verify


@pytest.fixture
def kept(record: Record, place: str) -> str:
    """A record of two patients, closed."""
    taken(record, bundle(rule=RULE))
    taken(record, bundle(episode("INV-2"), logs=[log(serial="U-2")]))
    record.close()
    return place


@contextmanager
def behind_its_back(place: str) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(Path(place) / "record.sqlite")
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    yield connection
    connection.commit()
    connection.close()


def looked_at(place: str) -> Verified:
    """What verify finds, but for the guards, which whoever works behind the record's back takes away first."""
    with open_record(place) as record:
        found = verify(record)
    return replace(found, faults=tuple(fault for fault in found.faults if not fault.startswith("the guard ")))


def test_a_record_that_was_left_alone_is_as_it_was_recorded(kept: str) -> None:
    found = looked_at(kept)
    assert found.faults == () and found.acts == 4 and found.rows > 20 and found.files >= 6


@pytest.mark.parametrize("table", ["ledger", "entry_rows", "pairing_rows", "drain_rows"])
@pytest.mark.parametrize("what", ["UPDATE {0} SET seq = seq", "DELETE FROM {0}"])
def test_the_database_refuses_a_change_of_the_past(kept: str, table: str, what: str) -> None:
    # Hazard G07.
    with sqlite3.connect(Path(kept) / "record.sqlite") as connection, pytest.raises(sqlite3.Error, match="append-only"):
        connection.execute(what.format(table))


@pytest.mark.parametrize(
    "what",
    [
        "UPDATE ledger SET by = 'somebody' WHERE seq = 1",
        "UPDATE ledger SET what = 'x' WHERE seq = 1",
        "UPDATE ledger SET why = ' ' WHERE seq = 1",
        "UPDATE ledger SET at_ms = at_ms - 1 WHERE seq = 1",
        "UPDATE ledger SET changes = replace(changes, 'left', 'right') WHERE seq = 1",
        "UPDATE ledger SET changes = changes || ' ' WHERE seq = 1",
        "UPDATE ledger SET hash = replace(hash, substr(hash, 1, 1), 'x') WHERE seq = 1",
        "UPDATE ledger SET changes = 'x' WHERE seq = 1",
    ],
)
def test_a_changed_act_is_found(kept: str, what: str) -> None:
    with behind_its_back(kept) as connection:
        connection.execute(what)
    assert any(fault.startswith("act 1 ") for fault in looked_at(kept).faults)


@pytest.mark.parametrize("seq", [1, 2, 3])
def test_a_missing_act_is_found(kept: str, seq: int) -> None:
    with behind_its_back(kept) as connection:
        connection.execute("DELETE FROM ledger WHERE seq = ?", [seq])
    assert f"act {seq} is missing (the next one is {seq + 1})" in looked_at(kept).faults


def test_the_head_tells_that_the_last_acts_are_gone(kept: str) -> None:
    before = looked_at(kept)
    with behind_its_back(kept) as connection:
        for table in [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]:
            if table.endswith("_rows"):
                connection.execute(f"DELETE FROM {table} WHERE seq > 2")
        connection.execute("DELETE FROM ledger WHERE seq > 2")
    after = looked_at(kept)
    assert after.faults == () and after.head != before.head  # the chain alone cannot know what came after


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ("UPDATE space_rows SET side = 'right'", "space .* version 1 is not what act 1 recorded"),
        ("UPDATE entry_rows SET time_ms = time_ms + 1 WHERE line = 2", "entry .* is not what act 1 recorded"),
        ("UPDATE removal_rows SET tip_intact = 0", None),
        ("UPDATE episode_rows SET weight_kg = NULL", "episode .* is not what act 1 recorded"),
        ("UPDATE drain_rows SET happened_ms = 0", "drain .* is not what act 1 recorded"),
        ("UPDATE entry_rows SET gone = 1", "entry .* is not what act 1 recorded"),
        ("DELETE FROM entry_rows WHERE line = 2", "entry .* version 1 of act 1 is missing"),
        ("UPDATE entry_rows SET seq = 3 WHERE seq = 1", "entry .* version 1 of act 1 is missing"),
        ("UPDATE entry_rows SET version = 2 WHERE line = 2", "entry .* version 1 of act 1 is missing"),
    ],
)
def test_a_changed_or_missing_row_is_found(kept: str, what: str, said: str | None) -> None:
    with behind_its_back(kept) as connection:
        touched = connection.execute(what).rowcount
    faults = "\n".join(looked_at(kept).faults)
    if said is None:
        assert touched == 0 and not faults  # nobody was taken out: nothing was changed
    else:
        import re

        assert re.search(said, faults), faults


@pytest.mark.parametrize("seq", [1, 4, 99])
def test_an_extra_row_is_found(kept: str, seq: int) -> None:
    with behind_its_back(kept) as connection:
        connection.execute(
            "INSERT INTO hold_rows (key, version, seq, at_ms, gone, drain, reason, from_ms) "
            "VALUES ('x', 1, ?, 0, 0, 'd', 'other', 0)",
            [seq],
        )
    assert "hold x version 1 is in no act" in looked_at(kept).faults


def files_of_place(place: str) -> list[Path]:
    return sorted((Path(place) / "files").glob("??/*"))


def test_a_missing_file_is_found(kept: str) -> None:
    gone = files_of_place(kept)[0]
    gone.unlink()
    assert [fault for fault in looked_at(kept).faults if gone.name in fault and "missing" in fault]


@pytest.mark.parametrize("number", range(6))
def test_a_changed_file_is_found(kept: str, number: int) -> None:
    path = files_of_place(kept)[number]
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))
    assert [fault for fault in looked_at(kept).faults if path.name in fault]


@pytest.mark.parametrize("change", [lambda data: data[:-1], lambda data: data + b"x", lambda data: b""])
def test_a_shorter_or_longer_file_is_found(kept: str, change: object) -> None:
    path = files_of_place(kept)[0]
    path.write_bytes(change(path.read_bytes()))  # type: ignore[operator]
    assert [fault for fault in looked_at(kept).faults if path.name in fault]


def test_a_log_that_the_disk_changed_is_not_judged(record: Record, place: str) -> None:
    # Hazard G11: a wrong number must not come of it.
    from slackwater.store.read_out import assess_drain

    drain = taken(record).drain
    for path in files_of_place(place):
        path.write_bytes(path.read_bytes()[:-2] + b"xx")
    with pytest.raises(RecordError, match=r"is not what was recorded: the disk changed it\. Restore"):
        assess_drain(record, drain)


def test_a_file_that_no_row_names_does_no_harm(kept: str) -> None:
    with open_record(kept) as record:
        record.files.put(b"left over by a program that was stopped")
    assert looked_at(kept).faults == ()
