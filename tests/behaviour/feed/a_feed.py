"""A drain on a unit that sends by itself, and the same stay's log as a file. Everything is invented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

from slackwater.assessment.document import document
from slackwater.episode.episode import read_episode
from slackwater.feed.line import Reported, message_of
from slackwater.feed.readings import readings_of
from slackwater.protocol.load import load_protocol
from slackwater.protocol.shipped import shipped_bytes
from slackwater.reading.layout import Layout
from slackwater.reading.log import Log
from slackwater.reading.read import read_log
from slackwater.simulate import scenario, simulate
from slackwater.simulate.unit_type import UnitType
from slackwater.simulate.unit_types import PEBBLE
from slackwater.store.acts import key_of
from slackwater.store.group import keep_messages
from slackwater.store.read_out import assess_drain
from slackwater.store.record import Record
from slackwater.store.take_in import Bundle, GivenLog, take_in

START = datetime(2041, 3, 4, 6, 0, tzinfo=UTC)
START_MS = int(START.timestamp() * 1000)
SERIAL = "FEED-7"
RULE = "air-20-8h"


@dataclass(frozen=True)
class Stayed:
    """An invented stay: its bundle without a log, its log as a file, and what its unit sent."""

    bundle: Bundle
    given: GivenLog
    log: Log
    readings: tuple[Reported, ...]


@cache
def stay(name: str = "healing", hours: float = 10.0, every_s: int = 10, unit: UnitType = PEBBLE) -> Stayed:
    plan = scenario(name)
    plan = replace(
        plan, hours=hours, start=START, zone="UTC", unit=replace(unit, cadence_s=every_s),
        faults=tuple(fault for fault in plan.faults if fault.end_s < hours * 3600),
    )  # fmt: skip
    made = simulate(plan, 3)
    given = GivenLog("log.csv", made.logs[0], Layout.from_toml(made.layout_toml, "layout.toml"))
    log = read_log(given.data, given.layout, "log.csv")
    bundle = Bundle(
        "feed", read_episode(made.episode_toml.encode(), "episode.toml"),
        charts=(("chart.csv", made.chart_csv.encode()),), zone="UTC",
    )  # fmt: skip
    return Stayed(bundle, given, log, tuple(readings_of(log, SERIAL)))


def paired(record: Record, bundle: Bundle, from_ms: int = START_MS, to_ms: int | None = None) -> str:
    """The drain of the bundle, its unit paired with it; returns the drain's key."""
    drain = take_in(record, bundle, by="tests").drain
    with record.act(by="tests", what="paired") as act:
        (tube,) = act.things("drain", keys=[drain])
        (episode,) = act.things("episode", keys=[tube["episode"]])
        unit = key_of("unit", SERIAL)
        if act.thing("unit", unit) is None:
            act.add("unit", unit, {"serial": SERIAL})
        fields = {"patient": episode["patient"], "drain": drain, "unit": unit, "from_ms": from_ms, "to_ms": to_ms}
        act.add("pairing", key_of("pairing", drain, from_ms), fields)
    return drain


def sent(record: Record, readings: Sequence[Reported]) -> None:
    """Keep readings as the intake does, a few to an act."""
    for at in range(0, len(readings), 1500):
        keep_messages(record, [message_of(one) for one in readings[at : at + 1500]], "tests")


def judged(record: Record, drain: str, now_ms: int | None = None) -> dict[str, Any]:
    """The assessment as JSON, but for what tells files apart (their names, lines and hashes) and how many later rows
    were left out."""
    rule = load_protocol(shipped_bytes(RULE), f"{RULE}.toml")
    told: dict[str, Any] = without_files(document(assess_drain(record, drain, protocol=rule, now_ms=now_ms)))
    told["history"] = [step for step in told["history"] if step["name"] != "leave out what is not yet known"]
    return told


def without_files(told: Any) -> Any:
    if isinstance(told, dict):
        return {key: without_files(value) for key, value in told.items() if key not in ("rows", "logs", "notes")}
    if isinstance(told, list):
        return [without_files(one) for one in told]
    return told


def after(hours: float) -> int:
    return START_MS + int(timedelta(hours=hours).total_seconds() * 1000)
