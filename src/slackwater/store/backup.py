"""Backup and restore: the ledger as lines, the files beside it, and a manifest that seals both.

The rows are a function of the acts, so the acts are the backup: it goes from SQLite to PostgreSQL and back,
and a restore proves the chain while it replays it. Acts are never changed, so a backup taken while
others write is the record as of one act.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import insert

from slackwater.errors import NotWritten, RecordError
from slackwater.store import migrate, rows
from slackwater.store.acts import FIRST, Act, canonical, hash_of
from slackwater.store.engine import engine_of, writing
from slackwater.store.files import Files, make_folder, sync_folder, write_durably
from slackwater.store.place import Place, place_of, refuse_network
from slackwater.store.record import Record, open_record
from slackwater.store.tables import LEDGER, TABLES
from slackwater.store.verify import FILE_FIELDS, Verified, verify

FORMAT = "slackwater-backup-1"
MANIFEST, LEDGER_FILE = "manifest.json", "ledger.jsonl.gz"
_MEND = "Take another backup."

Progress = Callable[[int, int], None]


def backup(record: Record, folder: str | os.PathLike[str], progress: Progress | None = None) -> dict[str, Any]:
    """Write the record as of its last act to a new folder, read it back, and return its manifest.

    The manifest is written last: a backup that was stopped has none and cannot be restored.
    Raises RecordError if the folder holds something, NotWritten if it cannot be written.
    """
    target = Path(folder)
    _refuse_full(target, "Give a new folder for each backup.")
    try:
        make_folder(target.absolute())
        return _backup(record, target, progress or (lambda done, of: None))
    except OSError as error:
        raise NotWritten(
            f"the backup cannot be written: {error.strerror}",
            where=str(target),
            mend="Delete the folder, make room, and take it again.",
        ) from error


def _backup(record: Record, target: Path, progress: Progress) -> dict[str, Any]:
    last = record.head()
    total = last.seq if last else 0
    named: set[str] = set()
    lines = io.BytesIO()
    with record.reading() as connection, gzip.GzipFile(fileobj=lines, mode="wb", compresslevel=6, mtime=0) as packed:
        for act in rows.acts(connection, until=total):
            packed.write((canonical(vars(act)) + "\n").encode())
            named |= _files_of(act)
            if act.seq % 1000 == 0:
                progress(act.seq, total)
    write_durably(target / LEDGER_FILE, lines.getvalue())
    kept = Files(target / "files")
    for number, sha256 in enumerate(sorted(named), start=1):
        kept.put(record.files.get(sha256))  # which also proves that it is what was recorded
        progress(total + number, total + len(named))
    manifest = {
        "format": FORMAT, "tables": migrate.REVISIONS[-1], "acts": total, "head": last.hash if last else FIRST,
        "ledger_sha256": hashlib.sha256(lines.getvalue()).hexdigest(),
        "files": {sha256: hashlib.sha256(kept.path(sha256).read_bytes()).hexdigest() for sha256 in sorted(named)},
    }  # fmt: skip
    _check_files(target, manifest)
    text = canonical(manifest)
    sealed = {**manifest, "sealed": hashlib.sha256(text.encode()).hexdigest()}
    write_durably(target / MANIFEST, (json.dumps(sealed, indent=1, sort_keys=True) + "\n").encode())
    return sealed


def read_manifest(folder: str | os.PathLike[str]) -> dict[str, Any]:
    """The manifest of a backup, after every byte of the backup was held against it. RecordError if one differs."""
    source = Path(folder)
    try:
        text = (source / MANIFEST).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise RecordError(
            "has no manifest that can be read: it is no backup, or it was stopped before its end",
            where=str(source), mend=_MEND,
        ) from None  # fmt: skip
    try:
        manifest = json.loads(text)
        sealed = manifest.pop("sealed")
    except (ValueError, KeyError, AttributeError, TypeError):
        raise RecordError("is damaged", where=str(source / MANIFEST), mend=_MEND) from None
    whole = json.dumps({**manifest, "sealed": sealed}, indent=1, sort_keys=True) + "\n"
    if text != whole or hashlib.sha256(canonical(manifest).encode()).hexdigest() != sealed:
        raise RecordError("is damaged", where=str(source / MANIFEST), mend=_MEND)
    kinds = {"format": str, "tables": str, "acts": int, "head": str, "ledger_sha256": str, "files": dict}
    if any(not isinstance(manifest.get(name), kind) for name, kind in kinds.items()):
        raise RecordError("is no manifest of a backup", where=str(source / MANIFEST), mend=_MEND)
    if manifest["format"] != FORMAT or manifest["tables"] not in migrate.REVISIONS:
        raise RecordError(
            "was made by a newer program", where=str(source / MANIFEST), mend="Install that version of slackwater."
        )
    _check_files(source, manifest)
    return {**manifest, "sealed": sealed}


def _refuse_full(folder: Path, mend: str) -> None:
    if folder.exists() and not folder.is_dir():
        raise RecordError("is no folder", where=str(folder), mend=mend)
    if folder.exists() and any(folder.iterdir()):
        raise RecordError("is not empty", where=str(folder), mend=mend)


def _check_files(source: Path, manifest: dict[str, Any]) -> None:
    wanted = {source / LEDGER_FILE: manifest["ledger_sha256"]}
    kept = Files(source / "files")
    wanted |= {kept.path(sha256): digest for sha256, digest in manifest["files"].items()}
    for path, digest in wanted.items():
        try:
            found = hashlib.sha256(path.read_bytes()).hexdigest()
        except OSError as error:
            raise RecordError(f"cannot be read: {error.strerror}", where=str(path), mend=_MEND) from None
        if found != digest:
            raise RecordError("is not what was backed up", where=str(path), mend=_MEND)


def restore(
    folder: str | os.PathLike[str], place: str | os.PathLike[str] | Place, progress: Progress | None = None
) -> Verified:
    """Replay a backup into an empty place, whole or not at all, and verify it.

    Raises RecordError where the place holds a record already (nothing is ever restored over one), and
    where a byte of the backup is not what was backed up.
    """
    manifest = read_manifest(folder)
    where = place if isinstance(place, Place) else place_of(place)
    source, told = Path(folder), progress or (lambda done, of: None)
    if where.sqlite:
        refuse_network(where.folder)
        where = Place(where.folder.resolve())  # where a link leads to
        _refuse_full(where.folder, "Give a new folder: nothing is restored over a record.")
        beside = where.folder.with_name(f".{where.folder.name}.restoring")
        shutil.rmtree(beside, ignore_errors=True)  # of a restore that was stopped
        found = _restore(source, manifest, Place(beside), told)
        try:
            sync_folder(beside)
            if where.folder.exists():
                where.folder.rmdir()
            os.replace(beside, where.folder)
            sync_folder(where.folder.parent)
        except OSError as error:
            raise NotWritten(
                f"cannot be put in its place: {error.strerror}", where=where.says, mend="Restore to another folder."
            ) from error
        return found
    return _restore(source, manifest, where, told)


def _restore(source: Path, manifest: dict[str, Any], where: Place, progress: Progress) -> Verified:
    try:
        files, kept = Files(where.folder / "files"), Files(source / "files")
        make_folder(where.folder)
        for number, sha256 in enumerate(manifest["files"], start=1):
            files.put(kept.get(sha256))
            progress(number, len(manifest["files"]) + manifest["acts"])
    except OSError as error:
        raise NotWritten(f"cannot be written: {error.strerror}", where=str(where.folder)) from error
    engine = engine_of(where)
    try:
        with writing(engine) as connection:
            migrate.upgrade_on(connection)
            if rows.head(connection) is not None:
                raise RecordError(
                    "holds a record already",
                    where=where.says,
                    mend="Give an empty database: nothing is restored over a record.",
                )
            previous = FIRST
            for act in _acts(source / LEDGER_FILE):
                if act.previous != previous or act.hash != hash_of(*list(vars(act).values())[:-1]):
                    raise RecordError(
                        f"act {act.seq} is not what was recorded", where=str(source / LEDGER_FILE), mend=_MEND
                    )
                previous = act.hash
                connection.execute(insert(LEDGER), [vars(act)])
                by_noun: dict[str, list[dict[str, Any]]] = {}
                for noun, row in act.rows():
                    by_noun.setdefault(noun, []).append(row)
                for noun, made in by_noun.items():
                    connection.execute(insert(TABLES[noun]), made)
                if act.seq % 500 == 0:
                    progress(len(manifest["files"]) + act.seq, len(manifest["files"]) + manifest["acts"])
            if previous != manifest["head"]:
                raise RecordError("does not end where the manifest says", where=str(source / LEDGER_FILE), mend=_MEND)
    finally:
        engine.dispose()
    with open_record(where) as record:
        found = verify(record)
    if found.faults:
        raise RecordError(f"was restored, but: {found.faults[0]}", where=where.says, mend="Restore it elsewhere.")
    return found


def _acts(path: Path) -> Iterator[Act]:
    with gzip.open(path, "rt", encoding="utf-8", newline="\n") as lines:
        for line in lines:
            told = json.loads(line)
            yield Act(**{name: told[name] for name in Act.__dataclass_fields__})


def _files_of(act: Act) -> set[str]:
    return {
        row[field] for noun, row in act.rows() for of, field in FILE_FIELDS if of == noun and row[field] is not None
    }
