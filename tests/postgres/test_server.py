"""The server under the tests is what it says: really killed, really back, and never somebody else's."""

from __future__ import annotations

from pathlib import Path

import psycopg
import pytest

from postgres import server as served
from postgres.server import GivenServer, NoServer, Server, find_server, fresh_database

pytestmark = pytest.mark.postgres


def test_a_killed_server_is_gone_and_comes_back_with_what_was_committed(server: Server, database_url: str):
    if not server.can_be_killed:
        pytest.skip("this server is not ours to kill")
    with psycopg.connect(database_url) as connection:
        connection.execute("CREATE TABLE kept (number INT)")
    server.kill()
    with pytest.raises(psycopg.OperationalError, match="refused"):
        psycopg.connect(database_url)
    server.restart()
    with psycopg.connect(database_url) as connection:
        assert connection.execute("SELECT count(*) FROM kept").fetchone() == (0,)


def test_each_test_has_an_empty_database_that_is_gone_afterwards(server: Server):
    with fresh_database(server) as url, psycopg.connect(url) as connection:
        tables = "SELECT count(*) FROM information_schema.tables WHERE table_schema = 'public'"
        assert connection.execute(tables).fetchone() == (0,)
    with pytest.raises(psycopg.OperationalError, match="does not exist"):
        psycopg.connect(url)


def test_a_server_that_was_given_is_used_and_never_killed(server: Server, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("TEST_DATABASE_URL", server.url("anything"))
    given = find_server()
    assert isinstance(given, GivenServer)
    assert not given.can_be_killed
    with pytest.raises(NoServer):
        given.kill()
    with fresh_database(given) as url, psycopg.connect(url) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)


def test_without_programs_the_reason_says_what_to_install(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(served, "DEBIAN", Path("/nowhere"))
    monkeypatch.setenv("PATH", "/nowhere")
    monkeypatch.delenv("TEST_DATABASE_URL", raising=False)
    with pytest.raises(NoServer, match="install"):
        find_server()
