"""Twelve invented hours without flow, and the ways in which a test bends them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import slackwater
from property.a_small_stay import (
    MINUTES,
    Reading,
    Said,
    Stay,
    chart_text,
    episode_text,
    healed,
    layout_toml,
    log_rows,
    log_text,
    ms,
)
from slackwater.assessment.assessment import Assessment

AIR_50 = slackwater.shipped_protocol("air-50-8h")  # below 50 mL/min for 8 h in 10-min means
LAYOUT = layout_toml()
SET_SUCTION = '[set_suction]\ncolumn = "set"\nunit = "{unit}"\nsuction_is = "negative"\n'


def quiet(*said: Said, swing: int = 60, flow: Callable[[int], int] | None = None) -> Stay:
    """No flow for twelve hours (or `flow` by the minute); breathing is seen unless `swing` is 0."""
    readings = tuple(replace(r, flow=0 if flow is None else flow(r.minute)) for r in healed(swing=swing).readings)
    return Stay(readings, tuple(sorted(said, key=lambda s: s.minute)))


def at_pressure(stay: Stay, tenths: Callable[[int], int]) -> Stay:
    """The same stay about another level of pressure, by the minute, in tenths of cmH2O (-100 as it is)."""
    return replace(stay, readings=tuple(_moved(r, tenths(r.minute) + 100) for r in stay.readings))


def _moved(r: Reading, by: int) -> Reading:
    assert r.pressure is not None and r.low is not None and r.high is not None
    return replace(r, pressure=r.pressure + by, low=r.low + by, high=r.high + by)


def with_column(stay: Stay, name: str, cell: Callable[[int], str]) -> bytes:
    """The log with one more column, its cells by the minute."""
    rows = [f"{row},{cell(r.minute)}" for row, r in zip(log_rows(stay), stay.readings, strict=True)]
    return log_text(rows).replace(b"p_high\n", f"p_high,{name}\n".encode(), 1)


def with_second_drain(stay: Stay, *second: Said) -> bytes:
    """The chart of this stay, with rows of drain 2 behind its own."""
    lines = chart_text(stay.said).decode().splitlines()
    for line in chart_text(second).decode().splitlines()[1:]:
        cells = line.split(",")
        assert cells[5] == "1"
        lines.append(",".join([*cells[:5], "2", *cells[6:]]))
    return "\n".join([*lines, ""]).encode()


def assessed(
    stay: Stay, *, at: float | None = None, protocol: slackwater.Protocol = AIR_50, layout: str = LAYOUT,
    logs: Sequence[bytes] | None = None, chart: bytes | None = None, refuse_above: float = 0.05,
) -> Assessment:  # fmt: skip
    read = slackwater.Layout.from_toml(layout, "layout.toml")
    given = [log_text(log_rows(stay))] if logs is None else logs
    return slackwater.assess(
        [slackwater.read_log(data, read, "log.csv", refuse_above) for data in given],
        chart=slackwater.read_chart(chart_text(stay.said) if chart is None else chart, "chart.csv"),
        episode=slackwater.read_episode(episode_text(stay), "episode.toml"),
        protocol=protocol,
        now_ms=None if at is None else ms(at),
    )


def answer(stay: Stay, **how: Any) -> dict[str, Any]:
    """The document of `assessed`."""
    return slackwater.document(assessed(stay, **how))


def overall(stay: Stay, **how: Any) -> str:
    return str(answer(stay, **how)["overall"])


def part(document: dict[str, Any], name: str) -> dict[str, Any]:
    """One clause, guard or escalation by its id."""
    parts: list[dict[str, Any]] = [*document["criteria"], *document["guards"], *document["escalation"]]
    return next(one for one in parts if one["id"] == name)


def lasted_min(document: dict[str, Any]) -> float:
    """How long the run of the air clause has lasted."""
    return float(part(document, "air")["run"]["lasted_s"]) / 60


def rule(*blocks: str, gaps: str = "0 min") -> slackwater.Protocol:
    head = (
        'name = "invented"\nversion = "1"\nstatus = "draft"\nsource = "invented for the tests"\n'
        f'[evidence]\ndata_age = "1 h"\ngaps = "{gaps}"\n'
        '[guards]\ntube_open = { within = "4 h", also_at = ["start"], by = ["swing", "charted"] }\n'
        'effort_seen = { within = "8 h" }\n'
    )
    return slackwater.load_protocol((head + "\n".join(blocks)).encode(), "invented.toml")


def air_clause(name: str, lasting: str) -> str:
    return (
        f'[[removal]]\nid = "{name}"\nmeasure = "air_leak"\nbin = "10 min"\nis = "below"\n'
        f'limit = "50 mL/min"\nlasting = "{lasting}"\n'
    )


__all__ = [
    "AIR_50", "LAYOUT", "MINUTES", "SET_SUCTION", "Reading", "Said", "Stay", "air_clause", "answer", "assessed",
    "at_pressure", "lasted_min", "overall", "part", "quiet", "rule", "with_column", "with_second_drain",
]  # fmt: skip
