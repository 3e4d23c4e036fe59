"""A server that others set up: what the record asks of it, and what it says when the server will not."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import psycopg
import pytest
from psycopg import conninfo, sql

from postgres.any_acts import MOMENT_MS
from postgres.server import OwnServer, Server, fresh_database
from slackwater.errors import NotWritten, RecordError
from slackwater.store import Record, engine, open_record
from slackwater.store.verify import verify

pytestmark = pytest.mark.postgres


ENTRY = {"episode": "stay", "item": "swing", "value": "present", "time_ms": MOMENT_MS}


def add(record: Record, key: str, **fields: str) -> None:
    with record.act(by="ward", what="charted") as act:
        act.add("entry", key, ENTRY | fields)


@contextmanager
def one_who_stands_still(url: str) -> Iterator[None]:
    """A writer in the middle of an act, until the block ends."""
    inside, enough = threading.Event(), threading.Event()

    def stand() -> None:
        with open_record(url) as record, record.act(by="slow", what="charted") as act:
            act.add("entry", "slow", ENTRY)
            inside.set()
            enough.wait()

    standing = threading.Thread(target=stand)
    standing.start()
    inside.wait()
    try:
        yield
    finally:
        enough.set()
        standing.join()


def test_many_who_make_the_record_at_once_make_one(database_url: str):
    def make(number: int) -> None:
        with open_record(database_url, create=True) as record:
            add(record, f"{number}")

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(make, range(8)))
    with open_record(database_url) as record:
        assert verify(record).acts == 8
        assert verify(record).faults == ()


@pytest.mark.parametrize("statement", ["UPDATE entry_rows SET value = ''", "DELETE FROM ledger", "TRUNCATE entry_rows"])
def test_the_server_itself_refuses_to_change_what_was_recorded(database_url: str, statement: str):
    with open_record(database_url, create=True) as record:
        add(record, "1")
    with psycopg.connect(database_url) as connection, pytest.raises(psycopg.errors.RaiseException, match="append-only"):
        connection.execute(statement)


def test_a_server_that_does_not_answer_is_told_without_its_password(server: Server):
    url = server.url("not_there")
    password = conninfo.conninfo_to_dict(url)["password"]
    with pytest.raises(NotWritten, match='database "not_there" does not exist') as told:
        open_record(url)
    assert password is not None
    assert password not in f"{told.value}"


def test_an_open_record_takes_acts_again_once_the_server_is_back(server: Server, database_url: str):
    if not server.can_be_killed:
        pytest.skip("this server is not ours to kill")
    with open_record(database_url, create=True) as record:
        add(record, "before")
        server.kill()
        try:
            with pytest.raises(NotWritten):
                add(record, "while it was gone")
            assert record.read_only_because
        finally:
            server.restart()
        add(record, "after")
        assert record.read_only_because is None
        assert [entry.key for entry in record.things("entry")] == ["after", "before"]


def test_many_who_try_again_at_once_do_not_stop_each_other(database_url: str):
    def try_again(number: int) -> None:
        with open_record(database_url) as record:
            for time_ in range(30):
                record.read_only_because = "the server was away"
                add(record, f"{number}-{time_}")

    with open_record(database_url, create=True) as record:
        record.files.put(b"a log")  # so that the folder is there
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(try_again, range(4)))


def test_a_writer_waits_for_the_others_only_so_long(database_url: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(engine, "WAIT_S", 1)
    with open_record(database_url, create=True) as record, one_who_stands_still(database_url):
        with pytest.raises(RecordError, match="another program has been writing"):
            add(record, "1")
        assert record.things("entry") == ()  # and reading never waits


@pytest.mark.parametrize("limit", ["lock_timeout", "statement_timeout"])
def test_a_limit_that_the_server_sets_is_told_in_our_words(database_url: str, limit: str):
    open_record(database_url, create=True).close()
    with (
        one_who_stands_still(database_url),
        open_record(f"{database_url}?options=-c%20{limit}%3D200") as hurried,
        pytest.raises(RecordError),
    ):
        add(hurried, "1")


def test_a_role_without_rights_is_told_in_our_words(server: Server, database_url: str):
    with open_record(database_url, create=True):
        pass
    database = conninfo.conninfo_to_dict(database_url)["dbname"]
    with psycopg.connect(database_url, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE ROLE {} LOGIN PASSWORD 'invented'").format(sql.Identifier(f"{database}")))
    try:
        stranger = conninfo.conninfo_to_dict(server.url("postgres")) | {"user": database, "password": "invented"}
        with pytest.raises(RecordError, match="permission denied"):
            open_record("postgresql://{user}:{password}@{host}:{port}/{user}".format(**stranger))
    finally:
        with psycopg.connect(database_url, autocommit=True) as connection:
            connection.execute(sql.SQL("DROP ROLE {}").format(sql.Identifier(f"{database}")))


def test_a_database_that_cannot_hold_every_letter_is_refused(server: Server):
    with psycopg.connect(server.url("postgres"), autocommit=True) as connection:
        connection.execute(
            "CREATE DATABASE few_letters ENCODING 'LATIN1' LOCALE 'C' LOCALE_PROVIDER libc TEMPLATE template0"
        )
        try:
            with pytest.raises(RecordError, match="UTF8"):
                open_record(server.url("few_letters"), create=True).close()
        finally:
            connection.execute("DROP DATABASE few_letters WITH (FORCE)")


def test_a_server_that_does_not_sync_is_refused(server_set: Callable[..., OwnServer]):
    with fresh_database(server_set(fsync="off")) as url, pytest.raises(RecordError, match="fsync"):
        open_record(url, create=True).close()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE ledger SET why = 'another' WHERE seq = 2",
        "DELETE FROM ledger WHERE seq = 2",
        "UPDATE entry_rows SET value = 'absent' WHERE key = '2'",
        "DELETE FROM entry_rows WHERE key = '2'",
        "UPDATE entry_rows SET time_ms = time_ms + 1 WHERE key = '2'",
    ],
)
def test_what_an_administrator_changes_behind_the_guards_is_found(database_url: str, statement: str):
    with open_record(database_url, create=True) as record:
        for key in "123":
            add(record, key)
        assert verify(record).faults == ()
        with psycopg.connect(database_url) as connection:
            connection.execute("SET session_replication_role = replica")  # no trigger fires, no key is checked
            connection.execute(statement)
        assert verify(record).faults


@pytest.mark.parametrize(
    "statement",
    [
        "DROP TRIGGER ledger_append_only ON ledger",
        "ALTER TABLE ledger DISABLE TRIGGER ledger_append_only",
        "ALTER TABLE ledger ENABLE REPLICA TRIGGER ledger_append_only",
    ],
)
def test_a_guard_that_was_taken_down_is_found(database_url: str, statement: str):
    with open_record(database_url, create=True) as record:
        add(record, "1")
        with psycopg.connect(database_url) as connection:
            connection.execute(statement)
        assert verify(record).faults
