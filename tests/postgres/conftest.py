"""One server for all tests here, and an empty database for each."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NoReturn

import pytest

from postgres.server import NoServer, OwnServer, Server, find_server, fresh_database, programs
from slackwater.store.place import FILES


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    try:
        found = find_server()
    except NoServer as reason:
        _is_absent(reason)
    yield found
    found.stop()


@pytest.fixture
def server_set() -> Iterator[Callable[..., OwnServer]]:
    """Start another server, of other settings: server_set(fsync="off")."""
    started: list[OwnServer] = []

    def start(**settings: str) -> OwnServer:
        try:
            started.append(OwnServer(programs(), **settings))
        except NoServer as reason:
            _is_absent(reason)
        started[-1].start()
        return started[-1]

    yield start
    for one in started:
        one.stop()


def _is_absent(reason: NoServer) -> NoReturn:
    if os.environ.get("CI"):
        pytest.fail(f"{reason}")  # where it must be there, its absence is a fault
    pytest.skip(f"{reason}")


@pytest.fixture
def database_url(server: Server) -> Iterator[str]:
    with fresh_database(server) as url:
        yield url


@pytest.fixture(autouse=True)
def files_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A record on a server keeps its files in this user's data folder, unless it is told another."""
    monkeypatch.setenv(FILES, f"{tmp_path / 'files'}")
