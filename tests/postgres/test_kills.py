"""The server is killed with all its processes while a writer writes: what was promised is there, once and whole.

Limits: SIGKILL stops programs, not the kernel; what the disk would do at a loss of power is not tried here.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import pytest

from postgres.careless import Fault, careless
from postgres.kills import kill_often
from postgres.record_keeper import Charting, Importing, record_keeper
from postgres.server import OwnServer, Server, fresh_database
from slackwater.store import open_record
from slackwater.store.verify import verify

pytestmark = pytest.mark.postgres

KILLS = 15


@pytest.fixture
def killed(server: Server) -> Server:
    if not server.can_be_killed:
        pytest.skip("this server is not ours to kill")
    return server


@pytest.mark.parametrize("how", [Charting, Importing])
def test_what_was_promised_is_there_once_and_whole(
    killed: Server, database_url: str, how: type[Charting] | type[Importing]
):
    verdict = kill_often(killed, database_url, partial(record_keeper, how), KILLS)
    assert verdict.is_clean, f"{verdict}"
    with open_record(database_url) as record:
        verified = verify(record)
    assert verified.faults == ()
    assert verified.acts >= verdict.promised


def test_what_was_promised_is_there_even_on_a_server_set_to_answer_too_soon(
    server_set: Callable[..., OwnServer],
):
    # a kill then costs up to half a minute of what it answered
    forgetful = server_set(synchronous_commit="off", wal_writer_delay="10s")
    with fresh_database(forgetful) as url:
        verdict = kill_often(forgetful, url, partial(record_keeper, Charting), KILLS)
    assert verdict.is_clean, f"{verdict}"


@pytest.mark.parametrize(
    ("fault", "shows_as"),
    [("promises too soon", "lost"), ("commits row by row", "half"), ("does not know its acts again", "doubled")],
)
def test_a_careless_writer_is_caught(killed: Server, fault: Fault, shows_as: str):
    with fresh_database(killed) as url:
        verdict = kill_often(killed, url, partial(careless, fault), KILLS)
    assert getattr(verdict, shows_as) > 0, f"{verdict}"
