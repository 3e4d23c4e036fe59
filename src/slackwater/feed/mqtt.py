"""Readings by MQTT: one topic a unit, acknowledged to the broker (QoS 1) only once they are on the disk.

The session outlasts the connection, so what comes while nobody listens waits at the broker.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from itertools import count
from urllib.parse import unquote

import aiomqtt

from slackwater.errors import UsageError
from slackwater.feed.address import split_address
from slackwater.feed.intake import Intake
from slackwater.feed.take import NOT_WRITTEN, REFUSED, Answer, take
from slackwater.feed.tell import Teller

TOPIC = "slackwater/units/+/readings"
MOST_UNDER_WAY = 1000  # messages read from the broker and not yet acknowledged
PAUSES_S = (1.0, 2.0, 5.0, 15.0)  # before the next try to reach the broker, or to write


@dataclass(frozen=True)
class Broker:
    """Where the broker is. `name`: this listener's own; two that share one throw each other out."""

    host: str
    port: int
    name: str
    user: str | None = None
    password: str | None = None
    tls: bool = False


def broker_of(url: str, name: str) -> Broker:
    """From mqtt://[user:password@]host[:port], or mqtts:// for TLS. Raises UsageError."""
    parts, port = split_address(url)
    if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname or parts.path not in ("", "/"):
        raise UsageError("is no address of a broker", where="--mqtt", mend="Write mqtt://host:1883 or mqtts://host.")
    tls = parts.scheme == "mqtts"
    return Broker(
        parts.hostname, port or (8883 if tls else 1883), name,
        None if parts.username is None else unquote(parts.username),
        None if parts.password is None else unquote(parts.password), tls,
    )  # fmt: skip


def check_topic(topic: str) -> None:
    """Raises UsageError unless exactly one level of the topic is '+', for the unit's serial."""
    levels = topic.split("/")
    if levels.count("+") != 1 or "#" in topic or any("+" in level and level != "+" for level in levels):
        raise UsageError(f"{topic[:60]!r} does not say where the serial stands", where="--topic",
                         mend=f"Write one level as +, e.g. {TOPIC}.")  # fmt: skip


def serial_in(topic: str, pattern: str) -> str:
    """The serial that a topic names, at the level where the pattern has '+'."""
    return topic.split("/")[pattern.split("/").index("+")]


async def listen(intake: Intake, broker: Broker, tell: Teller, topic: str = TOPIC) -> None:
    """Take readings until it is cancelled; a broker that goes away is tried again and again."""
    check_topic(topic)
    failed = 0
    while True:
        try:
            async with client_of(broker) as client:
                await client.subscribe(topic, qos=1)
                _unless_cancelled()
                failed = 0
                await _receive(client, intake, tell, topic)
        except aiomqtt.MqttError as error:
            _unless_cancelled()
            pause = PAUSES_S[min(failed, len(PAUSES_S) - 1)]
            failed += 1
            tell(f"mqtt: {error}; the broker is tried again in {pause:g} s")
            await asyncio.sleep(pause)


def _unless_cancelled() -> None:
    """A connection that stands, or falls, at the very moment it is cancelled can hide that it was: in Python 3.11
    wait_for, in the client, then tells only of what came."""
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError


def client_of(broker: Broker) -> aiomqtt.Client:
    """A client whose session outlasts its connection, and that acknowledges nothing by itself."""
    client = aiomqtt.Client(
        broker.host, broker.port, identifier=broker.name, clean_session=False,
        username=broker.user, password=broker.password,
        tls_params=aiomqtt.TLSParameters() if broker.tls else None,
    )  # fmt: skip
    # aiomqtt has no door of its own for it: paho, below it, must not acknowledge before the commit.
    client._client.manual_ack_set(True)
    return client


async def _receive(client: aiomqtt.Client, intake: Intake, tell: Teller, topic: str) -> None:
    under_way: asyncio.Queue[tuple[aiomqtt.Message, asyncio.Task[list[Answer]]]] = asyncio.Queue(MOST_UNDER_WAY)

    async def read() -> None:
        async for message in client.messages:
            payload = message.payload if isinstance(message.payload, bytes) else b""
            taking = asyncio.create_task(_settle(intake, payload, serial_in(str(message.topic), topic), tell))
            await under_way.put((message, taking))

    async def acknowledge() -> None:
        """In the order in which they came, as MQTT wants it (3.1.1, section 4.6)."""
        while True:
            message, taking = await under_way.get()
            answers = await taking
            bad = [one for one in answers if one.outcome == REFUSED]
            if bad:  # acknowledged all the same: it would only come back for ever
                tell(f"mqtt: refused {len(bad)} of {len(answers)} lines on {str(message.topic)[:80]}: {bad[0].why}")
            client._client.ack(message.mid, message.qos)

    both = [asyncio.create_task(read()), asyncio.create_task(acknowledge())]
    try:  # not a task group: in Python 3.11 and 3.12 one that fails while it is cancelled hides that it was
        done, _ = await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()
    finally:
        for task in both:
            task.cancel()
        await asyncio.gather(*both, return_exceptions=True)
        while not under_way.empty():
            under_way.get_nowait()[1].cancel()


async def _settle(intake: Intake, payload: bytes, serial: str, tell: Teller) -> list[Answer]:
    """The answers once each line is kept or refused. While disk or server fail it is tried again and again: the broker
    waits, and where this process ends it sends again what was not acknowledged."""
    for failed in count():
        answers = await take(intake, payload, serial)
        if not any(one.outcome == NOT_WRITTEN for one in answers):
            return answers
        tell("mqtt: disk or server failed; nothing is acknowledged until it is written")
        await asyncio.sleep(PAUSES_S[min(failed, len(PAUSES_S) - 1)])
    raise AssertionError("it counts for ever")
