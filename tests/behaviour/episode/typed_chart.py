"""A chart as a test types it: rows of text, times by the hour of one day."""

from __future__ import annotations

from slackwater.episode.chart import read_chart
from slackwater.episode.types import Chart, Instant

HOUR = 3_600_000
MIDNIGHT = 2_010_182_400_000  # 2033-09-13T00:00:00Z
HEADER = "time,item,value,unit,note,drain,recorded,by"


def at(hour: float) -> Instant:
    """The instant `hour` hours after midnight UTC of the day of the tests; 25 is the next day at one."""
    return MIDNIGHT + round(hour * HOUR)


def stamp(hour: float) -> str:
    days, rest = divmod(round(hour * 3600), 86_400)
    return f"2033-09-{13 + days:02d}T{rest // 3600:02d}:{rest // 60 % 60:02d}:{rest % 60:02d}Z"


def row(
    hour: float,
    item: str,
    value: object,
    unit: str = "",
    note: str = "",
    drain: str = "",
    recorded: float | None = None,
    by: str = "",
) -> str:
    late = "" if recorded is None else stamp(recorded)
    return f"{stamp(hour)},{item},{value},{unit},{note},{drain},{late},{by}"


def amount(hour: float, ml: object, drain: str = "", recorded: float | None = None) -> str:
    return row(hour, "fluid_output", ml, "mL", drain=drain, recorded=recorded)


def level(hour: float, ml: object, drain: str = "") -> str:
    return row(hour, "canister_level", ml, "mL", drain=drain)


def changed(hour: float, drain: str = "") -> str:
    return row(hour, "canister", "changed", drain=drain)


def chart(*rows: str, zone: str | None = None) -> Chart:
    return read_chart("\n".join((HEADER, *rows, "")).encode(), "chart.csv", zone)
