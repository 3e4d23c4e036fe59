"""Small invented logs written second by second, and the pictures' data made of them."""

from __future__ import annotations

import zlib
from base64 import b64decode
from collections.abc import Callable, Iterable
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

import slackwater
from end_to_end.a_stay import stay
from slackwater.assessment.assessment import Assessment
from slackwater.report.columns import Column
from slackwater.report.pack import packed

START_MS = 2_251_000_800_000  # 2041-05-01 06:00 UTC
LAYOUT = """
[log]
separator = ","
decimal = "."
encoding = "utf-8"
[time]
columns = ["ms"]
format = "epoch_ms"
zone = "UTC"
marks = "start"
every = "{every}"
[flow]
column = "flow"
unit = "mL/min"
step = "5 mL/min"
rounding = "nearest"
statistic = "mean"
[pressure]
column = "p"
unit = "cmH2O"
suction_is = "negative"
"""
AIR_50 = slackwater.shipped_protocol("air-50-8h")

Row = tuple[int, float | None, float | None]  # ms from START_MS, flow mL/min, pressure cmH2O


def breathing(second: float) -> float:
    """A pressure that breathes, unevenly, about -10 cmH2O."""
    return round(-10 - 2 * float(np.sin(second * 1.6 + np.sin(second / 17))), 1)


def rows(seconds: Iterable[int], flow: Callable[[int], float | None] = lambda second: 0.0) -> list[Row]:
    return [(1000 * second, flow(second), breathing(second)) for second in seconds]


def log_of(given: Iterable[Row]) -> bytes:
    cells = ("" if value is None else f"{value:g}" for row in given for value in row[1:])
    pairs = zip(cells, cells, strict=True)
    lines = [f"{START_MS + row[0]},{flow},{p}" for row, (flow, p) in zip(given, pairs, strict=True)]
    return "\n".join(["ms,flow,p", *lines, ""]).encode()


def assessed(
    given: list[Row], *, every: str = "1 s", chart: str = "", protocol: slackwater.Protocol | None = AIR_50,
    at_ms: int | None = None, zone: str = "UTC",
) -> Assessment:  # fmt: skip
    layout = slackwater.Layout.from_toml(LAYOUT.format(every=every), "layout.toml")
    text = f"time,item,value,unit,note\n{chart}"
    return slackwater.assess(
        [slackwater.read_log(log_of(given), layout, "log.csv")],
        chart=slackwater.read_chart(text.encode(), "chart.csv"), protocol=protocol, now_ms=at_ms, zone=zone,
    )  # fmt: skip


@cache
def simulated(name: str, rule: str | None = "air-50-8h", hours: float | None = None) -> Assessment:
    made = stay(name, hours)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    return slackwater.assess(
        [slackwater.read_log(data, layout, f"log-{n}.csv") for n, data in enumerate(made.logs, start=1)],
        chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv", made.scenario.zone),
        episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        protocol=None if rule is None else slackwater.shipped_protocol(rule), zone=made.scenario.zone,
    )  # fmt: skip


def picture(found: Assessment) -> dict[str, Any]:
    return packed(found)


def unpacked(column: Column) -> NDArray[np.int64]:
    """A second reading of the format in `columns.py`, written from its words."""
    raw = np.frombuffer(zlib.decompress(b64decode(column["data"]), -15), np.uint8).reshape(column["planes"], -1)
    zigzag = sum(plane.astype(np.int64) << 8 * power for power, plane in enumerate(raw))
    values = np.where(zigzag % 2 == 1, -(zigzag // 2) - 1, zigzag // 2)
    return np.cumsum(values) if column["differences"] else np.asarray(values)


def times(readings: dict[str, Any]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Start and end of every row, UTC ms."""
    starts, ends = [], []
    for begin, every, held in zip(
        *(unpacked(readings[name]).tolist() for name in ("begins", "every_ms", "held")), strict=True
    ):
        at = readings["from"] + begin + every * np.arange(held)
        starts.append(at)
        ends.append(at + every)
    return np.concatenate(starts), np.concatenate(ends)


def channel(packed_channel: dict[str, Any]) -> NDArray[np.float64]:
    return np.array([np.nan, *packed_channel["levels"]])[unpacked(packed_channel["at"])]
