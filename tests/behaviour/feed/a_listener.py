"""A listener on a thread of its own, all doors as `slackwater listen` opens them."""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from slackwater.feed.serve import Doors, serve
from slackwater.feed.tell import Teller
from slackwater.store.record import Record
from ward.until import LONG_S


@dataclass
class Listening:
    """What it said when its doors were open, what it told of since, and, once it ended, how much came."""

    ready: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)

    @property
    def url(self) -> str:
        return next(text for text in self.ready if text.startswith("HTTP")).split()[1].removesuffix("/v1/readings")


@contextmanager
def listening(record: Record, doors: Doors) -> Iterator[Listening]:
    found, said = Listening(), queue.Queue[str]()
    handed = queue.Queue[tuple[asyncio.AbstractEventLoop, asyncio.Event]]()

    async def run() -> None:
        stop = asyncio.Event()
        handed.put((asyncio.get_running_loop(), stop))
        found.counts = await serve(record, doors, Teller(found.told.append, clock=lambda: 0.0), said.put, stop)

    ended = threading.Thread(target=lambda: asyncio.run(run()), name="listener")
    ended.start()
    loop, stop = handed.get(timeout=LONG_S)
    try:
        for _ in range(sum(one is not None for one in (doors.http, doors.broker, doors.mllp))):
            found.ready.append(said.get(timeout=LONG_S))
        yield found
    finally:
        loop.call_soon_threadsafe(stop.set)
        ended.join(LONG_S)
        assert not ended.is_alive()
