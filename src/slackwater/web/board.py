"""Keeps the round's lines current: watches the record, and has each drain worked out again in the judges' processes.

A line is a pure function of the record and the minute. Nothing of a verdict is kept past an error: a drain whose
working out failed says so, until it is worked out again.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fastapi import FastAPI
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool

from slackwater.assessment.assessment import Assessment
from slackwater.episode.instants import read_zone
from slackwater.errors import SlackwaterError
from slackwater.quantities.spans import MINUTE_MS, format_span
from slackwater.report.line import RoundLine, Tube, failed_line, tube_of
from slackwater.report.round import line_of
from slackwater.store.course import Course
from slackwater.store.record import Record, utc_ms
from slackwater.store.rows import Thing, acts, head, things
from slackwater.web.judges import Asked
from slackwater.web.settings import Settings

TICK_S = 1.0  # how often the record's head is looked at
LATE_MS = 3 * MINUTE_MS  # a line as of an older minute than this is no longer shown
ANSWER_S = 60.0  # a drain that takes longer to work out has failed
APART_MS = 2 * MINUTE_MS  # by so much the clocks of server and record may disagree
UNREAD = "The record has not been read yet: which drains are in cannot be told."

# What an act may change without any line changing.
ELSEWHERE = frozenset({"message", "look", "person", "card", "unit", "unit_state"})
PAIRED = frozenset({"pairing", "unit"})
PLACES = frozenset({"patient", "episode", "space", "drain", "removal", "check"})  # which drains are in, and where


def say_line(course: Course, found: Assessment | None, asked: Asked) -> RoundLine:
    """Run by a judge, in its own process."""
    return line_of(course, found, asked.now_ms, read_zone(asked.zone_name))


@dataclass(frozen=True)
class News:
    """What the record holds beyond what the board took over last: read in a thread, taken over in the event loop."""

    seq: int
    recorded_ms: int
    changes: list[Mapping[str, object]]
    sent: dict[str, int]  # serial -> its latest reading
    served: dict[str, list[Thing]] | None  # None: as it was
    present: Mapping[str, tuple[Tube, str, str]] | None  # None: as it was


class Board:
    """The lines of all drains that are in, and of those out that are still owed a check. `version` counts changes."""

    def __init__(self, app: FastAPI) -> None:
        self._settings: Settings = app.state.settings
        self._record: Record = app.state.record
        self._app = app
        self._lines: dict[str, RoundLine] = {}
        self._patients: dict[str, str] = {}  # drain -> patient
        self._stays: dict[str, str] = {}  # episode -> patient
        self._touched: dict[str, None] = {}  # in order; worked out before those that are only old
        self._busy: set[str] = set()
        self._served: dict[str, list[Thing]] = {}  # serial -> when the unit served which drain
        self._heard: dict[str, int] = {}  # drain -> the minute of the last reading that its unit sent by itself
        self._seq: int | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._started = (time.monotonic(), self._settings.clock())
        self._beat = time.monotonic()
        self._recorded_ms = 0  # when the record's last act was
        self.version = 0
        self.trouble = UNREAD  # until the first look: no drain seen is not no drain in

    def start(self) -> None:
        """The first look comes after a moment: the first page need not wait for it."""
        self._tasks = [asyncio.create_task(self._watch())]
        self._tasks += [asyncio.create_task(self._work()) for _ in range(max(1, self._settings.judges))]

    async def close(self) -> None:
        left = set(self._tasks)
        while left:  # a task that had just got its answer may pass over the first call to end
            for task in left:
                task.cancel()
            _, left = await asyncio.wait(left, timeout=0.2)

    def lines(self) -> tuple[RoundLine, ...]:
        """As they stand; what was worked out too long ago to be shown has failed, and all while there is trouble."""
        now = self._settings.clock()
        believed = self.trouble in ("", UNREAD) and not self.stalled()
        return tuple(
            line if believed and not self._late(line, now) else failed_line(line.tube, now // MINUTE_MS * MINUTE_MS)
            for line in self._lines.values()
        )

    def stalled(self) -> bool:
        """Nobody has looked at the record for a while: the round may not be believed."""
        return time.monotonic() - self._beat > 15 * TICK_S

    # --- watching -----------------------------------------------------------------------------------

    async def _watch(self) -> None:
        late: frozenset[str] = frozenset()
        while True:
            await asyncio.sleep(TICK_S)
            trouble = ""
            try:
                self._take(await run_in_threadpool(self._news))
                trouble = self._clocks()
            except SlackwaterError as error:
                trouble = f"The record cannot be read: {error}"
            now = self._settings.clock()
            now_late = frozenset(key for key, line in self._lines.items() if self._late(line, now))
            if (trouble, now_late) != (self.trouble, late):
                self.trouble, late = trouble, now_late
                self.version += 1
            self._beat = time.monotonic()

    def _news(self) -> News:
        """What changed since the last look. It runs beside the event loop, so it changes nothing of the board."""
        changes: list[Mapping[str, object]] = []
        sent: dict[str, int] = {}
        with self._record.reading() as connection:
            last = head(connection)
            seq, recorded_ms = (0, 0) if last is None else (last.seq, last.at_ms)
            first = self._seq is None
            if self._seq is not None and seq > self._seq:
                for act in acts(connection, self._seq, seq):
                    if act.what == "received":
                        _latest(json.loads(act.changes), sent)
                    elif act.what != "who looked":
                        changes += json.loads(act.changes)
            nouns = _nouns(changes)
            return News(
                seq, recorded_ms, changes, sent,
                served(connection) if first or nouns & PAIRED else None,
                present(connection) if first or nouns & PLACES else None,
            )  # fmt: skip

    def _take(self, news: News) -> None:
        self._recorded_ms = news.recorded_ms
        if news.served is not None:
            self._served = news.served
        patients = self._about(news.changes)
        self._hear(news.sent)
        if news.present is not None:
            self._settle(news.present)
        if _nouns(news.changes) & {"protocol", "approval"}:
            patients |= set(self._patients.values())
        for drain, patient in self._patients.items():
            if patient in patients:
                self._touched[drain] = None
        self._seq = news.seq

    def _about(self, changes: list[Mapping[str, object]]) -> set[str]:
        """Whom changes are about: by patient, for drains of one patient bear on each other."""
        patients: set[str] = set()
        for change in changes:
            noun, new = str(change["noun"]), change["new"]
            if noun in ELSEWHERE or not isinstance(new, Mapping):
                continue
            key = str(change["key"])
            if noun == "episode":
                self._stays[key] = str(new["patient"])
            about = (
                new.get("patient"),
                self._patients.get(str(new.get("drain"))),
                self._stays.get(str(new.get("episode"))),
            )
            patients |= {str(patient) for patient in about if patient is not None}
        return patients

    def _hear(self, sent: Mapping[str, int]) -> None:
        """Until when there are data, of units that send by themselves: to the minute, and nothing is worked out.
        What is concluded of them follows when the minute turns."""
        latest = self._minute() + MINUTE_MS  # a clock that runs ahead is told by the line, once it is worked out
        for serial, at_ms in sent.items():
            for pairing in self._served.get(serial, ()):
                drain, minute = pairing["drain"], at_ms // MINUTE_MS * MINUTE_MS
                ended = pairing["to_ms"] is not None and at_ms > pairing["to_ms"]
                if at_ms <= pairing["from_ms"] or ended or minute > latest or drain not in self._lines:
                    continue
                if minute > self._heard.get(drain, 0):
                    self._heard[drain] = minute
                    line = self._lines[drain]
                    if line.data_until_ms is None:
                        self._touched[drain] = None
                    if self._with_heard(line) != line:
                        self._lines[drain] = self._with_heard(line)
                        self.version += 1

    def _with_heard(self, line: RoundLine) -> RoundLine:
        heard = self._heard.get(line.tube.drain)
        if heard is None or line.failed or line.data_until_ms is None or line.data_until_ms >= heard:
            return line
        return replace(line, data_until_ms=heard)

    def _settle(self, found: Mapping[str, tuple[Tube, str, str]]) -> None:
        """Take over which drains there are; new ones are worked out first."""
        for drain in [drain for drain in self._lines if drain not in found]:
            del self._lines[drain], self._patients[drain]
            self._touched.pop(drain, None)
            self._heard.pop(drain, None)
        for drain, (tube, patient, episode) in found.items():
            self._patients[drain], self._stays[episode] = patient, patient
            seen = self._lines.get(drain)
            if seen is None:
                self._touched[drain] = None
            self._lines[drain] = RoundLine(tube) if seen is None else replace(seen, tube=tube)
        self.version += 1

    def _clocks(self) -> str:
        """Whether server, record and this machine's own count of seconds agree."""
        now = self._settings.clock()
        if self._recorded_ms > now + APART_MS:
            apart = format_span((self._recorded_ms - now) / 1000)
            return f"The server's clock is {apart} behind the record's last act: ages cannot be told. Have it checked."
        began, then = self._started
        jump = now - then - 1000 * (time.monotonic() - began)
        if self._settings.clock is utc_ms and abs(jump) > APART_MS:
            apart = format_span(abs(jump) / 1000)
            return f"The server's clock jumped by {apart}: ages cannot be told. Have it checked, then start it again."
        return ""

    def _late(self, line: RoundLine, now_ms: int) -> bool:
        return line.as_of_ms is not None and now_ms - line.as_of_ms > LATE_MS and not line.failed

    # --- working out --------------------------------------------------------------------------------

    async def _work(self) -> None:
        while True:
            drain = self._next()
            if drain is None:
                await asyncio.sleep(TICK_S / 5)
                continue
            self._busy.add(drain)
            self._touched.pop(drain, None)
            try:
                line = await self._line(drain)
            finally:
                self._busy.discard(drain)
            seen = self._lines.get(drain)
            if seen is not None and (line := self._with_heard(replace(line, tube=seen.tube))) != seen:
                self._lines[drain] = line
                self.version += 1

    def _next(self) -> str | None:
        """What was touched first; else the drain whose minute is longest past."""
        for drain in self._touched:
            if drain not in self._busy and drain in self._lines:
                return drain
        minute = self._minute()
        waiting = [(line.as_of_ms, key) for key, line in self._lines.items() if key not in self._busy]
        old = [(as_of, key) for as_of, key in waiting if as_of is not None and as_of != minute]
        return min(old)[1] if old else None

    async def _line(self, drain: str) -> RoundLine:
        asked = Asked(self._settings.place, drain, self._minute(), self._settings.zone_name)
        tube = self._lines[drain].tube
        try:
            async with asyncio.timeout(ANSWER_S):  # unlike wait_for, it never swallows the call to end
                line: RoundLine = await self._app.state.judges.ask(say_line, asked)
        except Exception:  # noqa: BLE001  # whatever went wrong, the line must not keep its last verdict
            return failed_line(tube, asked.now_ms)
        # A demonstration's logs run ahead on purpose.
        return line_without_ahead(line) if self._settings.demo else line

    def _minute(self) -> int:
        return self._settings.clock() // MINUTE_MS * MINUTE_MS


def line_without_ahead(line: RoundLine) -> RoundLine:
    """The same line, its log running ahead not held against it."""
    statuses = line.statuses if line.items else line.statuses - {"act"}
    return replace(line, ahead="", statuses=statuses) if line.ahead else line


def served(connection: Connection) -> dict[str, list[Thing]]:
    """Each unit's pairings, by its serial."""
    serials = {unit.key: str(unit["serial"]) for unit in things(connection, "unit")}
    found: dict[str, list[Thing]] = {}
    for pairing in things(connection, "pairing"):
        found.setdefault(serials.get(pairing["unit"], ""), []).append(pairing)
    return found


def _nouns(changes: list[Mapping[str, object]]) -> set[str]:
    return {str(change["noun"]) for change in changes}


def _latest(changes: list[Mapping[str, Any]], sent: dict[str, int]) -> None:
    """The latest reading of each unit among the messages of an act."""
    for change in changes:
        at_ms = change.get("happened_ms")
        if change["noun"] == "message" and isinstance(at_ms, int):
            serial = str(change["new"]["unit"])
            sent[serial] = max(at_ms, sent.get(serial, 0))


def present(connection: Connection) -> dict[str, tuple[Tube, str, str]]:
    """Drains that are in, or out and still owed a check: drain -> (whose, patient's key, stay's key)."""
    held = {noun: {one.key: one for one in things(connection, noun)} for noun in ("patient", "episode", "space")}
    gone = {one["drain"] for one in things(connection, "removal")}
    owed = {one["drain"] for one in things(connection, "check") if one["done_ms"] is None}
    found = {}
    for drain in things(connection, "drain"):
        if drain.key in gone - owed:
            continue
        stay, space = held["episode"][drain["episode"]], held["space"][drain["space"]]
        patient = held["patient"][stay["patient"]]
        found[drain.key] = (tube_of(patient, stay, space, drain), patient.key, stay.key)
    return found
