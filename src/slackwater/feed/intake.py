"""The door into the record that all live lines share: a message is answered for once it is on the disk, and kept once.

Every door (HTTP, MQTT, MLLP) reads what came into a `Message` (`feed.line.message_of`) and awaits `offer`. Only when
it returns may the door acknowledge. Where it raises, nothing was kept: the door refuses, or stays silent and lets the
sender try again.
"""

from __future__ import annotations

import asyncio
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from math import inf
from types import TracebackType
from typing import Self

from slackwater.errors import NotWritten, RecordError, SlackwaterError
from slackwater.store.group import KEPT_BESIDE, GroupCommit, Message, Settled, give
from slackwater.store.live import BY
from slackwater.store.record import Record

MOST_WAITING = 20_000  # messages under way at once; who offers more waits
GATHER_S = 0.03  # messages of so long share an act: an act costs far more than a message in it
LOOKED_S = 1.0  # so long it is believed that a unit is not registered
MOST_MISSED = 10_000


class Intake:
    """`await intake.offer(message)` resolves only after the commit. Use it as an async context manager, or close it.

    `counts`: how many messages were `kept`, `kept already`, `kept beside` (other words under a number that was used:
    both are kept, both are doubtful) and `refused`. One Intake serves many doors of one event loop.
    """

    def __init__(self, record: Record, *, by: str = BY) -> None:
        self.record = record
        self.counts: Counter[str] = Counter()
        self._group = GroupCommit(record, by, GATHER_S, _settle)
        self._room = asyncio.Semaphore(MOST_WAITING)
        self._serials: frozenset[str] = frozenset()
        self._missed: dict[str, float] = {}  # when it was last looked for
        self._looking = asyncio.Lock()

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.close()

    async def offer(self, message: Message) -> str:
        """Keep a message; returns KEPT, KEPT_ALREADY or KEPT_BESIDE of `store.group` once it is durable.

        Raises RecordError where it is refused for good (an unregistered unit, say): sending it again is no use.
        Raises NotWritten where disk, server or this program failed: nothing was kept, and the sender should try again.
        What the message itself is refused for is settled before it is handed over; whatever fails later is no fault of
        the sender, who would drop a reading that he is told is refused.
        """
        try:
            message.check()
            with _told_as_not_written():
                known = await self.registered(message.unit)
            if not known:
                raise RecordError(
                    "is not registered here", where=f"unit {message.unit[:64]}",
                    mend="Register it: slackwater listen key SERIAL, or pair it with a drain.",
                )  # fmt: skip
            async with self._room:  # so `send` never has to wait, and the loop never stands still
                with _told_as_not_written():
                    return await self._kept(message)
        except NotWritten:
            self.counts["not written"] += 1
            raise
        except SlackwaterError:
            self.counts["refused"] += 1
            raise

    async def _kept(self, message: Message) -> str:
        """Shielded, and counted once it is settled: it is written though whoever offered it is gone by then."""
        loop = asyncio.get_running_loop()
        done: asyncio.Future[str] = loop.create_future()
        done.add_done_callback(self._count)
        self._group.hand_over(message, (loop, done))
        return await asyncio.shield(done)

    def _count(self, done: asyncio.Future[str]) -> None:
        if done.exception() is None:
            self.counts[done.result()] += 1

    def refused(self) -> None:
        """Count what a door refused before it could be offered."""
        self.counts["refused"] += 1

    async def registered(self, serial: str) -> bool:
        """Whether the record knows this unit. Of one that was not there it is asked again after `LOOKED_S`."""
        if serial in self._serials:
            return True
        async with self._looking:
            if serial not in self._serials and time.monotonic() - self._missed.get(serial, -inf) > LOOKED_S:
                self._serials = await asyncio.to_thread(self._registered)
                if len(self._missed) >= MOST_MISSED:
                    self._missed.clear()
                self._missed[serial] = time.monotonic()
        return serial in self._serials

    def _registered(self) -> frozenset[str]:
        return frozenset(str(unit["serial"]) for unit in self.record.things("unit"))

    async def close(self) -> None:
        """Write what was offered, then end."""
        await asyncio.to_thread(self._group.close)


def _settle(settled: Settled) -> None:
    """Tell the loop once an act, not once a message: each call would wake it."""
    (loop, _), _ = settled[0]
    with suppress(RuntimeError):  # the loop has ended: nobody waits any more
        loop.call_soon_threadsafe(_tell, settled)


def _tell(settled: Settled) -> None:
    for (_, done), what in settled:
        if not done.done():  # else whoever waited has hung up
            give(done, what)


@contextmanager
def _told_as_not_written() -> Iterator[None]:
    """Whatever fails in it is no fault of the sender."""
    try:
        yield
    except NotWritten:
        raise
    except Exception as error:
        what = f"it could not be written: {type(error).__name__}"
        raise NotWritten(what, where="live intake", mend="Nothing was kept. Send it again.") from error


def told_of(outcome: str) -> str:
    """What a sender may be told of an outcome, in a few words."""
    if outcome == KEPT_BESIDE:
        return f"{outcome}: another reading came under this number before; both are doubtful"
    return outcome
