"""POST /v1/readings: each line settled by itself once it is on the disk, by the unit's own key."""

from __future__ import annotations

import asyncio
import json
import socket
from collections.abc import Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from behaviour.feed.a_feed import SERIAL, stay
from behaviour.feed.a_listener import listening
from behaviour.feed.malformed import line, malformed
from slackwater.errors import NotWritten, RefusedInput
from slackwater.feed.http import ReadingsApp
from slackwater.feed.intake import Intake
from slackwater.feed.keys import hash_of, make_key
from slackwater.feed.line import line_of
from slackwater.feed.send import HttpDoor, stream
from slackwater.feed.serve import Doors
from slackwater.feed.take import MOST_BYTES, MOST_LINES
from slackwater.feed.tell import A_MINUTE, Teller
from slackwater.store import Record
from slackwater.store.acts import key_of

TOLD: list[str] = []


@pytest.fixture
def door(record: Record) -> Iterator[TestClient]:
    TOLD.clear()
    intake = Intake(record)
    with TestClient(ReadingsApp(intake, Teller(TOLD.append, clock=lambda: 0.0))) as client:
        yield client
    intake._group.close()


def post(door: TestClient, key: str, *lines: str | bytes, **headers: str) -> Any:
    body = b"\n".join(one.encode() if isinstance(one, str) else one for one in lines)
    return door.post("/v1/readings", content=body, headers={"authorization": f"Bearer {key}", **headers})


def outcomes(answer: Any) -> list[str]:
    assert answer.status_code == 200, answer.text
    return [one["outcome"] for one in answer.json()["lines"]]


def test_a_line_is_kept_before_it_is_answered(record: Record, door: TestClient) -> None:
    key = make_key(record, SERIAL, by="tests")
    assert outcomes(post(door, key, line())) == ["kept"]
    (kept,) = record.things("message")
    assert (kept["unit"], kept["sequence"], kept.happened_ms) == (SERIAL, 41, 2_246_019_541_000)


def test_lines_are_settled_each_by_itself(record: Record, door: TestClient) -> None:
    key = make_key(record, SERIAL, by="tests")
    answer = post(door, key, line(), "nonsense", line(sequence=42), line(), line(state="off"), "", line(unit="FEED-8"))
    assert outcomes(answer) == ["kept", "refused", "kept", "kept already", "kept beside", "refused"]
    told = answer.json()["lines"]
    assert [one["line"] for one in told] == [1, 2, 3, 4, 5, 7]
    assert "not JSON" in told[1]["why"] and "another unit's" in told[5]["why"] and "both are doubtful" in told[4]["why"]
    assert len(record.things("message")) == 3 and len(TOLD) == 1


@pytest.mark.parametrize("header", [
    None, "", "Bearer", "Bearer ", "Bearer wrong", "Basic {key}", "Bearer {key}x", "{key}", "Bearer " + "x" * 5000,
])  # fmt: skip
def test_without_a_units_key_nothing_is_taken(record: Record, door: TestClient, header: str | None) -> None:
    key = make_key(record, SERIAL, by="tests")
    headers = {} if header is None else {"authorization": header.format(key=key)}
    answer = door.post("/v1/readings", content=line(), headers=headers)
    assert answer.status_code == 401 and answer.headers["www-authenticate"] == "Bearer"
    assert record.things("message") == ()


def test_a_key_is_good_for_its_unit_alone(record: Record, door: TestClient) -> None:
    make_key(record, SERIAL, by="tests")
    other = make_key(record, "FEED-8", by="tests")
    assert outcomes(post(door, other, line(), line(unit="FEED-8"))) == ["refused", "kept"]


def test_another_key_takes_the_place_of_the_first(
    record: Record, door: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("slackwater.feed.keys.BELIEVED_S", 0.0)
    first = make_key(record, SERIAL, by="tests")
    assert outcomes(post(door, first, line())) == ["kept"]
    second = make_key(record, SERIAL, by="tests")
    assert post(door, first, line()).status_code == 401
    assert outcomes(post(door, second, line())) == ["kept already"]


def test_the_record_holds_no_key(record: Record) -> None:
    key = make_key(record, SERIAL, by="tests")
    assert len(key) >= 43  # 256 bits in base64
    (held,) = record.things("unit_key")
    assert held["hash"] == hash_of(key) and held["unit"] == key_of("unit", SERIAL)
    head = record.head()
    assert head is not None and key not in head.changes


def test_every_malformed_line_is_refused_with_its_reason_and_the_door_lives_on(
    record: Record, door: TestClient
) -> None:
    key = make_key(record, SERIAL, by="tests")
    for text, why in malformed():
        answer = post(door, key, text)
        told = answer.json()["lines"]
        assert answer.status_code == 200 and all(one["outcome"] == "refused" for one in told), (text, told)
        assert why in told[0]["why"] or b"\n" in text, (text, told)
    assert record.things("message") == ()
    assert outcomes(post(door, key, line())) == ["kept"]
    assert len(TOLD) <= A_MINUTE  # a flood of refusals is no flood of lines


def test_what_is_too_much_is_refused(record: Record, door: TestClient) -> None:
    key = make_key(record, SERIAL, by="tests")
    assert post(door, key, "x" * (MOST_BYTES + 1)).status_code == 413
    piece, times = b"x" * 1024, MOST_BYTES // 1024 + 1  # without a length said beforehand
    headers = {"authorization": f"Bearer {key}"}
    assert door.post("/v1/readings", content=(piece for _ in range(times)), headers=headers).status_code == 413
    many = [line_of(one) for one in stay().readings[: MOST_LINES + 1]]
    assert outcomes(post(door, key, *many)) == ["refused"]
    assert outcomes(post(door, key, "")) == ["refused"]
    assert outcomes(post(door, key, *many[:MOST_LINES])) == ["kept"] * MOST_LINES
    acts = {thing.seq for thing in record.things("message")}
    assert len(acts) <= 3  # what comes together shares an act


def test_other_paths_and_ways_are_refused(record: Record, door: TestClient) -> None:
    assert door.get("/v1/readings").status_code == 405
    assert door.post("/v1/readings/").status_code == 404 and door.get("/").status_code == 404


def test_a_disk_that_fails_is_told_and_the_next_try_is_kept(
    record: Record, door: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = make_key(record, SERIAL, by="tests")

    def full(*_: object) -> None:
        raise NotWritten("the disk is full")

    with monkeypatch.context() as broken:
        broken.setattr("slackwater.store.group.keep_messages", full)
        answer = post(door, key, line(), "nonsense")
    assert answer.status_code == 503 and answer.headers["retry-after"] == "5"
    assert [one["outcome"] for one in answer.json()["lines"]] == ["not written", "refused"]
    assert outcomes(post(door, key, line())) == ["kept"]


def test_over_the_wire_a_stay_is_sent_and_lines_cut_off_are_sent_again(record: Record) -> None:
    key, readings = make_key(record, SERIAL, by="tests"), stay().readings[:700]
    with listening(record, Doors(http=("127.0.0.1", 0))) as door:
        host, port = door.url.removeprefix("http://").split(":")
        half = f"POST /v1/readings HTTP/1.1\r\nauthorization: Bearer {key}\r\ncontent-length: 99\r\n\r\n{{"
        for torn in (b"POST /v1/rea", b"GET / HTTP/1.1\r\n\r\n", b"\x16\x03\x01\x02\x00", half.encode()):
            with socket.create_connection((host, int(port)), 5) as raw:
                raw.sendall(torn)
        assert asyncio.run(stream(readings, HttpDoor(door.url, key), speed=1e9)) == 0
        assert asyncio.run(stream(readings, HttpDoor(door.url, key), speed=1e9)) == 0
    assert door.counts["kept"] == door.counts["kept already"] == 700
    assert [json.loads(one["body"])["sequence"] for one in _in_order(record)] == list(range(700))


def test_whoever_sends_with_a_wrong_key_is_told_which_to_give(record: Record) -> None:
    make_key(record, SERIAL, by="tests")
    with listening(record, Doors(http=("127.0.0.1", 0))) as door, pytest.raises(RefusedInput) as told:
        asyncio.run(stream(stay().readings[:1], HttpDoor(door.url, "no key of ours"), speed=1e9))
    assert "no unit has this key" in str(told.value) and "slackwater listen key" in str(told.value)


def _in_order(record: Record) -> list[Any]:
    return sorted(record.things("message"), key=lambda one: one["sequence"])
