"""Discharges and charges of the units that served a drain, as a frame: from the logs' battery and mains columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import polars
from numpy.typing import NDArray

from slackwater.equipment.charge import Spell, spells
from slackwater.equipment.slopes import Floats
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS
from slackwater.reading.log import NONE, STATES, Ints, Log
from slackwater.store.acts import key_of
from slackwater.store.course import Course, own_pairings

TOLD_MS = 10 * MINUTE_MS
IDLE_CMH2O = 1.0  # a suction below that, without flow, is no work (ours)

COLUMNS: dict[str, Any] = {
    "unit": polars.String, "what": polars.String, "start_ms": polars.Int64, "end_ms": polars.Int64,
    "first_percent": polars.Int64, "last_percent": polars.Int64, "per_min": polars.Float64, "low": polars.Float64,
    "high": polars.Float64, "flow": polars.Float64, "suction": polars.Float64, "on_mains": polars.Int64,
    "cell": polars.Float64,
}  # fmt: skip


def charge_frame(logs: Sequence[Log], course: Course) -> polars.DataFrame:
    """One row a discharge (`fall`), a charge (`rise`), and a charge as last known in every ten minutes (`last`); `unit`
    is its key.

    Only minutes in which the unit worked count. A log that does not say which unit wrote it tells of the one unit that
    was paired with the drain all that time; else its charge is nobody's, and is left out.
    """
    rows: list[dict[str, Any]] = []
    for log in logs:
        unit = _unit_of(log, course)
        if unit is None or log.battery_percent is None or not len(log.time_ms):
            continue
        order = np.argsort(log.time_ms, kind="stable")
        ends = log.time_ms[order] + (0 if log.marks == "end" else log.every_ms)
        percent = _known(log.battery_percent, order, 1.0)
        mains = None if log.mains is None else _known(log.mains, order, 1.0)
        flow = _known(log.flow_ul_per_min, order, 1000.0)
        pressure = _known(log.pressure_mcmh2o, order, 1000.0)
        every = max(1, MINUTE_MS // 4 // max(log.every_ms, 1))  # four rows a minute are enough for a gauge
        thin = slice(None, None, every)
        worked = _worked(None if log.state is None else log.state[order], flow, pressure)
        found = spells(
            ends[thin], percent[thin], None if mains is None else mains[thin], flow[thin], pressure[thin], worked[thin]
        )
        rows += [_row(unit, one) for one in found]
        rows += [{"unit": unit, **one} for one in _told(ends, percent, mains, flow, pressure)]
    return polars.DataFrame([{name: row.get(name) for name in COLUMNS} for row in rows], schema=COLUMNS)


def _told(
    ends: NDArray[np.int64], percent: Floats, mains: Floats | None, flow: Floats, pressure: Floats
) -> Iterator[dict[str, Any]]:
    """The charge as last known in each TOLD_MS, so that no moment needs what was logged after it."""
    known = np.flatnonzero(np.isfinite(percent))
    closes = np.append(np.diff(ends[known] // TOLD_MS) > 0, True)[: len(known)]
    for last in known[closes].tolist():
        at, level = int(ends[last]), int(percent[last])
        lately = slice(int(np.searchsorted(ends, at - HOUR_MS, side="right")), last + 1)
        plugged = None if mains is None or not np.isfinite(mains[last]) else int(mains[last])
        yield {
            "what": "last", "start_ms": at, "end_ms": at, "first_percent": level, "last_percent": level,
            "on_mains": plugged, "flow": _mean(flow[lately]), "suction": _mean(-pressure[lately]),
        }  # fmt: skip


def _worked(state: Ints | None, flow: Floats, pressure: Floats) -> NDArray[np.bool_]:
    """Rows in which the unit did its work: by its own state; where it says none, by recorded flow or suction."""
    recorded = np.isfinite(flow) | np.isfinite(pressure)
    idle = (np.abs(pressure) < IDLE_CMH2O) & ~(flow > 0.0)
    seen: NDArray[np.bool_] = recorded & ~idle
    return seen if state is None else np.where(state == NONE, seen, state == STATES.index("running"))


def _unit_of(log: Log, course: Course) -> str | None:
    if len(log.serials) == 1:
        return key_of("unit", log.serials[0])
    if log.serials:
        return None
    first, last = int(log.time_ms.min()), int(log.time_ms.max())
    mine = [
        one for one in own_pairings(course)
        if one["from_ms"] < last and (one["to_ms"] is None or one["to_ms"] > first)
    ]  # fmt: skip
    return mine[0]["unit"] if len({one["unit"] for one in mine}) == 1 else None


def _mean(values: np.ndarray[Any, np.dtype[np.float64]]) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else None


def _known(column: Ints | None, order: np.ndarray[Any, Any], per: float) -> np.ndarray[Any, np.dtype[np.float64]]:
    if column is None:
        return np.full(len(order), np.nan)
    values = column[order]
    return np.where(values == NONE, np.nan, values / per)


def _row(unit: str, one: Spell) -> dict[str, Any]:
    row = {name: getattr(one, name) for name in COLUMNS if name not in ("unit", "what", "on_mains")}
    row |= {name: None for name in ("flow", "suction") if not np.isfinite(row[name])}
    return {"unit": unit, "what": "rise" if one.charging else "fall", "on_mains": int(one.charging), **row}
