"""The other end of the line, for invented units: readings sent in time, and again until they are acknowledged."""

from __future__ import annotations

import asyncio
import http.client
import json
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from itertools import count
from typing import Any, Protocol

import aiomqtt

from slackwater.errors import RefusedInput, UsageError
from slackwater.feed.address import split_address
from slackwater.feed.hl7_codes import Codes
from slackwater.feed.hl7_fault import OURS
from slackwater.feed.hl7_write import oru_of
from slackwater.feed.http import PATH
from slackwater.feed.line import Reported, line_of
from slackwater.feed.mllp import Sender
from slackwater.feed.mqtt import TOPIC, Broker, client_of
from slackwater.feed.take import NOT_WRITTEN, REFUSED

MOST_AT_ONCE = 200  # readings in one sending, where they are due faster than they go out
PAUSES_S = (0.2, 0.5, 1.0, 2.0, 5.0)  # before what was not acknowledged is sent again
ANSWER_S = 30.0


class Unacknowledged(Exception):
    """It may or may not have arrived: send it again."""


class Door(Protocol):
    """Where readings of one unit go. Raises Unacknowledged to be called again, RefusedInput where that is no use."""

    async def send(self, readings: Sequence[Reported]) -> None: ...

    async def close(self) -> None: ...


async def stream(
    readings: Sequence[Reported], door: Door, *, speed: float = 1.0, told: Callable[[str], None] = lambda _: None
) -> int:
    """Send readings when they are due, `speed` times as fast as they were read; returns how many were repeated.

    The first is due at once. What is refused ends it: RefusedInput.
    """
    loop = asyncio.get_running_loop()
    began, again, at = loop.time(), 0, 0
    try:
        while at < len(readings):
            due_s = (readings[at].time_ms - readings[0].time_ms) / 1000 / speed
            await asyncio.sleep(max(0.0, began + due_s - loop.time()))
            now_ms = readings[0].time_ms + (loop.time() - began) * 1000 * speed
            until = at + 1
            while until < min(len(readings), at + MOST_AT_ONCE) and readings[until].time_ms <= now_ms:
                until += 1
            again += await _until_acknowledged(door, readings[at:until], told)
            at = until
    finally:
        await door.close()
    return again


async def _until_acknowledged(door: Door, readings: Sequence[Reported], told: Callable[[str], None]) -> int:
    for tries in count():
        try:
            await door.send(readings)
            return tries
        except Unacknowledged as error:
            told(f"{error}; sent again")
            await asyncio.sleep(PAUSES_S[min(tries, len(PAUSES_S) - 1)])
    raise AssertionError("it counts for ever")


class HttpDoor:
    """POST /v1/readings with the unit's key; one connection, opened anew when it is lost."""

    def __init__(self, url: str, key: str) -> None:
        parts, port = split_address(url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise UsageError("is no address", where="--http", mend="Write http://host:port.")
        kind = http.client.HTTPSConnection if parts.scheme == "https" else http.client.HTTPConnection
        self._connection = kind(parts.hostname, port, timeout=ANSWER_S)
        self._headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/x-ndjson"}

    async def send(self, readings: Sequence[Reported]) -> None:
        body = "\n".join(map(line_of, readings)).encode()
        status, told = await asyncio.to_thread(self._post, body)
        lines = told.get("lines", [])
        if status == 503 or any(one["outcome"] == NOT_WRITTEN for one in lines):
            raise Unacknowledged(f"the door answers {status}")
        if status == 401:
            raise RefusedInput(
                str(told.get("error", status)), where="the listener, by HTTP",
                mend="Give the key of this unit, as `slackwater listen key SERIAL` prints it once.",
            )  # fmt: skip
        bad = [one for one in lines if one["outcome"] == REFUSED]
        if status != 200 or bad:
            raise RefusedInput(bad[0]["why"] if bad else str(told.get("error", status)), where="the listener")

    def _post(self, body: bytes) -> tuple[int, dict[str, Any]]:
        try:
            self._connection.request("POST", PATH, body, self._headers)
            answer = self._connection.getresponse()
            return answer.status, json.loads(answer.read())
        except (OSError, http.client.HTTPException, ValueError) as error:
            self._connection.close()
            raise Unacknowledged(f"no answer ({type(error).__name__})") from error

    async def close(self) -> None:
        self._connection.close()


class MqttDoor:
    """One topic a unit, QoS 1; a message counts as sent once the broker has acknowledged it."""

    def __init__(self, broker: Broker, topic: str = TOPIC) -> None:
        self._broker = broker
        self._topic = topic
        self._client: aiomqtt.Client | None = None

    async def send(self, readings: Sequence[Reported]) -> None:
        try:
            if self._client is None:
                self._client = await client_of(self._broker).__aenter__()
            client = self._client
            await asyncio.gather(
                *(client.publish(self._topic.replace("+", one.unit), line_of(one), qos=1) for one in readings)
            )
        except aiomqtt.MqttError as error:
            await self.close()
            raise Unacknowledged(f"no answer of the broker ({error})") from error

    async def close(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            with suppress(aiomqtt.MqttError):  # it is gone already
                await client.__aexit__(None, None, None)


class MllpDoor:
    """HL7 v2 over MLLP: each reading a message of its own, answered AA once it is on the disk."""

    def __init__(self, host: str, port: int, codes: Codes) -> None:
        self._at = host, port
        self._codes = codes
        self._sender: Sender | None = None

    async def send(self, readings: Sequence[Reported]) -> None:
        for one in readings:
            control = f"{one.unit}-{one.sequence}"
            message = oru_of(one, self._codes, control=control, sent_ms=time.time_ns() // 1_000_000)
            try:
                self._sender = self._sender or await Sender.to(*self._at)
                said = await self._sender.send(message)
            except (OSError, TimeoutError) as error:
                await self.close()
                raise Unacknowledged(f"no answer ({type(error).__name__})") from error
            segments = [segment for segment in said.split("\r") if segment.startswith(("MSA|", "ERR|"))]
            if not any(segment.startswith("MSA|AA|") for segment in segments):
                told = " ".join(segments)[:300]
                if f"|{OURS}^" in told:
                    raise Unacknowledged("could not be kept there")
                raise RefusedInput(told, where="the listener")

    async def close(self) -> None:
        sender, self._sender = self._sender, None
        if sender is not None:
            await sender.close()
