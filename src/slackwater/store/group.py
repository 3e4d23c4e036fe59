"""Group commit: many messages that arrive at once share one act, and each is acknowledged after it."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass

from slackwater.errors import SlackwaterError, UsageError
from slackwater.store.acts import key_of
from slackwater.store.checks import known, plain
from slackwater.store.record import Record

MOST = 2000  # messages in one act
LONGEST_BODY = 65_536  # letters; a message is one reading, or a few
GATHER_S = 0.01  # so long the first message waits for others to share its act and its sync
WAITING = 50_000  # messages not yet written; beyond, whoever sends must wait


@dataclass(frozen=True)
class Message:
    """What a unit sent: its serial, its own sequence number, and the words, unread."""

    unit: str
    sequence: int
    body: str

    def check(self) -> None:
        """RecordError where it cannot be kept, so that it is refused alone."""
        plain(self.body, "a message, body", LONGEST_BODY)
        known("message", f"of {self.unit[:40]!r}", {"unit": self.unit, "sequence": self.sequence, "body": self.body})

    @property
    def key(self) -> str:
        """The same words under the same number are the same message; other words under it are kept beside."""
        return key_of("message", self.unit, self.sequence, self.body)


def keep_messages(record: Record, messages: Sequence[Message], by: str) -> int:
    """Keep messages in one act; returns how many were new. The same message again is no message."""
    for message in messages:
        message.check()
    new = {message.key: message for message in messages}
    with record.act(by=by, what="received") as act:
        for thing in act.things("message", keys=new, gone=True):
            del new[thing.key]
        act.add_all(
            "message",
            [(key, {"unit": one.unit, "sequence": one.sequence, "body": one.body}) for key, one in new.items()],
        )
    return len(new)


class GroupCommit:
    """A thread that writes what has gathered. `send` gives a Future, done once the message is on the disk.

    A message that came before counts as kept. Where writing fails, every Future of that act holds the error.
    """

    def __init__(self, record: Record, by: str) -> None:
        self._record = record
        self._by = by
        self._waiting: list[tuple[Message, Future[None]]] = []
        self._changed = threading.Condition()
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="group commit", daemon=True)
        self._thread.start()

    def send(self, message: Message) -> Future[None]:
        """Hand over a message; waits while too many wait already. Raises UsageError once closed.

        A message that cannot be kept is refused in its own Future, and stands in nobody's way.
        """
        done: Future[None] = Future()
        try:
            message.check()
        except SlackwaterError as error:
            done.set_exception(error)
            return done
        with self._changed:
            self._changed.wait_for(lambda: len(self._waiting) < WAITING or self._closing)
            if self._closing:
                raise UsageError("the intake is closed")
            self._waiting.append((message, done))
            self._changed.notify_all()
        return done

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
            time.sleep(GATHER_S)
            with self._changed:
                batch, self._waiting = self._waiting[:MOST], self._waiting[MOST:]
                self._changed.notify_all()
            if not batch:
                return
            batch = [(message, done) for message, done in batch if done.set_running_or_notify_cancel()]
            try:
                keep_messages(self._record, [message for message, _ in batch], self._by)
            except Exception as error:  # noqa: BLE001  whatever it is, every sender hears of it, and the next act is tried
                for _, done in batch:
                    done.set_exception(error)
            else:
                for _, done in batch:
                    done.set_result(None)
