"""Whatever the behaviour tests ask of the ward's pages, they ask here again of a record on PostgreSQL.

Each file of tests/behaviour/web that writes has its twin here, of one line. The small ward is recorded once on the
server; every test gets a copy of that database, and of its files.
"""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import pytest
from psycopg import sql

from postgres.server import Server
from slackwater.store import open_record
from slackwater.store import record as store_record
from slackwater.store.accounts import account_of, put_account
from slackwater.store.backup import backup, restore
from slackwater.store.nouns import ROLES
from slackwater.store.place import FILES, Place, place_of
from ward import a_ward


@dataclass(frozen=True)
class Recorded:
    """The ward's database, to which nobody is connected, and its files."""

    database: str
    files: Path


@pytest.fixture(scope="session")
def recorded(server: Server, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Recorded]:
    folder = tmp_path_factory.mktemp("recorded")
    original = a_ward.recorded_ward(folder / "original")
    with a_database(server) as url, pytest.MonkeyPatch.context() as patch:
        patch.setenv(FILES, str(folder / "there"))
        with open_record(original) as record:
            backup(record, folder / "backup")
            accounts = [account_of(record, login=role) for role in ROLES]
        restore(folder / "backup", url)
        with open_record(url) as record:
            for account in accounts:
                assert account is not None
                put_account(record, account.person, account.login, account.password)
        yield Recorded(urlsplit(url).path.lstrip("/"), folder / "there")


@pytest.fixture(scope="module", autouse=True)
def wards_on_postgres(server: Server, recorded: Recorded) -> Iterator[None]:
    """For the tests of one file here: a ward's place is a copy on the server."""
    with ExitStack() as wards, pytest.MonkeyPatch.context() as patch:
        patch.setattr(a_ward, "place_in", lambda folder: wards.enter_context(a_copy(server, recorded, folder)))
        yield


@contextmanager
def a_copy(server: Server, recorded: Recorded, folder: Path) -> Iterator[Place]:
    files = folder / "record-files"
    shutil.copytree(recorded.files, files, copy_function=os.link)  # a file of the record is never written again
    with a_database(server, recorded.database) as url:
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv(FILES, str(files))
            place = place_of(url)
        yield place
        kept = store_record._opened.pop(place, None)  # a judge in this process keeps its record open
        if kept is not None:
            kept.close()


@contextmanager
def a_database(server: Server, like: str = "template1") -> Iterator[str]:
    """A copy of a database. A server of the tests' own goes whole: to drop them one by one would sync each."""
    name = f"slackwater_test_{secrets.token_hex(6)}"
    with psycopg.connect(server.url("postgres"), autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {} TEMPLATE {}").format(sql.Identifier(name), sql.Identifier(like)))
    yield server.url(name)
    if not server.can_be_killed:
        with psycopg.connect(server.url("postgres"), autocommit=True) as connection:
            connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """One case of each test that has many is enough here: what differs between them is the form, not the database."""
    seen: set[tuple[Path, str]] = set()
    for item in items:
        if item.path.parent != Path(__file__).parent or item.path.name == "test_twins.py":
            continue
        item.add_marker(pytest.mark.postgres)
        test = (item.path, item.name.partition("[")[0])
        if test in seen:
            item.add_marker(pytest.mark.skip(reason="one case of it runs here"))
        seen.add(test)
