"""The door to the database: SQLite so that a commit outlasts a loss of power, or PostgreSQL. One writer at a time."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, text
from sqlalchemy.exc import DBAPIError, InterfaceError, OperationalError

from slackwater.errors import MissingPart, NotWritten, RecordError
from slackwater.store.place import Place

_DAMAGED = "Is its name plain text? Else it is damaged: restore it from its backup."
WAIT_S = 60  # how long a writer waits for the others
_ONE_WRITER = "SELECT pg_advisory_xact_lock(7304117)"  # any number, the same for all writers of one database
_WAIT_AT_MOST = "SELECT set_config('lock_timeout', :wait, true) WHERE current_setting('lock_timeout') = '0'"
_FAULTS = ("disk", "full", "i/o", "readonly", "read-only", "unable to open", "malformed", "not a database")


def engine_of(place: Place) -> Engine:
    """An engine for `place`; nothing is opened yet."""
    if place.url is None:
        url = URL.create("sqlite", database=os.fspath(place.database))  # no letter of a folder's name is read
        engine = create_engine(url, connect_args={"timeout": WAIT_S, "check_same_thread": False})
        event.listen(engine, "connect", _set_sqlite)
        event.listen(engine, "begin", _begin)
        return engine
    try:
        engine = create_engine(place.url, pool_pre_ping=True, isolation_level="READ COMMITTED")
    except ImportError:
        raise MissingPart(
            "PostgreSQL needs the extra 'postgres'", mend="Install it: pip install 'slackwater[postgres]'."
        ) from None
    event.listen(engine, "connect", _set_postgres)
    return engine


def _set_sqlite(connection: Any, _: object) -> None:
    connection.isolation_level = None  # the driver must not begin or commit by itself
    cursor = connection.cursor()
    for setting, wanted in (("journal_mode", "wal"), ("synchronous", 2), ("foreign_keys", 1)):
        # fetched to its end: SQLite commits a change of journal after its row, and only then says that it failed
        cursor.execute(f"PRAGMA {setting} = {'FULL' if wanted == 2 else wanted}").fetchall()
        (found,) = cursor.execute(f"PRAGMA {setting}").fetchone()
        if found != wanted:
            raise RecordError(
                f"SQLite would not set {setting} to {wanted} but to {found}, so a commit might be lost",
                mend="Give a folder on this machine's own disk.",
            )
    cursor.close()


def _set_postgres(connection: Any, _: object) -> None:
    """As strict as SQLite is set: a commit is on the disk before it is answered, and every letter can be kept."""
    cursor = connection.cursor()
    for setting, wanted, why in (
        ("fsync", "on", "a commit might be lost"), ("server_encoding", "UTF8", "not every letter can be kept"),
    ):  # fmt: skip
        (found,) = cursor.execute("SELECT current_setting(%s)", (setting,)).fetchone()
        if found != wanted:
            raise RecordError(
                f"{setting} is {found} there, so {why}", where="the server", mend=f"Have it set to {wanted}."
            )
    cursor.execute(
        "SELECT set_config('synchronous_commit', 'on', false) WHERE current_setting('synchronous_commit') = 'off'"
    )
    connection.commit()
    cursor.close()


def _begin(connection: Connection) -> None:
    # A writer that began as a reader could not wait for its turn; it says so at once.
    writing = connection.get_execution_options().get("writing")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def name_of(engine: Engine) -> str:
    """The database as messages call it, without a password."""
    if engine.dialect.name == "sqlite":
        return os.fsencode(engine.url.database or "").decode("utf-8", "replace")
    return engine.url.render_as_string(hide_password=True)


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A connection that sees one moment of the record."""
    with _told(name_of(engine)):
        options = {} if engine.dialect.name == "sqlite" else {"isolation_level": "REPEATABLE READ"}
        with engine.connect().execution_options(**options) as connection, connection.begin():
            yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A connection that alone may write; committed where the block ends, rolled back where it fails."""
    with (
        _told(name_of(engine)),
        engine.connect().execution_options(writing=True) as connection,
        connection.begin(),
    ):
        if engine.dialect.name == "postgresql":
            connection.execute(text(_WAIT_AT_MOST), {"wait": f"{WAIT_S}s"})
            connection.execute(text(_ONE_WRITER))
        yield connection


@contextmanager
def _told(where: str) -> Iterator[None]:
    """Faults of disk and server in our words."""
    try:
        yield
    except UnicodeError as error:  # also a folder's name in bytes that are no UTF-8
        raise RecordError(f"cannot be read: {error}", where="the record", mend=_DAMAGED) from error
    except DBAPIError as error:
        said = " ".join(str(error.orig).split())
        if refused_by_guard(error):
            raise RecordError(said, where="the record", mend="Look at the record again.") from error
        if "database is locked" in said or type(error.orig).__name__ == "LockNotAvailable":
            raise NotWritten(
                f"another program has been writing for {WAIT_S} s", where=where, mend="Nothing was kept. Try again."
            ) from error
        if type(error.orig).__name__ == "InsufficientPrivilege":
            raise RecordError(
                f"this role may not do that: {said}", where=where, mend="Use the owner's role to set up and to upgrade."
            ) from error
        if error.connection_invalidated or any(word in said.lower() for word in _FAULTS) or _server(error):
            raise NotWritten(
                f"the record cannot be read or written: {said}",
                where=where,
                mend="What was acknowledged is kept; look whether the last entry is there before you enter it again.",
            ) from error
        raise


def refused_by_guard(error: DBAPIError) -> bool:
    """Whether a trigger of ours said no."""
    return any(words in str(error.orig) for words in ("append-only", "already paired"))


def _server(error: DBAPIError) -> bool:
    """Whether the server itself failed, or ended the work: which errors of SQLite's say so, is told by their words."""
    return isinstance(error, OperationalError | InterfaceError) and type(error.orig).__module__.startswith("psycopg")
