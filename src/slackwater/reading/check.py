"""A log's first rows as its layout understands them, for a person to compare with the export."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from slackwater.reading.layout import MICRO, Layout
from slackwater.reading.log import NONE, STATES, Ints, Ledger, Log
from slackwater.reading.read import read_log


@dataclass(frozen=True)
class CheckedRow:
    """One row as understood. None: no value. Pressures have suction negative, whatever the log's sign."""

    line: int
    utc: str  # ISO 8601 with Z
    local: str  # on the layout's wall clock, with its offset
    time_doubtful: bool
    flow_ml_per_min: float | None
    flow_max_ml_per_min: float | None
    pressure_cmh2o: float | None
    pressure_min_cmh2o: float | None
    pressure_max_cmh2o: float | None
    set_suction_cmh2o: float | None
    battery_percent: int | None
    mains: bool | None
    fluid_ml: int | None
    state: str | None


@dataclass(frozen=True)
class LayoutCheck:
    """What a layout makes of a log: its first rows, where every row went, and what was found."""

    rows: tuple[CheckedRow, ...]
    ledger: Ledger
    every_ms: int
    every_declared: bool
    flow_step_ml_per_min: float
    flow_step_declared: bool
    first_utc: str
    last_utc: str
    zone: str
    serials: tuple[str, ...]
    notes: tuple[str, ...]


def check(layout: Layout, data: bytes, name: str, rows: int = 8) -> LayoutCheck:
    """Read a log and show its first `rows` rows. However many rows are refused, the rest is shown."""
    log = read_log(data, layout, name, refuse_above=1.0)
    zone = layout.zone
    clock = zone.rules if zone is not None else UTC
    instants = log.time_ms
    return LayoutCheck(
        tuple(_row(log, at, clock) for at in range(min(rows, len(instants)))),
        log.ledger,
        log.every_ms,
        log.every_declared,
        log.flow_step_ul_per_min / MICRO,
        log.flow_step_declared,
        _utc(int(instants.min())),
        _utc(int(instants.max())),
        log.zone,
        log.serials,
        log.notes,
    )


def _row(log: Log, at: int, clock: tzinfo) -> CheckedRow:
    def whole(channel: Ints | None) -> int | None:
        return None if channel is None or channel[at] == NONE else int(channel[at])

    def thousandths(channel: Ints | None) -> float | None:
        value = whole(channel)
        return None if value is None else value / MICRO

    instant = int(log.time_ms[at])
    mains, state = whole(log.mains), whole(log.state)
    return CheckedRow(
        line=int(log.line[at]),
        utc=_utc(instant),
        local=_moment(instant).astimezone(clock).isoformat(sep=" ", timespec="milliseconds"),
        time_doubtful=bool(log.time_doubtful[at]),
        flow_ml_per_min=thousandths(log.flow_ul_per_min),
        flow_max_ml_per_min=thousandths(log.flow_max_ul_per_min),
        pressure_cmh2o=thousandths(log.pressure_mcmh2o),
        pressure_min_cmh2o=thousandths(log.pressure_min_mcmh2o),
        pressure_max_cmh2o=thousandths(log.pressure_max_mcmh2o),
        set_suction_cmh2o=thousandths(log.set_suction_mcmh2o),
        battery_percent=whole(log.battery_percent),
        mains=None if mains is None else bool(mains),
        fluid_ml=whole(log.fluid_ml),
        state=None if state is None else STATES[state],
    )


def _moment(instant_ms: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=instant_ms)


def _utc(instant_ms: int) -> str:
    return _moment(instant_ms).isoformat(timespec="milliseconds").replace("+00:00", "Z").replace(".000Z", "Z")
