"""The record: opened, read as known at a moment, and changed by acts, each whole or not at all."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from uuid import uuid4

from sqlalchemy import Connection, Engine, insert
from sqlalchemy.exc import IntegrityError

from slackwater.errors import NotWritten, RecordError, StaleError
from slackwater.quantities.spans import HOUR_MS
from slackwater.store import checks, migrate, rows
from slackwater.store.acts import FIRST, Act, Change, act_of, row_of
from slackwater.store.engine import engine_of, reading, refused_by_guard, writing
from slackwater.store.files import Files, make_folder, sync_folder, write_durably
from slackwater.store.nouns import NOUNS, Value
from slackwater.store.place import Place, place_of, refuse_network
from slackwater.store.rows import Thing
from slackwater.store.tables import LEDGER, TABLES

Clock = Callable[[], int]


def utc_ms() -> int:
    """This moment. [UTC ms]"""
    return time.time_ns() // 1_000_000


class Record:
    """One record, open. Use `open_record`; close it, or use it as a context manager.

    `read_only_because` says why it takes nothing after disk or server failed. The next act tries
    again: where that holds, the reason goes away by itself.
    """

    def __init__(self, place: Place, engine: Engine, clock: Clock) -> None:
        self.place = place
        self.files = Files(place.folder / "files")
        self.read_only_because: str | None = None
        self._engine = engine
        self._clock = clock

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        self._engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Several reads of one moment of the record."""
        with reading(self._engine) as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """The only writer for a while, for what is no part of the ledger: accounts and sessions."""
        with writing(self._engine) as connection:
            yield connection

    def now_ms(self) -> int:
        """This moment, by the record's own clock. [UTC ms]"""
        return self._clock()

    def things(
        self, noun: str, of: Mapping[str, Value] | None = None, *, known_ms: int | None = None, gone: bool = False
    ) -> tuple[Thing, ...]:
        """The latest version of each thing of a noun, as known at `known_ms` (UTC ms; None: now)."""
        with self.reading() as connection:
            return rows.things(connection, noun, of, known_ms=known_ms, gone=gone)

    def thing(self, noun: str, key: str, *, known_ms: int | None = None) -> Thing | None:
        """One thing, or None where it is not, not yet or no longer there."""
        with self.reading() as connection:
            found = rows.things(connection, noun, known_ms=known_ms, keys=[key])
            return found[0] if found else None

    def head(self) -> Act | None:
        """The last act."""
        with self.reading() as connection:
            return rows.head(connection)

    @contextmanager
    def act(self, *, by: str, what: str, why: str = "", even_if_empty: bool = False) -> Iterator[Acting]:
        """One act: what is added, changed and taken back in the block is recorded together, or not at all.

        by: who does it. what: in a word or two. why: the reason, where there is one to give.
        When the block ends it is on the disk. An act without a change is recorded only with `even_if_empty`.
        Raises StaleError where another act was quicker, NotWritten where disk or server failed.
        """
        if not by.strip() or not what.strip():
            raise RecordError("an act needs who did it and what", mend="Give by= and what=.")
        for name, text, longest in (("by", by, 500), ("what", what, 500), ("why", why, 10_000)):
            checks.plain(text, f"an act, {name}", longest)
        if self.read_only_because is not None:
            self._try_again()
        try:
            with writing(self._engine) as connection:
                acting = Acting(connection, self._clock())
                yield acting
                acting.seal(by, what, why, even_if_empty)
        except IntegrityError as error:
            raise StaleError(
                "another one recorded the same thing meanwhile", where=what, mend="Look at it, then enter it again."
            ) from error
        except NotWritten as error:
            # Not disposed of yet: on a full disk SQLite could not open again, and nobody could read either.
            self.read_only_because = str(error)
            raise

    def _try_again(self) -> None:
        """Write, sync and take away a little file; then begin anew from what is on the disk."""
        probe = self.place.folder / f"write-probe-{uuid4().hex}"  # several may try at once
        try:
            make_folder(self.place.folder)
            write_durably(probe, bytes(65_536))
            probe.unlink()
        except OSError as error:
            raise NotWritten(
                f"is read-only: {self.read_only_because} (still: {error.strerror})", where=self.place.says
            ) from error
        self._engine.dispose()
        self.read_only_because = None


class Acting:
    """An act while it is being made. Rows are written as they come, the ledger's line at the end."""

    def __init__(self, connection: Connection, now_ms: int) -> None:
        self.connection = connection
        before = rows.head(connection)
        self.seq = before.seq + 1 if before else 1
        self._previous = before.hash if before else FIRST
        self.at_ms = _recorded_at(now_ms, before.at_ms if before else None)
        self._changes: list[Change] = []

    def things(
        self,
        noun: str,
        of: Mapping[str, Value] | None = None,
        *,
        keys: Iterable[str] | None = None,
        gone: bool = False,
    ) -> tuple[Thing, ...]:
        """What the record holds at this point of the act."""
        return rows.things(self.connection, noun, of, keys=keys, gone=gone)

    def thing(self, noun: str, key: str) -> Thing | None:
        found = self.things(noun, keys=[key])
        return found[0] if found else None

    def add(self, noun: str, key: str, fields: Mapping[str, Value], *, happened_ms: int | None = None) -> None:
        """A new thing. Raises StaleError if `key` was used before, even for a thing that was taken back."""
        self.add_all(noun, [(key, fields)], happened_ms=happened_ms)

    def add_all(
        self, noun: str, new: Sequence[tuple[str, Mapping[str, Value]]], *, happened_ms: int | None = None,
        each_ms: Mapping[str, int | None] | None = None,
    ) -> None:  # fmt: skip
        """Many new things of one noun. `each_ms`: when each happened, by its key, where that differs."""
        checks.moment(happened_ms, f"{noun}, happened")
        changes = []
        for key, fields in new:
            checks.plain(key, f"{noun}, key", 200)
            at_ms = happened_ms if each_ms is None else each_ms[key]
            changes.append(Change(noun, key, 1, checks.known(noun, key, fields), happened_ms=at_ms))
        if noun in checks.CHECKS:  # each must see the one before it
            for change in changes:
                self._keep([change])
        else:
            self._keep(changes)

    def change(
        self, noun: str, key: str, fields: Mapping[str, Value], *, version: int, happened_ms: int | None = None
    ) -> None:
        """Another version of a thing: `fields` are the ones that change (None: no longer known).

        `version`: the one that was seen. Raises StaleError if there is a later one by now.
        """
        checks.moment(happened_ms, f"{noun} {key}, happened")
        seen = self._seen(noun, key, version)
        new = checks.known(noun, key, {**seen.fields, **fields})
        changed = [one.name for one in NOUNS[noun].fields if new.get(one.name) != seen.fields[one.name]]
        checks.fixed(noun, key, changed)
        if changed:
            old = {name: seen.fields[name] for name in changed}
            self._keep([Change(noun, key, version + 1, new, old, happened_ms=happened_ms)])

    def take_back(self, noun: str, key: str, *, version: int) -> None:
        """A tombstone: the thing no longer counts; all that was said of it stays."""
        seen = self._seen(noun, key, version)
        new = {name: value for name, value in seen.fields.items() if value is not None}
        self._keep([Change(noun, key, version + 1, new, gone=True, happened_ms=seen.happened_ms)])

    def seal(self, by: str, what: str, why: str, even_if_empty: bool) -> Act | None:
        """Write the ledger's line. Called once, by `Record.act`."""
        if not self._changes and not even_if_empty:
            return None
        act = act_of(self.seq, self.at_ms, by, what, why, self._changes, self._previous)
        self.connection.execute(insert(LEDGER), [vars(act)])
        return act

    def _seen(self, noun: str, key: str, version: int) -> Thing:
        found = self.things(noun, keys=[key], gone=True)
        if not found:
            raise RecordError(f"there is no {noun} {key}", mend="See: slackwater record list.")
        if found[0].version != version:
            raise StaleError(
                f"{noun} {key} was changed meanwhile (version {found[0].version}, you saw {version})",
                mend="Look at it, then enter it again.",
            )
        if found[0].gone:
            raise RecordError(f"{noun} {key} was taken back", mend="Enter a new one.")
        return found[0]

    def _keep(self, changes: Sequence[Change]) -> None:
        if not changes:
            return
        noun = changes[0].noun
        checks.before(self.connection, noun, changes)
        new: list[dict[str, Any]] = [row_of(change.as_dict(), self.seq, self.at_ms) for change in changes]
        try:
            # PostgreSQL ends the whole act at a refusal, SQLite that one statement: so that both may go on
            postgres = self.connection.dialect.name == "postgresql"
            with self.connection.begin_nested() if postgres else nullcontext():
                self.connection.execute(insert(TABLES[noun]), new)
        except IntegrityError as error:
            if refused_by_guard(error):
                raise
            raise StaleError(
                "another one recorded the same thing meanwhile", where=noun, mend="Look at it, then enter it again."
            ) from error
        self._changes += changes


_CLOCK_SLIPS_MS = HOUR_MS


def _recorded_at(now_ms: int, before_ms: int | None) -> int:
    """When an act is recorded: later than the act before, so that what was known at a moment never changes.

    Only where the act before lies more than an hour ahead, its clock was wrong, and this one's is believed.
    """
    if before_ms is None or now_ms > before_ms or before_ms - now_ms > _CLOCK_SLIPS_MS:
        return now_ms
    return before_ms + 1


_opened: dict[Place, Record] = {}


def opened(place: Place) -> Record:
    """The record at `place`, opened once a process and kept: for processes that work out one drain after the other."""
    if place not in _opened:
        _opened[place] = open_record(place)
    return _opened[place]


def open_record(
    place: str | os.PathLike[str] | Place | None = None, *, create: bool = False, clock: Clock = utc_ms
) -> Record:
    """Open the record at `place`: a folder, postgresql://..., or None for the usual one of this user.

    create: make it where there is none. clock: gives this moment in UTC ms. An older record is brought
    up to date, SQLite's after a copy of it was put beside it. Raises RecordError where there is no record,
    where it lies on a network share, and where a newer program wrote it.
    """
    where = place if isinstance(place, Place) else place_of(place)
    if where.sqlite:
        refuse_network(where.folder)
        if not create and not where.database.exists():
            raise RecordError(
                "there is no record here", where=where.says, mend="Record a drain first: slackwater record FOLDER."
            )
        _folder(where)
    engine = engine_of(where)
    try:
        found = migrate.revision(engine)
        migrate.refuse_newer(found, engine)
        if found is None and not create:
            raise RecordError(
                "there is no record here", where=where.says, mend="Record a drain first: slackwater record FOLDER."
            )
        if found != migrate.REVISIONS[-1]:
            if found is not None and where.sqlite:
                _copy_beside(engine, where)
            migrate.upgrade(engine)
        if where.sqlite:
            _sync(where.folder)  # SQLite does not say when it could not make the name of its -wal certain
    except BaseException:
        engine.dispose()
        raise
    return Record(where, engine, clock)


def _folder(place: Place) -> None:
    """The folder and an empty database in it, for this user's eyes alone."""
    try:
        make_folder(place.folder)
        if not place.database.exists():
            os.close(os.open(place.database, os.O_CREAT | os.O_RDWR, 0o600))
    except OSError as error:
        raise NotWritten(f"cannot be made: {error.strerror}", where=place.says, mend="Check the rights.") from error


def _copy_beside(engine: Engine, place: Place) -> None:
    """The database as it was, whole, before its tables change."""
    copy = place.folder / f"record.before-{migrate.REVISIONS[-1]}.sqlite"
    temporary = copy.with_suffix(".new")
    try:
        temporary.unlink(missing_ok=True)
        with engine.connect() as connection:
            raw: Any = connection.connection.driver_connection
            raw.execute("VACUUM INTO ?", (str(temporary),))
        os.replace(temporary, copy)
        sync_folder(place.folder)
    except (OSError, sqlite3.Error) as error:
        raise NotWritten(
            f"the copy from before the change of its tables cannot be written: {error}", where=str(copy),
            mend="Nothing was changed. Make room or mend the disk, then open it again.",
        ) from error  # fmt: skip


def _sync(folder: Path) -> None:
    try:
        sync_folder(folder)
    except OSError as error:
        raise NotWritten(f"cannot be made certain: {error.strerror}", where=str(folder)) from error
