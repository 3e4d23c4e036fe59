"""Is the record what was recorded? The chain, every row against the ledger, every file against its name."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, func, select, text

from slackwater.errors import NotWritten
from slackwater.store import rows
from slackwater.store.acts import FIRST, Act, hash_of
from slackwater.store.files import Files
from slackwater.store.record import Record
from slackwater.store.tables import TABLES

# Fields that name a content kept as a file.
FILE_FIELDS = (("log", "sha256"), ("log", "layout"), ("table", "sha256"), ("protocol", "sha256"), ("entry", "source"))

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Verified:
    """What was looked at, and every fault found; no fault means that all of it is as it was recorded."""

    acts: int
    rows: int
    files: int
    head: str  # hash of the last act; print it, keep it elsewhere, and no past act can be rewritten unseen
    faults: tuple[str, ...]


def verify(record: Record, progress: Progress | None = None) -> Verified:
    """Read everything back. `progress(done, of)`: acts and files looked at.

    A fault says at which act or file the record stops being what was recorded.
    """
    faults: list[str] = []
    try:
        with record.reading() as connection:
            return _verify(connection, record.files, faults, progress or (lambda done, of: None))
    except NotWritten as error:  # the engine itself cannot read it
        return Verified(0, 0, 0, "", (*faults, str(error)))


def _verify(connection: Connection, files: Files, faults: list[str], progress: Progress) -> Verified:
    faults += _engine_says(connection)
    last = rows.head(connection)
    total = last.seq if last else 0
    previous, seq = FIRST, 0
    made: Counter[str] = Counter()
    named: set[str] = set()
    for act in rows.acts(connection):
        seq += 1
        fault = _chain_fault(act, seq, previous)
        if fault:
            faults.append(fault)
            seq = act.seq
        previous = act.hash
        faults += _row_faults(connection, act, made, named)
        if seq % 1000 == 0:
            progress(seq, total)
    for noun, table in TABLES.items():
        held = connection.execute(select(func.count()).select_from(table)).scalar_one()
        if held != made[noun]:
            faults.append(f"{noun}: {held} rows, but the ledger made {made[noun]}")
    for number, sha256 in enumerate(sorted(named), start=1):
        if not files.sound(sha256):
            faults.append(f"file {files.path(sha256)} is missing or is not what was recorded")
        progress(total + number, total + len(named))
    return Verified(seq, sum(made.values()), len(named), previous if total else "", tuple(faults))


def _engine_says(connection: Connection) -> Iterator[str]:
    if connection.dialect.name != "sqlite":
        return
    for (line,) in connection.execute(text("PRAGMA integrity_check")).all():
        if line != "ok":
            yield f"SQLite: {line}"


def _chain_fault(act: Act, seq: int, previous: str) -> str:
    if act.seq != seq:
        return f"act {seq} is missing (the next one is {act.seq})"
    if act.previous != previous:
        return f"act {seq} does not follow the act before it"
    if act.hash != hash_of(act.seq, act.at_ms, act.by, act.what, act.why, act.changes, act.previous):
        return f"act {seq} is not what was recorded"
    return ""


def _row_faults(connection: Connection, act: Act, made: Counter[str], named: set[str]) -> Iterator[str]:
    """Each row of the act as the table holds it."""
    by_noun: dict[str, list[dict[str, Any]]] = {}
    try:
        for noun, row in act.rows():
            by_noun.setdefault(noun, []).append(row)
    except (ValueError, KeyError, TypeError):
        return  # its hash has told it already
    for noun, wanted in by_noun.items():
        made[noun] += len(wanted)
        table = TABLES[noun]
        found = connection.execute(select(table).where(table.c.seq == act.seq)).all()
        held = {(row.key, row.version): dict(row._mapping) for row in found}
        for row in wanted:
            plain = {name: int(value) if isinstance(value, bool) else value for name, value in row.items()}
            if held.get((row["key"], row["version"])) != plain:
                yield f"{noun} {row['key']} version {row['version']} is not what act {act.seq} recorded"
            named |= {row[field] for of, field in FILE_FIELDS if of == noun and row[field]}
