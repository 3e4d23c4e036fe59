"""A rule that asks of every reading heeds the last seconds too, though their minute is not whole yet.

Source of each check: docs/protocols.md, on what came since the log's last whole minute; the log as it is written here.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

import slackwater

BEGIN = datetime(2041, 3, 6, 8, 0, tzinfo=UTC)
LAYOUT = slackwater.Layout.from_toml(
    """
[log]
separator = ","
decimal = "."
[time]
columns = ["time"]
format = "iso"
marks = "end"
every = "10 s"
[flow]
column = "flow"
unit = "mL/min"
step = "1 mL/min"
rounding = "nearest"
statistic = "mean"
[pressure]
column = "pressure"
unit = "cmH2O"
suction_is = "negative"
""",
    "layout.toml",
)
WHOLE = 40 * 6  # rows of 10 s: forty whole minutes


def rule(more: str) -> slackwater.Protocol:
    text = (
        'name = "drawn"\nversion = "1"\nstatus = "draft"\nguards = "none"\n'
        '[evidence]\ndata_age = "1 h"\ngaps = "0 min"\nrestart_on = ["reconnection"]\n'
        f'[[removal]]\nid = "air"\nmeasure = "air_leak"\nis = "below"\nlimit = "50 mL/min"\n{more}\n'
    )
    return slackwater.load_protocol(text.encode(), "drawn.toml")


LASTING = rule('lasting = "30 min"')


def at(rows: int) -> datetime:
    return BEGIN + timedelta(seconds=10 * rows)


def air(last: list[int], protocol: slackwater.Protocol = LASTING, chart: str = "", later_s: int = 0) -> dict[str, Any]:
    """The clause, with `last` after forty whole minutes at 20 mL/min."""
    flows = [20] * WHOLE + last
    rows = [f"{at(n).isoformat()},{flow},-8" for n, flow in enumerate(flows, 1)]
    log = slackwater.read_log("\n".join(["time,flow,pressure", *rows, ""]).encode(), LAYOUT, "log.csv")
    asked = at(len(flows)) + timedelta(seconds=later_s)
    found = slackwater.assess(
        [log], chart=slackwater.read_chart(f"time,item,value,unit,note\n{chart}".encode(), "chart.csv"),
        protocol=protocol, now_ms=round(asked.timestamp() * 1000),
    )  # fmt: skip
    (one,) = slackwater.document(found)["criteria"]
    return dict(one)


def test_control_below_the_limit_to_the_end_it_is_met() -> None:
    assert air([])["status"] == "met"
    assert air([20, 49])["status"] == "met"


@pytest.mark.parametrize("last", [[80], [20, 80], [80, 20, 20]])
def test_a_reading_over_the_limit_in_the_last_seconds_breaks_it(last: list[int]) -> None:
    one = air(last)
    assert one["status"] == "not_met"
    assert one["value"]["low"] == 79.5, "a step of 1 mL/min, rounded to the nearest"
    first = one["evidence"][0]
    assert (first["from"], first["to"]) == (
        f"{at(WHOLE):%Y-%m-%dT%H:%M:%SZ}",
        f"{at(WHOLE + len(last)):%Y-%m-%dT%H:%M:%SZ}",
    )
    assert first["rows"] == [{"file": "log.csv", "from_line": WHOLE + 2, "to_line": WHOLE + 1 + len(last)}]
    assert one["needs"][0]["by_when"] == "2041-03-06T09:11:00Z", "thirty minutes from the first whole minute after it"


def test_of_a_run_broken_before_it_shows_what_broke_it() -> None:
    one = air([180, 20, 20, 20, 20, 20, 80])
    assert (one["status"], one["value"]["low"], one["value"]["high"]) == ("not_met", 179.5, 180.5)
    assert len(one["evidence"]) == 2 and one["needs"][0]["by_when"] == "2041-03-06T09:12:00Z"


def test_it_says_the_same_once_the_minute_is_whole() -> None:
    assert air([80, 20])["status"] == air([80, 20, 20, 20, 20, 20])["status"] == "not_met"


def test_a_reading_that_may_lie_below_breaks_nothing() -> None:
    """49.5 to 50.5 mL/min: it may be either."""
    assert air([50])["status"] == "met"
    assert air([51])["status"] == "not_met"


def test_a_mean_over_minutes_waits_for_its_window() -> None:
    assert air([80], rule('lasting = "30 min"\nbin = "10 min"'))["status"] == "met"


def test_of_the_latest_value_it_is_the_latest() -> None:
    latest = rule('within = "10 min"')
    assert air([20], latest)["status"] == "met"
    assert air([80], latest)["status"] == "not_met"
    assert air([80], latest, later_s=700)["status"] == "cannot_tell", "longer ago than the clause looks back"


def test_a_restart_since_leaves_the_latest_value_open() -> None:
    """The last window began before it; a run starts anew, and says when it can be long enough."""
    joined = f"{at(WHOLE + 2).isoformat()},tubing,reconnected,,\n"
    assert air([20, 20, 20], rule('within = "10 min"'), joined)["status"] == "cannot_tell"
    one = air([20, 20, 20], LASTING, joined)
    assert (one["status"], one["needs"][0]["by_when"]) == ("not_met", "2041-03-06T09:11:00Z")
    assert one["evidence"][0]["rows"] == [{"file": "chart.csv", "from_line": 2, "to_line": 2}]
