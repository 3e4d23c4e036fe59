"""A backup is the whole record, or it is no backup; a restore brings it back as it was."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from behaviour.store.a_drain import RULE, bundle, dump, episode, log, said, taken
from slackwater.errors import NotWritten, RecordError
from slackwater.store import Record, open_record
from slackwater.store.backup import LEDGER_FILE, MANIFEST, backup, read_manifest, restore
from slackwater.store.read_out import assess_drain
from slackwater.store.verify import verify


@pytest.fixture
def kept(record: Record) -> Record:
    taken(record, bundle(rule=RULE))
    return record


@pytest.fixture
def backed_up(kept: Record, tmp_path: Path) -> Path:
    backup(kept, tmp_path / "backup")
    return tmp_path / "backup"


def test_what_is_restored_is_the_record(kept: Record, backed_up: Path, tmp_path: Path) -> None:
    # Hazard G08.
    restore(backed_up, tmp_path / "again")
    drain = kept.things("drain")[0].key
    with open_record(tmp_path / "again") as again:
        assert dump(again) == dump(kept) and again.head() == kept.head()
        assert said(assess_drain(again, drain)) == said(assess_drain(kept, drain))
        assert verify(again).faults == ()


def test_an_empty_record_can_be_backed_up_and_restored(record: Record, tmp_path: Path) -> None:
    assert backup(record, tmp_path / "backup")["acts"] == 0
    assert restore(tmp_path / "backup", tmp_path / "again").acts == 0


def test_what_was_restored_can_be_gone_on_with(kept: Record, backed_up: Path, tmp_path: Path) -> None:
    restore(backed_up, tmp_path / "again")
    with open_record(tmp_path / "again") as again:
        assert taken(again, bundle(rule=RULE)).rows == 0
        taken(again, bundle(episode("INV-2"), logs=[log(serial="U-2")]))
        assert verify(again).faults == ()


def test_a_backup_is_of_one_act_while_others_write(kept: Record, tmp_path: Path) -> None:
    def write_meanwhile(done: int, of: int) -> None:
        with kept.act(by="other", what="looked", even_if_empty=True):
            meanwhile.append(done)

    meanwhile: list[int] = []
    made = backup(kept, tmp_path / "backup", write_meanwhile)
    assert meanwhile and made["acts"] == 2
    assert restore(tmp_path / "backup", tmp_path / "again").head == made["head"]


def test_a_backup_needs_an_empty_folder(kept: Record, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / ".hidden").write_text("x")
    with pytest.raises(RecordError, match=r"is not empty\. Give a new folder"):
        backup(kept, tmp_path / "full")
    assert [path.name for path in (tmp_path / "full").iterdir()] == [".hidden"]


def test_a_backup_does_not_go_over_a_backup(kept: Record, backed_up: Path) -> None:
    with pytest.raises(RecordError, match="is not empty"):
        backup(kept, backed_up)


def test_a_backup_of_a_damaged_record_is_refused(kept: Record, place: str, tmp_path: Path) -> None:
    next((Path(place) / "files").glob("??/*")).write_bytes(b"x")
    with pytest.raises(RecordError, match="is not what was recorded"):
        backup(kept, tmp_path / "backup")


def test_a_backup_that_was_stopped_is_none(kept: Record, tmp_path: Path) -> None:
    def stop(done: int, of: int) -> None:
        if done == of:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        backup(kept, tmp_path / "backup", stop)
    with pytest.raises(RecordError, match=r"has no manifest that can be read: .*it was stopped before its end"):
        restore(tmp_path / "backup", tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_each_changed_byte_of_the_manifest_is_found(backed_up: Path) -> None:
    path = backed_up / MANIFEST
    whole = path.read_bytes()
    for place in range(len(whole)):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        with pytest.raises(RecordError):
            read_manifest(backed_up)
    path.write_bytes(whole)
    assert read_manifest(backed_up)["acts"] == 2


def test_each_changed_byte_of_the_rest_is_found(backed_up: Path) -> None:
    paths = [backed_up / LEDGER_FILE, *(backed_up / "files").glob("??/*")]
    for path in paths:
        whole = path.read_bytes()
        for place in range(0, len(whole), max(1, len(whole) // 25)):
            path.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
            with pytest.raises(RecordError, match="is not what was backed up"):
                read_manifest(backed_up)
        path.write_bytes(whole)
    assert read_manifest(backed_up)["acts"] == 2


def test_a_missing_file_of_a_backup_is_found(backed_up: Path, tmp_path: Path) -> None:
    next((backed_up / "files").glob("??/*")).unlink()
    with pytest.raises(RecordError, match="cannot be read"):
        restore(backed_up, tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_a_restore_never_goes_over_a_record(backed_up: Path, place: str, kept: Record) -> None:
    with pytest.raises(RecordError, match=r"is not empty\. Give a new folder: nothing is restored over a record"):
        restore(backed_up, place)
    assert verify(kept).faults == ()


def test_a_restore_never_goes_over_other_files(backed_up: Path, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letter.txt").write_text("x")
    with pytest.raises(RecordError, match="is not empty"):
        restore(backed_up, tmp_path / "full")
    assert (tmp_path / "full" / "letter.txt").read_text() == "x"


def test_a_restore_that_was_stopped_leaves_nothing_in_the_place(backed_up: Path, tmp_path: Path) -> None:
    def stop(done: int, of: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        restore(backed_up, tmp_path / "again", stop)
    assert not (tmp_path / "again").exists()
    assert restore(backed_up, tmp_path / "again").faults == ()  # and does not stand in the way of the next


def test_a_copy_of_the_backup_elsewhere_is_as_good(backed_up: Path, tmp_path: Path) -> None:
    shutil.copytree(backed_up, tmp_path / "b c%20ü")
    assert restore(tmp_path / "b c%20ü", tmp_path / "a gain").faults == ()


def test_a_disk_that_takes_no_backup_is_said(kept: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("slackwater.store.backup.write_durably", full)
    with pytest.raises(NotWritten, match="the backup cannot be written: No space left on device"):
        backup(kept, tmp_path / "backup")
