"""Who was at which screen a moment ago, so that not every request asks the database."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Generic, TypeVar

from slackwater.errors import NotWritten
from slackwater.store.accounts import Session, mark_session
from slackwater.store.record import Record

KEPT_S = 5.0  # so long at most does a person stay in who was put out on another server

Who = TypeVar("Who")


class Sessions(Generic[Who]):
    """Sessions that were let in, each for five seconds; whoever changes a session or a person forgets them all."""

    def __init__(self) -> None:
        self._kept: dict[str, tuple[float, Who]] = {}
        self._unwritten: dict[str, Session] = {}

    def get(self, token: str) -> Who | None:
        found = self._kept.get(token)
        if found is None or time.monotonic() - found[0] > KEPT_S:
            return None
        return found[1]

    def put(self, token: str, who: Who) -> None:
        if len(self._kept) > 10_000:
            self.forget()
        self._kept[token] = (time.monotonic(), who)

    def forget(self) -> None:
        self._kept = {}

    def mark(
        self, record: Record, session: Session, *, seen_ms: int | None = None, locked: bool | None = None
    ) -> Session:
        """The session as it is from now on: used, locked or unlocked. Where the record takes nothing, that is kept
        here: a full disk must shut nobody out of reading the round, and a screen can still be locked."""
        now = replace(
            session,
            seen_ms=session.seen_ms if seen_ms is None else seen_ms,
            locked=session.locked if locked is None else locked,
        )
        try:
            mark_session(record, session, seen_ms=seen_ms, locked=locked)
            self._unwritten.pop(session.token, None)
        except NotWritten:
            self._unwritten[session.token] = now
        return now

    def as_it_is(self, session: Session) -> Session:
        """The session as the record has it, with what could not be written of it."""
        told = self._unwritten.get(session.token)
        return session if told is None or told.seen_ms < session.seen_ms else told
