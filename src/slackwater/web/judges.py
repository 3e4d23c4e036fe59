"""Answers are worked out in processes of their own, so that a page never waits for another drain's sums."""

from __future__ import annotations

import asyncio
import json
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any, TypeVar

from slackwater.assessment.assessment import Assessment
from slackwater.protocol.load import load_protocol
from slackwater.store.course import Course, course_of
from slackwater.store.place import Place
from slackwater.store.read_out import assess_course
from slackwater.store.record import Record, opened

KEPT = 8  # assessments that a process remembers

T = TypeVar("T")


@dataclass(frozen=True)
class Asked:
    """One drain at one moment, in the ward's zone; by its own pinned rule, or by `rule` (file name, bytes).

    known_ms: as the record stood then, whatever was added to it later (UTC ms); None: as it stands.
    """

    place: Place
    drain: str
    now_ms: int
    zone_name: str
    rule: tuple[str, bytes] | None = None
    known_ms: int | None = None


class Judges:
    """`await ask(function, asked)`: the function runs in another process with the drain's course and assessment."""

    def __init__(self, count: int) -> None:
        self._count = count
        self._pool = self._new_pool()

    def _new_pool(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(  # spawned: a forked one hangs once polars has run
            self._count, mp_context=get_context("spawn"), initializer=_stand_back
        )

    async def ask(self, function: Callable[[Course, Assessment | None, Asked], T], asked: Asked) -> T:
        """`function` must be a module's own. The assessment is None where there is neither log nor chart."""
        return await self.work(_answer, function, asked)

    async def work(self, function: Callable[..., T], *given: Any) -> T:
        """Any other function of a module, away from the pages."""
        loop, pool = asyncio.get_running_loop(), self._pool
        try:
            return await loop.run_in_executor(pool, function, *given)
        except BrokenProcessPool:  # a process was killed; the next ones begin anew, and this is asked once more
            if self._pool is pool:
                self._pool = self._new_pool()
            return await loop.run_in_executor(self._pool, function, *given)

    def close(self) -> None:
        self._pool.shutdown(cancel_futures=True)


def _stand_back() -> None:
    """On a machine that is busy the pages and what comes in go before the sums."""
    if hasattr(os, "nice"):
        os.nice(10)


_found: dict[tuple[Asked, str], Assessment | None] = {}


def _answer(function: Callable[[Course, Assessment | None, Asked], T], asked: Asked) -> T:
    record = opened(asked.place)
    with record.reading() as connection:
        course = course_of(connection, asked.drain, asked.known_ms)
    return function(course, _assessed(record, course, asked), asked)


def _assessed(record: Record, course: Course, asked: Asked) -> Assessment | None:
    if not course.logged and not course.entries and not course.orders:
        return None
    key = (asked, course.state)
    if key not in _found:
        while len(_found) >= KEPT:
            del _found[next(iter(_found))]
        rule = None if asked.rule is None else load_protocol(asked.rule[1], asked.rule[0])
        _found[key] = assess_course(record, course, protocol=rule, now_ms=asked.now_ms, zone=asked.zone_name)
    return _found[key]


def as_json(value: Any) -> str:
    """JSON for a page's data block: no text of the record can close it."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")
