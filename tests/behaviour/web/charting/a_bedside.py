"""The small ward for tests of charting: its judges answer in this process, which is quicker. Everything is invented."""

from __future__ import annotations

import html
import itertools
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from starlette.testclient import TestClient

from slackwater.store.acts import key_of
from slackwater.store.rows import Thing
from ward.a_ward import NOW_MS, Clock, a_ward, signed_in

LOGGED = key_of("drain", key_of("patient", "W-1"), "1")  # a healing drain with a unit's log
LEAKING = key_of("drain", key_of("patient", "W-2"), "1")
NO_LUNG = key_of("drain", key_of("patient", "W-4"), "1")  # after pneumonectomy
CHARTED = key_of("drain", key_of("patient", "W-5"), "1")  # no log; its operation and site are not recorded
AT = "2041-03-07T09:00"
HOSTILE = "\"><script>alert(1)</script>'{{7*7}}${7*7}<img src=x onerror=alert(2)>"

_numbers = itertools.count(1)


class Bedside:
    """One person at the ward. `post` fills in what every form carries."""

    def __init__(self, app: FastAPI, client: TestClient, clock: Clock) -> None:
        self.app, self.client, self.clock = app, client, clock
        self.role = self.csrf = ""

    def as_(self, role: str) -> Bedside:
        self.role, self.csrf = role, signed_in(self.client, role)
        return self

    def later(self, minutes: int) -> None:
        """So much later; the screen was locked meanwhile, so the same person logs in again."""
        self.clock.ms += minutes * 60_000
        self.as_(self.role)

    def get(self, path: str) -> Any:
        return self.client.get(path)

    def post(self, path: str, *, once: str = "", **said: str) -> Any:
        """`once`: the form's own key; a fresh one where none is given."""
        whole = {"at": AT, "csrf": self.csrf, "once": once or f"form-key-{next(_numbers):04d}", **said}
        return self.client.post(path, data=whole)

    def things(self, noun: str, drain: str) -> tuple[Thing, ...]:
        return self.app.state.record.things(noun, {"drain": drain})

    def rows(self, drain: str) -> dict[str, Thing]:
        """Chart rows that this ward's staff recorded here, by item."""
        return {one["item"]: one for one in self.all_rows(drain)}

    def all_rows(self, drain: str) -> list[Thing]:
        tube = self.app.state.record.thing("drain", drain)
        rows = self.app.state.record.things("entry", {"episode": tube["episode"]})
        return [one for one in rows if (one["written_by"] or "").startswith("Invented")]


@contextmanager
def a_bedside(folder: Path, role: str = "nurse") -> Iterator[Bedside]:
    clock = Clock()
    with a_ward(folder, clock, here=True) as (app, client):
        yield Bedside(app, client, clock).as_(role)


def faults(answer: Any) -> dict[str, str]:
    """What the page says is wrong, by field; each stands beside its field too."""
    assert answer.status_code == 422, answer.text
    summary = answer.text.split('id="faults"')[1].split("</div>")[0]
    found = dict(re.findall(r'<a href="#f-([^"]+)">(.*?)</a>', summary, re.S))
    return {name: html.unescape(text) for name, text in found.items()}


def inert(answer: Any) -> bool:
    """Nothing that was typed became a part of the page."""
    return "<script>alert" not in answer.text and "<img src=x" not in answer.text and ">49<" not in answer.text


__all__ = [
    "AT",
    "CHARTED",
    "HOSTILE",
    "LEAKING",
    "LOGGED",
    "NOW_MS",
    "NO_LUNG",
    "Bedside",
    "a_bedside",
    "faults",
    "inert",
]
