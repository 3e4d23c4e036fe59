"""Readings by MQTT from a real broker: acknowledged once they are on the disk, and never lost nor doubled."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import aiomqtt
import pytest

from behaviour.feed.a_broker import KINDS, running
from behaviour.feed.a_feed import SERIAL, stay
from behaviour.feed.a_listener import listening
from behaviour.feed.malformed import line, malformed
from slackwater.errors import NotWritten, UsageError
from slackwater.feed.keys import make_key
from slackwater.feed.line import line_of
from slackwater.feed.mqtt import TOPIC, Broker, broker_of, check_topic, listen, serial_in
from slackwater.feed.send import MqttDoor, stream
from slackwater.feed.serve import Doors
from slackwater.store import Record
from slackwater.store import group as group_module
from ward.a_port import free_port
from ward.until import LONG_S, until


@dataclass
class Site:
    """A broker and how to speak to it."""

    kind: str
    port: int

    def broker(self, name: str) -> Broker:
        return Broker("127.0.0.1", self.port, name)

    @property
    def doors(self) -> Doors:
        return Doors(broker=self.broker("listener"))

    def publish(self, payloads: Sequence[bytes | str], serial: str = SERIAL) -> None:
        async def send() -> None:
            async with aiomqtt.Client("127.0.0.1", self.port, identifier="a-unit", timeout=LONG_S) as client:
                for payload in payloads:
                    await client.publish(TOPIC.replace("+", serial), payload, qos=1)

        asyncio.run(send())


@pytest.fixture(params=KINDS)
def site(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Site]:
    port = free_port()
    with running(request.param, tmp_path, port):
        yield Site(request.param, port)


def kept(record: Record) -> int:
    return len(record.things("message"))


def subscribed(record: Record, site: Site) -> None:
    """Once what is sent arrives, the listener is subscribed."""

    def arrives() -> bool:
        site.publish([line(sequence=10**6)])
        return kept(record) == 1

    until(arrives)


def test_what_is_sent_is_kept_once(record: Record, site: Site) -> None:
    make_key(record, SERIAL, by="tests")
    readings = stay().readings[:300]
    with listening(record, site.doors) as found:
        subscribed(record, site)
        asyncio.run(stream(readings, MqttDoor(site.broker("a-unit")), speed=1e9))
        asyncio.run(stream(readings[:50], MqttDoor(site.broker("a-unit")), speed=1e9))
        until(lambda: kept(record) == 301)
    assert found.counts["kept"] == 301


def test_what_comes_while_nobody_listens_waits_at_the_broker(record: Record, site: Site) -> None:
    make_key(record, SERIAL, by="tests")
    with listening(record, site.doors):
        subscribed(record, site)
    site.publish([line_of(one) for one in stay().readings[:20]])
    assert kept(record) == 1
    with listening(record, site.doors):
        until(lambda: kept(record) == 21)


def test_what_could_not_be_written_is_not_acknowledged_and_comes_again(
    record: Record, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_key(record, SERIAL, by="tests")
    keeping, failures = group_module.keep_messages, []

    def fails_first(*given: object) -> list[str]:
        if len(failures) < 2 and kept(record):
            failures.append(given)
            raise NotWritten("the disk is full")
        return keeping(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(group_module, "keep_messages", fails_first)
    monkeypatch.setattr("slackwater.feed.mqtt.PAUSES_S", (0.2,))
    with listening(record, site.doors) as found:
        subscribed(record, site)
        site.publish([line_of(one) for one in stay().readings[:10]])
        until(lambda: kept(record) == 11)
    assert failures and any("disk or server failed" in text for text in found.told)


def test_malformed_messages_are_refused_acknowledged_and_do_not_come_again(record: Record, site: Site) -> None:
    make_key(record, SERIAL, by="tests")
    bad = [text for text, _ in malformed()][:220]
    with listening(record, site.doors) as found:
        subscribed(record, site)
        site.publish([*bad, line(sequence=1)])
        until(lambda: kept(record) == 2)
    assert found.counts["refused"] >= len(bad) and len(found.told) <= 21
    with listening(record, site.doors) as again:
        site.publish([line(sequence=2)])
        until(lambda: kept(record) == 3)
    assert again.counts.get("refused", 0) == 0


def test_a_unit_speaks_on_its_own_topic_alone(record: Record, site: Site) -> None:
    make_key(record, SERIAL, by="tests")
    make_key(record, "FEED-8", by="tests")
    with listening(record, site.doors) as found:
        subscribed(record, site)
        site.publish([line()], serial="FEED-8")
        site.publish([line(unit="FEED-8")], serial="FEED-8")
        until(lambda: kept(record) == 2)
    assert found.counts["refused"] == 1 and "another unit's" in found.told[-1]


def test_a_broker_that_goes_away_is_tried_again(
    record: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_key(record, SERIAL, by="tests")
    monkeypatch.setattr("slackwater.feed.mqtt.PAUSES_S", (0.2,))
    there = Site("amqtt", free_port())
    with listening(record, there.doors) as found:
        until(lambda: any("tried again" in text for text in found.told))
        with running("amqtt", tmp_path, there.port):
            subscribed(record, there)
    assert found.counts["kept"] == 1


def test_a_broker_that_goes_away_at_the_moment_of_stopping_does_not_keep_it_open(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    there, tries = asyncio.Event(), []

    class Connection:
        async def __aenter__(self) -> Connection:
            return self

        async def __aexit__(self, *_: object) -> None:
            return None

        async def subscribe(self, *_: object, **__: object) -> None:
            tries.append(1)
            there.set()

    async def lost_as_it_stops(*_: object) -> None:
        """As a task group of Python 3.11 does, one of whose tasks fails while it is being cancelled."""
        try:
            await asyncio.Event().wait()
        except asyncio.CancelledError:
            raise aiomqtt.MqttError("Disconnected during message iteration") from None

    monkeypatch.setattr("slackwater.feed.mqtt.client_of", lambda _: Connection())
    monkeypatch.setattr("slackwater.feed.mqtt._receive", lost_as_it_stops)

    async def stop() -> None:
        open_door = asyncio.create_task(listen(None, Broker("127.0.0.1", 1, "n"), print))  # type: ignore[arg-type]
        await there.wait()
        open_door.cancel()
        done, _ = await asyncio.wait([open_door], timeout=LONG_S)
        assert done and open_door.cancelled() and len(tries) == 1

    asyncio.run(stop())


def test_addresses_and_topics_are_read_strictly() -> None:
    assert broker_of("mqtt://u:p%40ss@h:1884", "n") == Broker("h", 1884, "n", "u", "p@ss", False)
    assert broker_of("mqtts://h", "n").port == 8883  # IANA: secure-mqtt
    assert broker_of("mqtt://h", "n").port == 1883  # IANA: mqtt
    assert serial_in("a/SN-1/b", "a/+/b") == "SN-1"
    for url in ("http://h", "mqtt://", "h:1883", "mqtt://h:x", "mqtt://h/path"):
        with pytest.raises(UsageError):
            broker_of(url, "n")
    for topic in ("a/b", "a/+/+", "a/#", "+x/b", "#"):
        with pytest.raises(UsageError):
            check_topic(topic)
