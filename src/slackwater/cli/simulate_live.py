"""`slackwater simulate --live`: invented units that send as real ones would."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import click

from slackwater.errors import MissingPart, UsageError
from slackwater.simulate import Scenario

if TYPE_CHECKING:
    from slackwater.feed.line import Reported
    from slackwater.feed.send import Door

TOLD = 20  # repeated sendings that are told; more are only counted


def send(
    plan: Scenario, seed: int, serials: Sequence[str], *, http: str | None, keys: Sequence[str], mqtt: str | None,
    mllp: str | None, speed: float, hours: float | None,
) -> None:  # fmt: skip
    """Simulate a stay for each unit and send its readings in time, until the last is acknowledged."""
    if sum(one is not None for one in (http, mqtt, mllp)) != 1 or not serials:
        raise UsageError("needs a unit and one place to send to", where="--live",
                         mend="Give --serial, and one of --http, --mqtt, --mllp.")  # fmt: skip
    if http is not None and len(keys) != len(serials):
        raise UsageError(f"{len(serials)} units need as many keys", where="--key",
                         mend="Make one for each: slackwater listen key SERIAL.")  # fmt: skip
    try:
        from slackwater.feed import send as feed
    except ImportError:
        raise MissingPart("--live needs the extra 'feed'", mend="pip install 'slackwater[feed]'.") from None

    told: list[str] = []

    def tell(text: str) -> None:
        told.append(text)
        if len(told) <= TOLD:
            click.echo(text, err=True)

    async def all_units() -> list[int]:
        return await asyncio.gather(*(
            feed.stream(_readings(plan, seed + at, serial, speed, hours),
                        _door(serial, http, keys[at] if keys else "", mqtt, mllp), speed=speed, told=tell)
            for at, serial in enumerate(serials)
        ))  # fmt: skip

    again = asyncio.run(all_units())
    click.echo(f"sent {plan.name} as {', '.join(serials)} (seed {seed}); {sum(again)} sendings were repeated")


def _readings(plan: Scenario, seed: int, serial: str, speed: float, hours: float | None) -> list[Reported]:
    """Stamped so that none lies ahead of the clock: at the end, the stay has caught up with it."""
    from slackwater.feed.readings import readings_of
    from slackwater.reading.layout import Layout
    from slackwater.reading.read import read_log
    from slackwater.simulate import simulate

    length_s = 3600 * (plan.hours if hours is None else min(hours, plan.hours))
    start_s = round(time.time() - length_s * (1 - 1 / speed if speed > 1 else 0))
    plan = replace(
        plan, hours=length_s / 3600, start=datetime.fromtimestamp(start_s, UTC),
        faults=tuple(fault for fault in plan.faults if fault.end_s < length_s),
    )  # fmt: skip
    stay = simulate(plan, seed)
    layout = Layout.from_toml(stay.layout_toml, "layout.toml")
    return [one for data in stay.logs[:1] for one in readings_of(read_log(data, layout, "log.csv", 1.0), serial)]


def _door(serial: str, http: str | None, key: str, mqtt: str | None, mllp: str | None) -> Door:
    from slackwater.feed.address import split_address
    from slackwater.feed.hl7_codes import shipped_codes
    from slackwater.feed.mqtt import broker_of
    from slackwater.feed.send import HttpDoor, MllpDoor, MqttDoor

    if http is not None:
        return HttpDoor(http, key)
    if mqtt is not None:
        return MqttDoor(broker_of(mqtt, f"simulated-{serial}"))
    at, port = split_address(f"//{mllp}")
    if not at.hostname or port is None:
        raise UsageError("is no address", where="--mllp", mend="Write HOST:PORT.")
    return MllpDoor(at.hostname, port, shipped_codes())
