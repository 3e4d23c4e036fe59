"""The fluid of a typed chart, and its intervals by the hour of the day."""

from __future__ import annotations

from behaviour.episode.typed_chart import HOUR, at
from slackwater.episode.fluid import FluidRecord, fluid_intervals
from slackwater.episode.types import Chart


def hours(record: FluidRecord) -> list[tuple[float | None, float, float, float, str]]:
    """(start and end in hours of the day, low, high, status) of each interval."""
    return [
        (
            None if one.start_ms is None else (one.start_ms - at(0)) / HOUR,
            (one.end_ms - at(0)) / HOUR,
            one.low_ml,
            one.high_ml,
            one.status,
        )
        for one in record.intervals
    ]


def record(
    read: Chart, connected: float | None = 6, drain: str | None = None, known: tuple[str, ...] = ()
) -> FluidRecord:
    return fluid_intervals(read, drain, None if connected is None else at(connected), known)
