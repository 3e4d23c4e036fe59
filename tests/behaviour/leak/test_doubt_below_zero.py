"""Flow below zero: the zero has moved or the sign is turned, and a leak may hide under it."""

from __future__ import annotations

import pytest

import slackwater

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
{more}
"""


def judged(flows: list[str], more: str = "", now_ms: int | None = None) -> slackwater.Assessment:
    layout = slackwater.Layout.from_toml(LAYOUT.format(more=more), "layout.toml")
    rows = [f"2041-03-04T{10 + at // 60:02d}:{at % 60:02d}:00Z,{flow}" for at, flow in enumerate(flows)]
    log = slackwater.read_log(("time,flow\n" + "\n".join(rows) + "\n").encode(), layout, "log.csv")
    return slackwater.assess([log], now_ms=now_ms)


@pytest.mark.parametrize("flow", ["-300", "-50", "-20", "-10"])
@pytest.mark.parametrize("rounding", ["nearest", "ceil"])
def test_a_flow_that_is_below_zero_from_the_first_row_on_is_no_quiet(flow: str, rounding: str) -> None:
    # Traps 5 and 7 of sign and offset: common practice, no source.
    found = judged([flow] * 60, f'step = "10 mL/min"\nrounding = "{rounding}"')
    assert (found.leak.state, found.leak.reason) == ("cannot_tell", "sensor")


@pytest.mark.parametrize(("flow", "rounding"), [("-10", "floor"), ("0", "nearest"), ("0", "ceil"), ("0", "floor")])
def test_a_print_that_may_stand_for_nothing_is_not_below_zero(flow: str, rounding: str) -> None:
    found = judged([flow] * 60, f'step = "10 mL/min"\nrounding = "{rounding}"')
    assert found.leak.reason != "sensor"


def test_the_middle_lies_between_the_bounds_where_a_fine_display_strays_below_zero() -> None:
    leak = judged(["-0.4", "1.9"] * 30).leak
    assert leak.low is not None and leak.mid is not None and leak.high is not None
    assert leak.low <= leak.mid <= leak.high


def test_a_turned_leak_meets_no_rule() -> None:
    from end_to_end.a_stay import stay

    made = stay("plateau", 30.0)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    head, *rows = made.logs[0].decode().splitlines()
    at = head.split(",").index(layout.flow.column)

    def turned(row: str) -> str:
        cells = row.split(",")
        cells[at] = f"-{cells[at]}" if cells[at] not in ("", "0") else cells[at]
        return ",".join(cells)

    log = slackwater.read_log("\n".join([head, *map(turned, rows), ""]).encode(), layout, "log.csv")
    found = slackwater.assess([log], protocol=slackwater.shipped_protocol("air-50-8h"))
    assert found.evaluation is not None
    air = next(one for one in found.evaluation.criteria if one.id == "air")
    assert air.status.word == "cannot_tell"


@pytest.mark.parametrize(("late_min", "state"), [(14, "quiet"), (16, "cannot_tell"), (4 * 1440, "cannot_tell")])
def test_a_reading_of_long_ago_is_not_the_leak_now(late_min: int, state: str) -> None:
    last_ms = judged(["0"] * 60, 'step = "10 mL/min"\nrounding = "nearest"').as_of_ms
    found = judged(["0"] * 60, 'step = "10 mL/min"\nrounding = "nearest"', last_ms + late_min * 60_000)
    assert found.leak.state == state and found.leak.out_of_date == (state == "cannot_tell")


@pytest.mark.parametrize("odd", ["-5", "3", "-1"])
def test_one_odd_row_refuses_no_log(odd: str) -> None:
    assert judged(["0"] * 119 + [odd], 'step = "10 mL/min"\nrounding = "nearest"').leak.state == "quiet"
    with pytest.raises(slackwater.SlackwaterError, match="unit slip"):
        judged(["0"] * 50 + ["3"] * 10, 'step = "10 mL/min"\nrounding = "nearest"')
