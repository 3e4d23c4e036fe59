"""The power lost after any call: whatever of the unsynced the disk kept, what was acknowledged is there and whole."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from durability import toy
from durability.disk import Disk
from durability.scenarios import NOT_SYNCED, SCENARIOS
from durability.shim import Event
from durability.sweep import run

pytestmark = pytest.mark.durability

EVERY = 16  # one point in so many; all of them: python tests/durability/full.py


@pytest.mark.parametrize("name", [scenario.name for scenario in SCENARIOS])
def test_what_was_acknowledged_outlasts_a_loss_of_power(library: Path, name: str) -> None:
    report = run(library, "scenarios", name, "power", EVERY, torn=2)
    print(report)
    assert report.points > 0
    assert not report.faults, report


@pytest.mark.parametrize("name", [scenario.name for scenario in toy.SCENARIOS])
def test_the_right_way_passes(library: Path, name: str) -> None:
    report = run(library, "toy", name, "power", torn=4)
    print(report)
    assert not report.faults, report


# Source: sqlite.org/pragma.html, synchronous: in WAL mode NORMAL may lose durability but not consistency over a loss
# of power; with OFF the database may become corrupt.
def test_synchronous_normal_loses_what_was_acknowledged(library: Path) -> None:
    report = run(library, "toy", toy.NORMAL, "power")
    print(report)
    assert set(report.faults) == {"lost"}, report


@pytest.mark.parametrize("where, name", [("toy", toy.OFF), ("scenarios", NOT_SYNCED)])
def test_synchronous_off_loses_and_damages(library: Path, where: str, name: str) -> None:
    report = run(library, where, name, "power", every=4, torn=2)
    print(report)
    assert {"lost", "broken"} <= report.faults.keys(), report


@pytest.mark.parametrize("name, fault", [(toy.NOT_SYNCED, "half"), (toy.FOLDER_NOT_SYNCED, "lost")])
def test_a_file_or_a_name_not_synced_is_found_out(library: Path, name: str, fault: str) -> None:
    report = run(library, "toy", name, "power", torn=4)
    print(report)
    assert report.faults.get(fault), report


# ---- the model of the disk itself (disk.py), by hand ----


def event(kind: str, path: str, path2: str = "", data: bytes = b"", error: int = 0) -> Event:
    return Event(kind, f"/d/{path}", f"/d/{path2}" if path2 else "", error, 0, len(data), data)


def image(*events: Event, style: str = "lacking", start: dict[str, bytes | None] | None = None) -> object:
    disk = Disk(Path("/d"), start or {})
    for one in events:
        disk.follow(one)
    return disk.image(style, Random(1))


def test_bytes_need_their_sync_and_a_name_that_of_its_folder() -> None:
    made, written = event("create", "a"), event("write", "a", data=b"new")
    synced, named = event("sync", "a"), Event("sync", "/d", "", 0, 0, 0, b"")
    assert image(made, written, synced) == {}
    assert image(made, written, named) == {"a": b""}
    assert image(made, written, synced, named) == {"a": b"new"}
    assert image(made, written, style="there") == {"a": b"new"}


def test_a_folder_renamed_takes_what_it_holds_with_it() -> None:
    moved = [event("rename", "old", "new"), event("unlink", "new/a"), Event("sync", "/d", "", 0, 0, 0, b"")]
    assert image(*moved, start={"old": None, "old/a": b"x"}) == {"new": None, "new/a": b"x"}
    assert image(*moved, style="there", start={"old": None, "old/a": b"x"}) == {"new": None}


def test_after_a_failed_sync_another_does_not_save_the_same_bytes() -> None:
    """Source: what PostgreSQL met in 2018 (wiki.postgresql.org/wiki/Fsync_Errors): the kernel forgets them."""
    written = event("write", "a", data=b"new")
    failed, interrupted, synced = event("sync", "a", error=5), event("sync", "a", error=4), event("sync", "a")
    assert image(written, failed, synced, start={"a": b"old"}) == {"a": b"old"}
    assert image(written, interrupted, synced, start={"a": b"old"}) == {"a": b"new"}
    assert image(written, failed, written, synced, start={"a": b"old"}) == {"a": b"new"}


def test_what_is_torn_is_torn_at_sectors() -> None:
    disk = Disk(Path("/d"), {"a": b"." * 1536})
    disk.follow(event("write", "a", data=b"x" * 1536))
    seen = {disk.image("torn", Random(seed))["a"] for seed in range(200)}
    assert seen == {bytes(a + b + c) for a in _two() for b in _two() for c in _two()}


def _two() -> list[bytes]:
    return [b"." * 512, b"x" * 512]
