"""Writers that break one promise each; the kills must catch every one."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Literal

import psycopg

from postgres.kills import ROWS_AN_ACT, Gone

Fault = Literal["promises too soon", "commits row by row", "does not know its acts again"]


class CarelessKeeper:
    def __init__(self, connection: psycopg.Connection, fault: Fault) -> None:
        self._connection = connection
        self._fault = fault
        self._run("CREATE TABLE IF NOT EXISTS kept (number INT)")
        self._connection.commit()

    def keep(self, number: int) -> None:
        if self._fault == "promises too soon" and number % 20 == 0:
            self._connection.commit()  # of the twenty acts before this one
        if self._fault != "does not know its acts again" and number in self.kept():
            return
        for _ in range(ROWS_AN_ACT):
            self._run("INSERT INTO kept VALUES (%s)", number)
            if self._fault == "commits row by row":
                self._connection.commit()
        if self._fault != "promises too soon":
            self._connection.commit()
        if self._fault == "does not know its acts again":
            # it shows only where the kill falls between the commit and the promise: that takes most of its time here
            self._run("SELECT pg_sleep(0.02)")

    def kept(self) -> list[int]:
        return [number for (number,) in self._run("SELECT number FROM kept").fetchall()]

    def _run(self, statement: str, *values: int) -> psycopg.Cursor:
        return self._connection.execute(statement, values)


@contextmanager
def careless(fault: Fault, url: str) -> Iterator[CarelessKeeper]:
    try:
        with psycopg.connect(url) as connection:
            yield CarelessKeeper(connection, fault)
    except psycopg.OperationalError as error:
        raise Gone from error
