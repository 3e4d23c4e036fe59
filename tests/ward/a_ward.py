"""A small recorded ward with people who may log in, and a browserless way to be one of them. Everything is invented."""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from unittest.mock import patch

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.testclient import TestClient

from slackwater.episode.episode import read_episode
from slackwater.protocol.shipped import shipped_bytes
from slackwater.reading.layout import Layout
from slackwater.simulate import scenario, simulate
from slackwater.simulate.unit_types import PEBBLE
from slackwater.store import open_record
from slackwater.store.accounts import put_account
from slackwater.store.acts import key_of
from slackwater.store.nouns import ROLES
from slackwater.store.place import Place, place_of
from slackwater.store.take_in import Bundle, GivenLog, take_in
from slackwater.web import judges, looks
from slackwater.web.app import create_app
from slackwater.web.passwords import hashed
from slackwater.web.settings import Settings

NOW = datetime(2041, 3, 7, 9, 0, tzinfo=UTC)
NOW_MS = int(NOW.timestamp() * 1000)
PASSWORD = "four invented words"
STAYS = (  # scenario, hours until now, patient, rule
    ("healing", 40.0, "W-1", "air-50-8h"),
    ("plateau", 26.0, "W-2", "air-50-8h"),
    ("recurring", 30.0, "W-3", "strict-local"),
    ("pneumonectomy", 20.0, "W-4", None),
)
CHARTED = "W-5/1"  # a drain without a log


class Clock:
    """The ward's moment, which a test may move."""

    def __init__(self, ms: int = NOW_MS) -> None:
        self.ms = ms

    def __call__(self) -> int:
        return self.ms


def bundle(name: str, hours: float, patient: str, rule: str | None) -> Bundle:
    plan = scenario(name)
    plan = replace(
        plan, hours=hours, start=NOW - timedelta(hours=hours), zone="UTC", unit=PEBBLE,
        patient=replace(plan.patient, id=patient), faults=tuple(f for f in plan.faults if f.end_s < hours * 3600),
    )  # fmt: skip
    stay = simulate(plan, 1)
    layout = Layout.from_toml(stay.layout_toml, "layout.toml")
    return Bundle(
        patient, read_episode(stay.episode_toml.encode(), "episode.toml"),
        tuple(GivenLog(f"log-{n}.csv", log, layout) for n, log in enumerate(stay.logs, 1)),
        (("chart.csv", stay.chart_csv.encode()),), "UTC",
        None if rule is None else (f"{rule}.toml", shipped_bytes(rule)),
    )  # fmt: skip


@cache
def _recorded() -> Path:
    """The ward, recorded once for all tests of this process; and one person of every role."""
    folder = Path(tempfile.mkdtemp(prefix="ward-")) / "record"
    with open_record(folder, create=True, clock=Clock(NOW_MS - 60_000)) as record:
        for one in STAYS:
            take_in(record, bundle(*one), by="tests")
        take_in(record, _charted_only(), by="tests")
        password = hashed(PASSWORD)
        for role in ROLES:
            with record.act(by="tests", what="entered") as act:
                act.add("person", key_of("person", role), {"name": f"Invented {role}".replace("_", " "), "role": role})
            put_account(record, key_of("person", role), role, password)
    return folder


def _charted_only() -> Bundle:
    at = (NOW - timedelta(hours=5)).isoformat()
    chart = f"time,item,value,unit,note,drain\n{at},swing,present,,,1\n{at},fluid_output,40,mL,,1\n"
    episode = '[patient]\nid = "W-5"\n[drain]\nnumber = "1"\nside = "left"\nspace = "pleural"\n'
    return Bundle("W-5", read_episode(episode.encode(), "episode.toml"), charts=(("chart.csv", chart.encode()),))


def recorded_ward(to: Path) -> Path:
    """A copy of the recorded ward."""
    shutil.copytree(_recorded(), to)
    return to


def place_in(folder: Path) -> Place:
    """Where a test's copy of the ward lies. tests/postgres/web puts a database here."""
    return place_of(recorded_ward(folder / "record"))


class Here:
    """Judges that answer in this process."""

    async def ask(self, function: Callable[..., Any], asked: judges.Asked) -> Any:
        return await run_in_threadpool(judges._answer, function, asked)

    async def work(self, function: Callable[..., Any], *given: Any) -> Any:
        return function(*given)

    def close(self) -> None:
        judges._found.clear()


@contextmanager
def a_ward(
    folder: Path, clock: Clock | None = None, here: bool = False, **settings: Any
) -> Iterator[tuple[FastAPI, TestClient]]:
    """The ward's server over a copy of the record in `folder`, and a client that nobody is logged in at.

    here: answers are worked out in this process, from the start: judges that were exchanged under a board at work
    would take their last questions with them.

    Who looked is written at its close, or where a test asks for it (`app.state.looks.flush()`): written every two
    seconds, an act of its own would come between two readings of the record that a test holds against one another.
    """
    with patch.object(looks, "EVERY_S", 3600.0):
        app = create_app(Settings(place_in(folder), clock=clock or Clock(), **{"secure": False, **settings}))
    if here:
        app.state.judges.close()
        app.state.judges = Here()
    with TestClient(app, follow_redirects=False) as client:
        yield app, client


def signed_in(client: TestClient, role: str = "nurse") -> str:
    """Log in as the invented person of that role; returns the token that forms carry."""
    client.cookies.clear()
    answer = client.post("/login", data={"login": role, "password": PASSWORD})
    assert answer.status_code == 303, answer.text
    return token(client)


def token(client: TestClient) -> str:
    found = re.search(r'name="csrf" value="([^"]+)"', client.get("/").text)
    assert found is not None
    return found[1]
