"""A disk that fails makes the record read-only, with its reason, until it holds again (hazards G03, G04)."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

import pytest

from behaviour.store.a_drain import bundle, episode, log, ms, taken
from slackwater.errors import NotWritten
from slackwater.store import Record, rows
from slackwater.store.verify import verify

HOLD = {"drain": "d", "reason": "other", "from_ms": ms(0)}


def enter(record: Record, key: str) -> None:
    with record.act(by="nurse", what="held") as act:
        act.add("hold", key, HOLD)


@contextmanager
def failing_disk(fault: int = errno.EIO) -> Iterator[None]:
    """No file is brought to the disk any more."""

    def fails(_: int) -> None:
        raise OSError(fault, os.strerror(fault))

    with patch("slackwater.store.files.os.fsync", fails):
        yield


@pytest.fixture
def stuck(record: Record) -> Record:
    """A record whose last act met a disk fault."""
    enter(record, "before")
    with failing_disk(), pytest.raises(NotWritten), record.act(by="nurse", what="import") as act:
        record.files.put(b"a log")
        act.add("hold", "lost", HOLD)
    return record


def test_the_reason_is_told(stuck: Record) -> None:
    assert stuck.read_only_because is not None and "Input/output error" in stuck.read_only_because


def test_nothing_of_the_act_is_kept(stuck: Record) -> None:
    assert [one.key for one in stuck.things("hold")] == ["before"]


def test_what_is_there_can_be_read(stuck: Record) -> None:
    with failing_disk():
        assert len(stuck.things("hold")) == 1 and stuck.head() is not None


def test_nothing_is_taken_while_the_disk_fails(stuck: Record) -> None:
    with failing_disk(errno.ENOSPC), pytest.raises(NotWritten, match=r"is read-only: .* \(still: No space left"):
        enter(stuck, "refused")
    assert stuck.read_only_because is not None


def test_it_takes_again_once_the_disk_holds(stuck: Record) -> None:
    enter(stuck, "after")
    assert stuck.read_only_because is None
    assert [one.key for one in stuck.things("hold")] == ["after", "before"]
    assert verify(stuck).faults == ()


def test_the_little_file_of_the_trial_is_taken_away(stuck: Record, place: str) -> None:
    enter(stuck, "after")
    assert {path.name for path in Path(place).iterdir() if not path.name.startswith("record.")} <= {"files"}


@pytest.mark.parametrize("fault", [errno.ENOSPC, errno.EIO, errno.EROFS])
def test_an_import_on_a_failing_disk_leaves_the_record_as_it_was(record: Record, fault: int) -> None:
    taken(record)
    head = record.head()
    with (
        failing_disk(fault),
        pytest.raises(NotWritten, match=r"the files of the record cannot be written: .*enter it again"),
    ):
        taken(record, bundle(episode("INV-2"), logs=[log(serial="U-2")]))
    assert record.head() == head
    assert taken(record, bundle(episode("INV-2"), logs=[log(serial="U-2")])).new_drain


def test_a_full_disk_leaves_no_half_file(record: Record, place: str) -> None:
    with failing_disk(errno.ENOSPC), pytest.raises(NotWritten):
        record.files.put(b"x" * 10_000)
    assert list(Path(place).rglob(".new-*")) == []


def test_a_database_that_is_too_large_for_its_disk_is_not_half_written(record: Record) -> None:
    enter(record, "before")
    with record.reading() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
    # sqlite.org/pragma.html#pragma_max_page_count: an insert beyond it fails with SQLITE_FULL, as on a full disk.
    with pytest.raises(NotWritten, match="full"), record.act(by="nurse", what="held") as act:
        act.connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
        for number in range(200):
            act.add("hold", f"h{number}", {**HOLD, "note": "x" * 10_000})
    assert record.read_only_because is not None
    with record.reading() as connection:
        assert len(list(rows.acts(connection))) == 1
    enter(record, "after")
    assert verify(record).faults == ()
