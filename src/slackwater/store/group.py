"""Group commit: many messages that arrive at once share one act, and each is acknowledged after it."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from slackwater.errors import NotWritten, SlackwaterError, UsageError
from slackwater.store.acts import key_of
from slackwater.store.checks import known, moment, plain
from slackwater.store.nouns import Value
from slackwater.store.record import Acting, Record

MOST = 2000  # messages in one act
LONGEST_BODY = 65_536  # letters; a message is one reading, or a few
GATHER_S = 0.01  # so long the first message waits for others to share its act and its sync
WAITING = 50_000  # messages not yet written; beyond, whoever sends must wait
KEPT, KEPT_ALREADY, KEPT_BESIDE = "kept", "kept already", "kept beside"  # what became of a message


@dataclass(frozen=True)
class Message:
    """What a unit sent: its serial, its own sequence number, the words, unread; and of which moment (UTC ms)."""

    unit: str
    sequence: int
    body: str
    time_ms: int | None = None

    def check(self) -> None:
        """RecordError where it cannot be kept, so that it is refused alone."""
        _ = self._sound

    @cached_property
    def _sound(self) -> bool:  # looked at once, however many doors it passes
        plain(self.body, "a message, body", LONGEST_BODY)
        known("message", f"of {self.unit[:40]!r}", self.fields)
        moment(self.time_ms, f"a message of {self.unit[:40]!r}, time")
        return True

    @property
    def fields(self) -> dict[str, Value]:
        return {"unit": self.unit, "sequence": self.sequence, "body": self.body}

    @cached_property
    def key(self) -> str:
        """Of the first that came under this number."""
        return key_of("message", self.unit, self.sequence)

    @cached_property
    def beside(self) -> str:
        """Of other words under a number that was used before."""
        return key_of("message", self.unit, self.sequence, self.body)


def keep_messages(record: Record, messages: Sequence[Message], by: str) -> list[str]:
    """Keep messages in one act; returns what became of each.

    The same words again under the same number are no message. Other words are kept beside, and both are doubtful.
    """
    for message in messages:
        message.check()
    with record.act(by=by, what="received") as act:
        stored = _bodies(act, [one.key for one in messages])
        stored |= _bodies(act, [one.beside for one in messages if stored.get(one.key, one.body) != one.body])
        new: dict[str, Message] = {}
        became = [_becomes(message, stored, new) for message in messages]
        act.add_all(
            "message",
            [(key, one.fields) for key, one in new.items()],
            each_ms={key: one.time_ms for key, one in new.items()},
        )
        _dispute(act, [one for key, one in new.items() if key != one.key])
    return became


def _dispute(act: Acting, beside: Sequence[Message]) -> None:
    """Note the numbers under which other words came, so that a reading is doubted whomever its unit serves by then."""
    told: dict[str, dict[str, Value]] = {}
    for one in beside:
        unit = key_of("unit", one.unit)
        told[key_of("disputed", unit, one.sequence)] = {"unit": unit, "sequence": one.sequence}
    noted = {one.key for one in act.things("disputed", keys=told)} if told else ()
    act.add_all("disputed", [(key, fields) for key, fields in told.items() if key not in noted])


def _bodies(act: Acting, keys: Sequence[str]) -> dict[str, str]:
    return {one.key: one["body"] for one in act.things("message", keys=keys, gone=True)} if keys else {}


def _becomes(message: Message, stored: Mapping[str, str], new: dict[str, Message]) -> str:
    """What becomes of a message; a new one is put to `new`. `stored`: the words that the record holds, by key."""
    first = new[message.key].body if message.key in new else stored.get(message.key)
    key = message.key if first in (None, message.body) else message.beside
    if key in stored or key in new:
        return KEPT_ALREADY
    new[key] = message
    return KEPT if key == message.key else KEPT_BESIDE


Settled = Sequence[tuple[Any, str | Exception]]  # each sender's Future, and what became of its message or why not


def settle(settled: Settled) -> None:
    """Tell threads that wait, each by its own concurrent Future; who no longer waits is passed over."""
    for done, what in settled:
        if done.set_running_or_notify_cancel():
            give(done, what)


def give(done: Any, what: str | Exception) -> None:
    """Fulfil a Future, of threads or of an event loop."""
    if isinstance(what, Exception):
        done.set_exception(what)
    else:
        done.set_result(what)


class GroupCommit:
    """A thread that writes what has gathered. `send` gives a Future, done once the message is on the disk.

    It holds KEPT, KEPT_ALREADY (it came before) or KEPT_BESIDE (other words came under its number before). Where
    writing fails, every Future of that act holds the error. `gather_s`: as GATHER_S. `settle`: what tells those who
    wait, called by the writing thread once an act; another than `settle` where they wait in an event loop.
    """

    def __init__(
        self, record: Record, by: str, gather_s: float = GATHER_S, settle: Callable[[Settled], None] = settle
    ) -> None:
        self._record = record
        self._gather_s = gather_s
        self._by = by
        self._settle = settle
        self._waiting: list[tuple[Message, Any]] = []
        self._changed = threading.Condition()
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="group commit", daemon=True)
        self._thread.start()

    def send(self, message: Message) -> Future[str]:
        """Hand over a message; waits while too many wait already. Raises UsageError once closed.

        A message that cannot be kept is refused in its own Future, and stands in nobody's way.
        """
        done: Future[str] = Future()
        try:
            message.check()
        except SlackwaterError as error:
            done.set_exception(error)
            return done
        self.hand_over(message, done)
        return done

    def hand_over(self, message: Message, done: object) -> None:
        """As `send`, of a message that was checked; `settle` is given `done` with what became of it."""
        with self._changed:
            self._changed.wait_for(lambda: len(self._waiting) < WAITING or self._closing)
            if self._closing:
                raise UsageError("the intake is closed")
            self._waiting.append((message, done))
            if len(self._waiting) == 1:
                self._changed.notify_all()

    def close(self) -> None:
        """Write what was handed over, then end."""
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        self._thread.join()

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: bool(self._waiting) or self._closing)
            time.sleep(self._gather_s)
            with self._changed:
                batch, self._waiting = self._waiting[:MOST], self._waiting[MOST:]
                self._changed.notify_all()
            if not batch:
                return
            self._keep(batch)

    def _keep(self, batch: Sequence[tuple[Message, Any]]) -> None:
        try:
            became: Sequence[str | Exception] = keep_messages(self._record, [one for one, _ in batch], self._by)
        except Exception as error:  # noqa: BLE001  whatever it is, every sender hears of it, and the next act is tried
            if len(batch) > 1 and not isinstance(error, NotWritten):  # one of them may be at fault: not the others
                for one in batch:
                    self._keep([one])
                return
            became = [error] * len(batch)
        self._settle([(done, what) for (_, done), what in zip(batch, became, strict=True)])
