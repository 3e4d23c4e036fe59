"""Which of a log's minutes tell of a battery: those in which the unit did its work."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import cast

import pytest

from slackwater.reading.layout import Layout
from slackwater.reading.read import read_log
from slackwater.store.charge_frame import charge_frame
from slackwater.store.course import Course

LAYOUT = """
[log]
separator = ","
decimal = "."
[time]
columns = ["time"]
format = "iso"
marks = "end"
[flow]
column = "flow"
unit = "mL/min"
statistic = "mean"
[pressure]
column = "p"
unit = "cmH2O"
suction_is = "negative"
[battery]
column = "charge"
unit = "%"
[mains]
column = "plugged"
yes = ["1"]
no = ["0"]
"""
STATE = """
[state]
column = "state"
[state.words]
run = "running"
rest = "standby"
"""


def falls(flow: str, p: str, state: str | None) -> list[tuple[int, int]]:
    """Ten hours off the mains from 99 to 90 %, then one hour on it; every ten-hour stretch three times."""
    at, rows = datetime(2041, 3, 1, tzinfo=UTC), ["time,flow,p,charge,plugged,state"]
    for _ in range(3):
        for minute in range(600):
            at += timedelta(minutes=1)
            rows.append(f"{at:%Y-%m-%dT%H:%M:%SZ},{flow},{p},{99 - minute // 60},0,{state or ''}")
        for _ in range(60):
            at += timedelta(minutes=1)
            rows.append(f"{at:%Y-%m-%dT%H:%M:%SZ},20,-20,100,1,{'run' if state else ''}")
    layout = Layout.from_toml(LAYOUT + ("" if state is None else STATE), "layout.toml")
    log = read_log(("\n".join(rows) + "\n").encode(), layout, "log.csv", 1.0)
    pairing = {"drain": "d", "unit": "u", "from_ms": 0, "to_ms": None}
    course = SimpleNamespace(pairings=[pairing], drain=SimpleNamespace(key="d"))
    frame = charge_frame([log], cast(Course, course))
    return [(one["first_percent"], one["last_percent"]) for one in frame.iter_rows(named=True) if one["what"] == "fall"]


@pytest.mark.parametrize(
    ("flow", "p", "state", "counts"),
    [
        ("40", "-20", "run", True), ("", "", "run", True), ("", "", "rest", False), ("0", "0", "rest", False),
        ("40", "-20", None, True), ("0", "-20", None, True), ("20", "", None, True), ("0", "", None, True),
        ("", "", None, False), ("0", "0", None, False), ("", "0", None, False),
    ],
)  # fmt: skip
def test_standby_off_the_mains_is_no_discharge(flow: str, p: str, state: str | None, counts: bool) -> None:
    """A unit that rests loses next to nothing: were it counted, run-time would be told many times too long."""
    assert falls(flow, p, state) == ([(99, 90)] * 3 if counts else [])
