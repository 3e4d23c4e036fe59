"""`slackwater listen` and `slackwater simulate --live`, as a person calls them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from behaviour.feed.a_broker import running
from behaviour.feed.a_feed import SERIAL, paired, sent, stay
from behaviour.feed.a_listener import listening
from slackwater.cli.app import group
from slackwater.errors import SlackwaterError
from slackwater.feed.keys import make_key
from slackwater.feed.mqtt import Broker
from slackwater.feed.serve import Doors
from slackwater.store import Record
from ward.a_port import free_port


def called(*words: str) -> tuple[int, str]:
    """Exit code and all that was written."""
    done = CliRunner().invoke(group, list(words))
    if isinstance(done.exception, SlackwaterError):
        return done.exception.exit_code, f"{done.output}{done.exception}"
    return done.exit_code, done.output


def test_a_key_is_shown_once_and_replaces_the_one_before(record: Record, place: str) -> None:
    keys = {CliRunner().invoke(group, ["listen", "key", SERIAL, "--record", place]).stdout.strip() for _ in range(2)}
    assert len(keys) == 2 and all(len(key) >= 43 for key in keys)
    assert len(record.things("unit_key")) == 1 and len(record.things("unit")) == 1


@pytest.mark.parametrize(("words", "why"), [
    ([], "nothing to listen to"),
    (["--http", "somewhere"], "is no address"),
    (["--http", "127.0.0.1:99999"], "is no address"),
    (["--http", "0.0.0.0:8420"], "health data in the clear"),
    (["--mllp", "ward.example:2575"], "health data in the clear"),
    (["--mqtt", "http://127.0.0.1"], "no address of a broker"),
    (["--mqtt", "mqtt://127.0.0.1", "--topic", "a/#"], "where the serial stands"),
    (["key", "no serial"], "is no serial number"),
])  # fmt: skip
def test_what_makes_no_sense_is_refused_in_one_line(record: Record, place: str, words: list[str], why: str) -> None:
    code, told = called("listen", *words, "--record", place)
    assert code == 2 and why in " ".join(told.split())


def test_units_are_listed_with_whom_their_readings_belong_to(record: Record, place: str) -> None:
    drain = paired(record, stay().bundle)
    sent(record, stay().readings[:3])
    make_key(record, "FEED-8", by="tests")
    make_key(record, "FEED-9", by="tests")
    from dataclasses import replace

    sent(record, [replace(one, unit="FEED-8") for one in stay().readings[:3]])
    _, told = called("listen", "units", "--record", place)
    assert "FEED-8  last reading 2041-03-04T06:00:30Z  belongs to nobody yet" in told
    assert "FEED-9  nothing came yet" in told and "No reading is not a reading of zero" in told
    listed = json.loads(CliRunner().invoke(group, ["listen", "units", "--json", "--record", place]).stdout)["units"]
    assert [one["drains"] for one in listed] == [[drain], [], []]
    assert [one["of_nobody"] for one in listed] == [False, True, False]


@pytest.mark.slow
def test_an_invented_unit_sends_live_by_each_door(record: Record, place: str, tmp_path: Path) -> None:
    """The same ten minutes by HTTP, MQTT and MLLP: each reading kept once."""
    keys = [make_key(record, f"LIVE-{n}", by="tests") for n in (1, 2, 3)]
    port = free_port()
    doors = Doors(http=("127.0.0.1", 0), mllp=("127.0.0.1", 0), broker=Broker("127.0.0.1", port, "listener"))
    with running("amqtt", tmp_path, port), listening(record, doors) as door:
        mllp = next(text for text in door.ready if text.startswith("MLLP")).split()[1]
        for serial, to in (
            ("LIVE-1", ["--http", door.url, "--key", keys[0]]), ("LIVE-2", ["--mqtt", f"mqtt://127.0.0.1:{port}"]),
            ("LIVE-3", ["--mllp", mllp]),
        ):  # fmt: skip
            code, told = called("simulate", "healing", "--live", "--serial", serial, *to, "--speed", "1e6",
                                "--hours", "0.05")  # fmt: skip
            assert code == 0 and "sent healing" in told, told
    kept = [thing["unit"] for thing in record.things("message")]
    assert {unit: kept.count(unit) for unit in set(kept)} == {"LIVE-1": 90, "LIVE-2": 90, "LIVE-3": 90}


@pytest.mark.parametrize(("words", "why"), [
    ([], "needs a unit and one place"),
    (["--serial", "A", "--http", "http://h", "--mqtt", "mqtt://h"], "needs a unit and one place"),
    (["--serial", "A", "--serial", "B", "--http", "http://h", "--key", "k"], "need as many keys"),
    (["--serial", "A", "--http", "h:1", "--key", "k"], "is no address"),
    (["--serial", "A", "--mllp", "h"], "is no address"),
    (["--serial", "A", "--mllp", "h:99999"], "is no address"),
    (["--serial", "A", "--http", "http://h:99999", "--key", "k"], "is no address"),
])  # fmt: skip
def test_a_live_simulation_says_what_is_missing(words: list[str], why: str) -> None:
    code, told = called("simulate", "healing", "--live", "--hours", "0.02", *words)
    assert code == 2 and why in told
