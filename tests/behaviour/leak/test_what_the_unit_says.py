"""The unit's own words are a doubt of a low flow, and never explain a flow away. Invented logs."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from slackwater.assessment.assess import assess
from slackwater.leak.words import REASONS, STATES
from slackwater.protocol.load import load_protocol
from slackwater.protocol.shipped import shipped_bytes
from slackwater.reading.layout import Layout
from slackwater.reading.read import read_log

LAYOUT = """
[log]
separator = ","
decimal = "."
encoding = "utf-8"
skip_lines = 0
units_line = false
[time]
columns = ["time"]
format = "iso"
marks = "end"
[flow]
column = "flow"
unit = "mL/min"
statistic = "mean"
[pressure]
column = "pressure"
unit = "cmH2O"
suction_is = "negative"
[state]
column = "state"
words = { on = "running", short = "suction_not_reached", block = "line_blocked", full = "container_full" }
"""


def judged(word: str, flow: int) -> tuple[set[str], set[str]]:
    """States and reasons of the last of three hours, in which the unit says `word`."""
    start = datetime(2041, 3, 4, 6, 0, tzinfo=UTC)
    rows = ["time,flow,pressure,state"]
    for n in range(1, 3 * 360 + 1):
        said = word if n > 720 else "on"
        breath = 3 if n % 2 else -3
        rows.append(f"{(start + timedelta(seconds=10 * n)).isoformat()},{flow + breath},{-19 + breath / 3:.1f},{said}")
    log = read_log("\n".join(rows).encode() + b"\n", Layout.from_toml(LAYOUT, "layout.toml"), "log.csv")
    found = assess([log], protocol=load_protocol(shipped_bytes("air-50-8h"), "air-50-8h.toml"), zone="UTC").leak_trace
    assert found is not None
    last = slice(130, 175)
    return {STATES[code] for code in found.state[last]}, {REASONS[code] for code in found.doubt.reason[last]}


@pytest.mark.parametrize("word", ["short", "block", "full"])
def test_a_large_flow_stays_a_leak_whatever_the_unit_says(word: str) -> None:
    states, _ = judged(word, 500)
    assert states == {"leaking"}


@pytest.mark.parametrize(("word", "why"), [("short", "off"), ("full", "off"), ("block", "blocked")])
def test_a_low_flow_is_distrusted_where_the_unit_says_why(word: str, why: str) -> None:
    states, reasons = judged(word, 8)
    assert states == {"cannot_tell"} and reasons == {why}
    assert judged("on", 8)[0] == {"quiet"}
