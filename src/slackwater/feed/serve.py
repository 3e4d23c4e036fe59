"""All doors of one intake, open until a signal ends them; and beside them, the sealing of what has come."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import signal
import socket
from collections.abc import Callable, Collection, Coroutine, Generator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any

import uvicorn

from slackwater.errors import SlackwaterError, UsageError
from slackwater.feed import mllp, mqtt
from slackwater.feed.hl7_codes import Codes
from slackwater.feed.http import PATH, ReadingsApp
from slackwater.feed.intake import Intake
from slackwater.feed.tell import Teller
from slackwater.store.live import due, seal
from slackwater.store.place import Place
from slackwater.store.record import Record, opened

SEAL_EVERY_S = 60.0
MOST_CONNECTIONS = 4000
CLOSING_S = 5
BACKLOG = 2048
LOGGERS = ("slackwater.feed", "uvicorn")
IDLE_S = 75  # a connection that asks nothing for so long is closed


@dataclass(frozen=True)
class Doors:
    """Which doors to open; each is a host and a port (0: any that is free)."""

    http: tuple[str, int] | None = None
    broker: mqtt.Broker | None = None
    topic: str = mqtt.TOPIC
    mllp: tuple[str, int] | None = None
    allowed: Collection[str] = ()
    codes: Codes | None = None


async def serve(
    record: Record, doors: Doors, tell: Teller, ready: Callable[[str], None] = lambda _: None,
    stop: asyncio.Event | None = None,
) -> dict[str, int]:  # fmt: skip
    """Take what comes until `stop` is set (None: until SIGINT or SIGTERM); returns how much came of each kind.

    ready: told what listens where, once it does.
    """
    stop = stop or _on_signal()
    told = _Told(tell)
    for name in LOGGERS:
        logging.getLogger(name).addHandler(told)
    async with Intake(record) as intake:
        work: list[Coroutine[Any, Any, object]] = [stop.wait(), _sealing(record.place, tell)]
        if doors.http is not None:
            work.append(_http(intake, doors.http, tell, ready))
        if doors.broker is not None:
            ready(f"MQTT: {doors.broker.host}:{doors.broker.port}, {doors.topic}")
            work.append(mqtt.listen(intake, doors.broker, tell, doors.topic))
        if doors.mllp is not None:
            work.append(_mllp(intake, doors, tell, ready))
        tasks = [asyncio.create_task(one) for one in work]
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()  # a door that fell shut: say so
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            for name in LOGGERS:
                logging.getLogger(name).removeHandler(told)
    return dict(intake.counts)


def _on_signal() -> asyncio.Event:
    stop = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, stop.set)
    return stop


async def _mllp(intake: Intake, doors: Doors, tell: Teller, ready: Callable[[str], None]) -> None:
    assert doors.mllp is not None
    host, port = doors.mllp
    try:
        opening = mllp.listening(intake, host, port, codes=doors.codes, allowed=doors.allowed, tell=tell)
        async with opening as (_, bound):
            ready(f"MLLP: {host}:{bound}")
            await asyncio.Event().wait()
    except OSError as error:
        raise _taken(doors.mllp, error) from error


async def _http(intake: Intake, at: tuple[str, int], tell: Teller, ready: Callable[[str], None]) -> None:
    try:
        bound = socket.socket(socket.AF_INET6 if ":" in at[0] else socket.AF_INET)
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind(at)
        bound.listen(BACKLOG)  # from now on, who comes waits at most
    except OSError as error:
        raise _taken(at, error) from error
    config = uvicorn.Config(
        ReadingsApp(intake, tell), log_config=None, access_log=False, server_header=False, date_header=False,
        timeout_keep_alive=IDLE_S, timeout_graceful_shutdown=CLOSING_S, limit_concurrency=MOST_CONNECTIONS,
        backlog=BACKLOG, ws="none", lifespan="off", proxy_headers=False,
    )  # fmt: skip
    server = _Server(config)
    ready(f"HTTP: http://{at[0]}:{bound.getsockname()[1]}{PATH}")
    serving = asyncio.create_task(server.serve([bound]))
    try:
        await asyncio.shield(serving)
    except asyncio.CancelledError:
        server.should_exit = True  # what is under way is still answered
        await serving
        raise


def _taken(at: tuple[str, int], error: OSError) -> UsageError:
    return UsageError(f"cannot be listened at: {error.strerror}", where=f"{at[0]}:{at[1]}", mend="Give another port.")


class _Server(uvicorn.Server):
    """One door among others: signals are not its own."""

    @contextlib.contextmanager
    def capture_signals(self) -> Generator[None, None, None]:
        yield


class _Told(logging.Handler):
    """What a door logs goes to the same place."""

    def __init__(self, tell: Teller) -> None:
        super().__init__(logging.WARNING)
        self._tell = tell

    def emit(self, record: logging.LogRecord) -> None:
        self._tell(record.getMessage())


async def _sealing(place: Place, tell: Teller) -> None:
    """Seals what is due, in a process of its own: the doors must not wait for it."""
    pool: ProcessPoolExecutor | None = None
    try:
        while True:
            await asyncio.sleep(SEAL_EVERY_S)
            pool = pool or ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_stand_back)
            try:
                await asyncio.get_running_loop().run_in_executor(pool, seal_due, place)
            except SlackwaterError as error:
                tell(f"sealing: {error}")  # tried again in a minute; what is not sealed is only read more slowly
            except BrokenProcessPool:
                pool = None
    finally:
        if pool is not None:
            pool.shutdown(wait=False, cancel_futures=True)


def seal_due(place: Place) -> int:
    """Seal the messages of all units for which it is time; returns how many."""
    record = opened(place)
    with record.reading() as connection:
        serials = due(connection, record.now_ms())
    return sum(seal(record, serial) for serial in serials)


def _stand_back() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C at a terminal reaches all: the listener ends this one
    if hasattr(os, "nice"):
        os.nice(10)
