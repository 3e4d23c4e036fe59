"""Is the record what was recorded? The chain, every row against the ledger, every file against its name."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select, text

from slackwater.errors import NotWritten
from slackwater.store import rows
from slackwater.store.acts import FIRST, Act, hash_of
from slackwater.store.files import Files
from slackwater.store.guards import missing_guards
from slackwater.store.record import Record
from slackwater.store.tables import TABLES

# Fields that name a content kept as a file.
FILE_FIELDS = (
    ("log", "sha256"), ("log", "layout"), ("table", "sha256"), ("protocol", "sha256"), ("entry", "source"),
    ("sealed", "sha256"),
)  # fmt: skip

Progress = Callable[[int, int], None]
_Key = tuple[str, int]


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
    previous, seq, looked_at = FIRST, 0, 0
    held = {noun: _Held(connection, noun) for noun in TABLES}
    named: set[str] = set()
    for act in rows.acts(connection):
        seq += 1
        fault = _chain_fault(act, seq, previous)
        if fault:
            faults.append(fault)
            seq = act.seq
        previous = act.hash
        made = _made(act)
        for noun, table in held.items():
            faults += table.faults(act.seq, made.get(noun, {}))
        looked_at += sum(len(one) for one in made.values())
        named |= {row[field] for noun, field in FILE_FIELDS for row in made.get(noun, {}).values() if row[field]}
        if seq % 1000 == 0:
            progress(seq, total)
    for table in held.values():
        faults += table.left()
    for number, sha256 in enumerate(sorted(named), start=1):
        if not files.sound(sha256):
            faults.append(f"file {files.path(sha256)} is missing or is not what was recorded")
        progress(total + number, total + len(named))
    faults += [f"the guard {name} of the database is gone" for name in missing_guards(connection)]
    return Verified(seq, looked_at, len(named), previous if total else "", tuple(faults))


class _Held:
    """One table's rows, read once in the order of the acts that made them, beside the ledger."""

    def __init__(self, connection: Connection, noun: str) -> None:
        table = TABLES[noun]
        query = select(table).order_by(table.c.seq, table.c.key, table.c.version)
        self._noun = noun
        self._rows = iter(connection.execute(query, execution_options={"yield_per": 2000}).mappings())
        self._next = next(self._rows, None)

    def faults(self, seq: int, wanted: Mapping[_Key, dict[str, Any]]) -> Iterator[str]:
        """What differs between the rows that are held for this act (and any before it) and those that it made."""
        left = dict(wanted)
        while self._next is not None and self._next["seq"] <= seq:
            row = dict(self._next)
            self._next = next(self._rows, None)
            expected = left.pop((row["key"], row["version"]), None)
            if expected is None:
                yield f"{self._noun} {row['key']} version {row['version']} is in no act"
            elif row != expected:
                yield f"{self._noun} {row['key']} version {row['version']} is not what act {seq} recorded"
        for key, version in left:
            yield f"{self._noun} {key} version {version} of act {seq} is missing"

    def left(self) -> Iterator[str]:
        """Rows behind the last act."""
        while self._next is not None:
            yield f"{self._noun} {self._next['key']} version {self._next['version']} is in no act"
            self._next = next(self._rows, None)


def _made(act: Act) -> dict[str, dict[_Key, dict[str, Any]]]:
    """The rows that an act made, by noun; none where it cannot be read, which its hash has told already."""
    found: dict[str, dict[_Key, dict[str, Any]]] = {}
    try:
        for noun, row in act.rows():
            plain = {name: int(value) if isinstance(value, bool) else value for name, value in row.items()}
            found.setdefault(noun, {})[(row["key"], row["version"])] = plain
    except (ValueError, KeyError, TypeError):
        return {}
    return found


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
