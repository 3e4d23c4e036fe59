"""Minute summaries of a trace: what was recorded in each minute, and within which bounds the truth lies."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from slackwater.reading.log import NONE, STATES, Ints, Log
from slackwater.trace import kernels
from slackwater.trace.rows import sealed
from slackwater.trace.types import MINUTE_MS, Interval, Minutes, Trace

PERCENTILE_READINGS = 20  # ours: with fewer, a 5th percentile is just the smallest reading

_NO_COLUMN = np.zeros(0, np.int32)


def minutes(trace: Trace, start_ms: int, end_ms: int) -> Minutes:
    """One row for every UTC minute that [start_ms, end_ms) touches, missing ones included.

    Means are weighted by time: a row counts in each minute by as much of it as lies there. The bounds
    are means of whole display cells over what was recorded, never below zero; `flow` is as printed.
    Where the unit logs a maximum beside the mean, the peaks and `flow_max` heed it, even in a minute whose
    flow itself is blank. Percentiles of pressure need 20 readings in the minute.
    """
    origin = start_ms // MINUTE_MS * MINUTE_MS
    n = max(0, -(-(end_ms - origin) // MINUTE_MS))
    first, last, each = (np.empty(n, np.int32) for _ in range(3))
    flow = _flow(trace, origin, n, first, last, each)
    pressure = _pressure(trace, origin, n, first, last, each)
    state = np.full(n, NONE, np.int32)
    if trace.state is not None:
        spent = np.zeros(len(STATES), np.int64)
        kernels.commonest_in_bins(
            origin, MINUTE_MS, trace.start_ms, trace.end_ms, trace.state, first, last, spent, state
        )

    def latest(column: Ints | None, scale: float) -> NDArray[np.float64]:
        out = np.full(n, np.nan)
        if column is not None:
            kernels.last_in_bins(column, first, last, scale, out)
        return sealed(out)

    return Minutes(
        start_ms=origin,
        **flow,
        **pressure,
        set_suction=latest(trace.set_suction_mcmh2o, 1000.0),
        battery_percent=latest(trace.battery_percent, 1.0),
        fluid_ml=latest(trace.fluid_ml, 1.0),
        state=sealed(state),
        conflict=_touched(trace.conflicts, origin, n),
        clock=_touched(trace.clock_steps, origin, n),
    )


def cells(logs: Sequence[Log]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Where each log's display cells begin and end, from the reading, in half µL/min.

    What a display shows as v was: nearest, in [v - step/2, v + step/2); floor, in [v, v + step);
    ceil, in (v - step, v]; unknown, anywhere in (v - step, v + step). An exact log has step 0.
    """
    ends = {"nearest": (-1, 1), "floor": (0, 2), "ceil": (-2, 0)}
    below = [ends.get(log.rounding, (-2, 2))[0] * log.flow_step_ul_per_min for log in logs]
    above = [ends.get(log.rounding, (-2, 2))[1] * log.flow_step_ul_per_min for log in logs]
    return np.array(below, np.int64), np.array(above, np.int64)


def _flow(
    trace: Trace, origin: int, n: int, first: Ints, last: Ints, each: Ints
) -> dict[str, NDArray[np.float64]]:
    covered, present, readings = (np.empty(n, np.int32) for _ in range(3))
    names = ("flow", "flow_low", "flow_high", "flow_min", "flow_max", "peak_low", "peak_high")
    out = {name: np.empty(n) for name in names}
    below, above = cells(trace.logs)
    kernels.flow_bins(
        origin,
        MINUTE_MS,
        trace.start_ms,
        trace.end_ms,
        trace.flow_ul_per_min,
        _NO_COLUMN if trace.flow_max_ul_per_min is None else trace.flow_max_ul_per_min,
        trace.log,
        _NO_COLUMN if trace.stretches is None else trace.stretches,
        below,
        above,
        first,
        last,
        each,
        covered,
        present,
        *out.values(),
        readings,
    )
    return {
        "covered": sealed(covered / MINUTE_MS),
        "present": sealed(present / MINUTE_MS),
        "readings": sealed(readings),
        **{name: sealed(values) for name, values in out.items()},
    }


def _pressure(
    trace: Trace, origin: int, n: int, first: Ints, last: Ints, each: Ints
) -> dict[str, NDArray[np.float64]]:
    names = ("pressure", "pressure_min", "pressure_max", "pressure_p05", "pressure_p95")
    out = {name: np.full(n, np.nan) for name in names}
    readings = np.zeros(n, np.int32)
    columns = (trace.pressure_mcmh2o, trace.pressure_min_mcmh2o, trace.pressure_max_mcmh2o)
    if n and any(column is not None for column in columns):
        middle, low, high = columns
        room = int((last - first).max()) // 20 + 3
        kernels.pressure_bins(
            origin,
            MINUTE_MS,
            trace.start_ms,
            trace.end_ms,
            np.full(len(trace.start_ms), NONE, np.int32) if middle is None else middle,
            _NO_COLUMN if low is None else low,
            _NO_COLUMN if high is None else high,
            first,
            last,
            each,
            PERCENTILE_READINGS,
            np.empty(room, np.int32),
            np.empty(room, np.int32),
            *out.values(),
            readings,
        )
    return {"pressure_readings": sealed(readings), **{name: sealed(v) for name, v in out.items()}}


def _touched(spans: Iterable[Interval], origin: int, n: int) -> NDArray[np.bool_]:
    """Which minutes any of the spans touches."""
    marked = np.zeros(n, np.bool_)
    for span in spans:
        marked[max(0, (span.start_ms - origin) // MINUTE_MS) : max(0, -(-(span.end_ms - origin) // MINUTE_MS))] = True
    return sealed(marked)
