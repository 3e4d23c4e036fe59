"""A program at the ward's API, logged in as one of the invented people. Everything is invented."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from behaviour.web.charting.a_bedside import CHARTED, LEAKING, LOGGED, NO_LUNG, NOW_MS, Bedside, a_bedside
from ward.a_ward import PASSWORD

API = "/api/v1"
AT = "2041-03-07T09:00:00Z"
_keys = itertools.count(1)


class Program:
    """`post` sends JSON with the token and a fresh key, as a program would."""

    def __init__(self, bedside: Bedside) -> None:
        self.bedside, self.client = bedside, bedside.client
        self.headers: dict[str, str] = {}

    @property
    def record(self) -> Any:
        return self.bedside.app.state.record

    def as_(self, role: str) -> Program:
        self.client.cookies.clear()
        told = self.client.post(f"{API}/login", json={"name": role, "password": PASSWORD})
        assert told.status_code == 200, told.text
        self.headers = {"x-csrf-token": told.json()["csrf"]}
        return self

    def get(self, path: str, **asked: str) -> Any:
        return self.client.get(f"{API}/{path}", params=asked)

    def told(self, path: str, **asked: str) -> Any:
        answer = self.get(path, **asked)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def post(self, path: str, *, once: str = "", **said: Any) -> Any:
        whole = {"once": once or f"program-key-{next(_keys):04d}", **said}
        return self.client.post(f"{API}/{path}", json=whole, headers=self.headers)

    def post_bare(self, path: str, **said: Any) -> Any:
        return self.client.post(f"{API}/{path}", json=said, headers=self.headers)

    def course(self, drain: str) -> Any:
        return self.told(f"drains/{drain}")["course"]

    def head(self) -> int:
        """How many acts the record holds, looks written down."""
        self.bedside.app.state.looks.flush()
        return int(self.record.head().seq)


@contextmanager
def a_program(folder: Path, role: str = "nurse") -> Iterator[Program]:
    with a_bedside(folder, role) as bedside:
        yield Program(bedside).as_(role)


def errors(answer: Any, status: int = 422) -> dict[str, str]:
    """What a refusal says is wrong, by field."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    return {one["field"]: one["says"] for one in answer.json()["errors"]}


__all__ = ["API", "AT", "CHARTED", "LEAKING", "LOGGED", "NOW_MS", "NO_LUNG", "Program", "a_program", "errors"]
