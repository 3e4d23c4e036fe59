"""The running ward's round moves as readings come: until when there are data at once, what is concluded by minute."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from behaviour.feed.a_feed import SERIAL, sent, stay
from slackwater.feed.line import Reported
from slackwater.store.acts import key_of
from slackwater.store.record import Record
from ward.a_ward import CHARTED, NOW_MS, Clock, a_ward, signed_in
from ward.until import until

MINUTE_MS = 60_000


def shown(client: TestClient) -> tuple[int | None, str]:
    """Until when the line of the charted drain says there are data (UTC ms), and its words."""
    text = client.get("/round/lines", headers={"x-by-itself": "1"}).text
    tile = next((one for one in text.split('<li class="tile"')[1:] if CHARTED in one), "")
    found = re.search(r'data-until="([0-9]+)"', tile)
    return (int(found[1]) if found else None), tile


def pair(record: Record) -> None:
    patient = key_of("patient", CHARTED.split("/")[0])
    (drain,) = [one for one in record.things("drain") if record.thing("episode", one["episode"])["patient"] == patient]  # type: ignore[index]
    with record.act(by="tests", what="paired") as act:
        act.add("unit", key_of("unit", SERIAL), {"serial": SERIAL})
        act.add("pairing", key_of("pairing", "live"), {
            "patient": patient, "drain": drain.key, "unit": key_of("unit", SERIAL), "from_ms": NOW_MS - 3_600_000,
        })  # fmt: skip


def readings(until_ms: int, count: int = 60) -> list[Reported]:
    """Readings of the last ten minutes, numbered by their moment."""
    return [
        replace(one, time_ms=(at := until_ms - 10_000 * back), sequence=at)
        for one, back in zip(stay().readings, range(count - 1, -1, -1), strict=False)
    ]


@pytest.mark.slow
def test_the_round_moves_as_readings_come(tmp_path: Path) -> None:
    clock = Clock()
    with a_ward(tmp_path, clock) as (app, client):
        signed_in(client)
        record = app.state.record
        until(lambda: "spot" in shown(client)[1] or (shown(client)[0] is None and bool(shown(client)[1])))
        pair(record)
        sent(record, readings(NOW_MS))
        until(lambda: shown(client)[0] == NOW_MS)
        for minute in (1, 2):  # the clock goes on, and so do the readings: the line follows, whatever is being judged
            clock.ms = NOW_MS + minute * MINUTE_MS
            sent(record, readings(clock.ms, 6))
            until(lambda: shown(client)[0] == clock.ms)
        drain = re.search(r'id="d-([0-9a-f]+)"', shown(client)[1])
        assert drain is not None
        assert "FEED-7 as sent" in client.get(f"/drain/{drain[1]}").text


@pytest.mark.slow
def test_a_unit_of_nobody_and_a_clock_ahead_move_no_line(tmp_path: Path) -> None:
    with a_ward(tmp_path) as (app, client):
        signed_in(client)
        record = app.state.record
        with record.act(by="tests", what="registered") as act:
            act.add("unit", key_of("unit", "FEED-8"), {"serial": "FEED-8"})
        pair(record)
        sent(record, [replace(one, unit="FEED-8") for one in readings(NOW_MS)])
        sent(record, readings(NOW_MS + 3_600_000, 5))
        sent(record, readings(NOW_MS - 2 * MINUTE_MS))
        until(lambda: shown(client)[0] is not None)
        assert shown(client)[0] == NOW_MS - 2 * MINUTE_MS
        until(lambda: "after now" in shown(client)[1])  # the clock is told, and the later rows are not used
