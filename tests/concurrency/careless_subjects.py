"""Two records that are wrong on purpose: the load and its judge must catch both."""

from __future__ import annotations

import sqlite3
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import psycopg

from concurrency.history import Found, Held
from concurrency.load import MADE

TABLES = """CREATE TABLE IF NOT EXISTS hold (key TEXT, version INTEGER, token TEXT, after TEXT);
CREATE TABLE IF NOT EXISTS entry (list TEXT, token TEXT);"""


HESITATES_S = 0.002  # between reading and writing, so that the others surely come between


class Careless:
    """Reads, then writes: in a deferred transaction, asking nothing about versions. The suite must catch it."""

    def __init__(self, run: Any, mark: str) -> None:
        self._run = run
        self._mark = mark

    def make(self, holds: Sequence[str]) -> None:
        for statement in TABLES.split(";")[:2]:
            self._run(statement)
        for hold in holds:
            self._add("hold", hold, 1, MADE, "")

    def append(self, list_: str, token: str) -> None:
        self._run("BEGIN")
        try:
            self._run("SELECT count(*) FROM entry").fetchone()
            time.sleep(HESITATES_S)
            self._add("entry", list_, token)
            self._run("COMMIT")
        except Exception:
            self._run("ROLLBACK")
            raise

    def look(self, hold: str) -> tuple[int, str]:
        newest = f"SELECT version, token FROM hold WHERE key = {self._mark} ORDER BY version DESC LIMIT 1"
        return self._run(newest, (hold,)).fetchone()

    def edit(self, hold: str, version: int, held: str, list_: str, token: str) -> None:
        time.sleep(HESITATES_S)
        self._run("BEGIN")
        try:
            self._add("hold", hold, version + 1, token, held)
            self._add("entry", list_, token)
            self._run("COMMIT")
        except Exception:
            self._run("ROLLBACK")
            raise

    def read(self, list_: str) -> tuple[str, ...]:
        rows = self._run(f"SELECT token FROM entry WHERE list = {self._mark}", (list_,)).fetchall()
        return tuple(token for (token,) in rows)

    def everything(self) -> Found:
        lists, holds = defaultdict(list), defaultdict(list)
        for list_, token in self._run("SELECT list, token FROM entry").fetchall():
            lists[list_].append(token)
        for hold, version, token, after in self._run("SELECT * FROM hold ORDER BY key, version").fetchall():
            holds[hold].append(Held(version, token, after))
        return Found(lists, holds)

    def _add(self, table: str, *values: object) -> None:
        self._run(f"INSERT INTO {table} VALUES ({', '.join([self._mark] * len(values))})", values)


@contextmanager
def careless_sqlite(place: str) -> Iterator[Careless]:
    connection = sqlite3.connect(place, timeout=5, isolation_level=None)  # BEGIN is then ours, and deferred
    connection.execute("PRAGMA journal_mode = WAL")
    try:
        yield Careless(connection.execute, "?")
    finally:
        connection.close()


@contextmanager
def careless_postgres(place: str) -> Iterator[Careless]:
    with psycopg.connect(place, autocommit=True) as connection:
        yield Careless(connection.execute, "%s")
