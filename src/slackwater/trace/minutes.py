"""Minute summaries of a trace: what was recorded in each minute, and within which bounds the truth lies."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from slackwater.quantities.spans import MINUTE_MS
from slackwater.reading.log import NONE, STATES, Ints, Log
from slackwater.trace import kernels
from slackwater.trace.rows import sealed
from slackwater.trace.types import Interval, Minutes, Trace

PERCENTILE_READINGS = 20  # ours: with fewer, a 5th percentile is just the smallest reading

Floats = NDArray[np.float64]

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
    bins = _Bins(trace, origin, n)
    covered, present, readings, flow = bins.flow()
    pressure_readings, pressure = bins.pressure()
    return Minutes(
        start_ms=origin,
        covered=covered,
        present=present,
        flow=flow[0],
        flow_low=flow[1],
        flow_high=flow[2],
        flow_min=flow[3],
        flow_max=flow[4],
        peak_low=flow[5],
        peak_high=flow[6],
        readings=readings,
        pressure=pressure[0],
        pressure_min=pressure[1],
        pressure_max=pressure[2],
        pressure_p05=pressure[3],
        pressure_p95=pressure[4],
        pressure_readings=pressure_readings,
        set_suction=bins.latest(trace.set_suction_mcmh2o, 1000.0),
        battery_percent=bins.latest(trace.battery_percent, 1.0),
        fluid_ml=bins.latest(trace.fluid_ml, 1.0),
        state=bins.state(),
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


class _Bins:
    """The minutes being made: which rows touch each, found by the flow and used by all other channels."""

    def __init__(self, trace: Trace, origin: int, n: int) -> None:
        self.trace, self.origin, self.n = trace, origin, n
        self.first, self.last, self.each = (np.empty(n, np.int32) for _ in range(3))
        self.nothing = sealed(np.full(n, np.nan))  # one for all channels that were not recorded

    def flow(self) -> tuple[Floats, Floats, Ints, list[Floats]]:
        """Shares covered and present, readings, and mean, low, high, least, most, peak low, peak high."""
        trace = self.trace
        covered, present, readings = (np.empty(self.n, np.int32) for _ in range(3))
        out = [np.empty(self.n) for _ in range(7)]
        below, above = cells(trace.logs)
        kernels.flow_bins(
            self.origin,
            MINUTE_MS,
            trace.start_ms,
            trace.end_ms,
            trace.flow_ul_per_min,
            _NO_COLUMN if trace.flow_max_ul_per_min is None else trace.flow_max_ul_per_min,
            trace.log,
            _NO_COLUMN if trace.stretches is None else trace.stretches,
            below,
            above,
            self.first,
            self.last,
            self.each,
            covered,
            present,
            out[0],
            out[1],
            out[2],
            out[3],
            out[4],
            out[5],
            out[6],
            readings,
        )
        return (
            sealed(covered / MINUTE_MS),
            sealed(present / MINUTE_MS),
            sealed(readings),
            [sealed(values) for values in out],
        )

    def pressure(self) -> tuple[Ints, list[Floats]]:
        """Readings, and mean, least, most, 5th and 95th percentile; after `flow`."""
        trace = self.trace
        readings = np.zeros(self.n, np.int32)
        low, high = trace.pressure_min_mcmh2o, trace.pressure_max_mcmh2o
        middle = trace.pressure_mcmh2o
        if not self.n or (middle is None and low is None and high is None):
            return sealed(readings), [self.nothing] * 5
        out = [np.empty(self.n) for _ in range(5)]
        room = int((self.last - self.first).max()) // 20 + 3
        kernels.pressure_bins(
            self.origin,
            MINUTE_MS,
            trace.start_ms,
            trace.end_ms,
            np.full(len(trace.start_ms), NONE, np.int32) if middle is None else middle,
            _NO_COLUMN if low is None else low,
            _NO_COLUMN if high is None else high,
            self.first,
            self.last,
            self.each,
            PERCENTILE_READINGS,
            np.empty(room, np.int32),
            np.empty(room, np.int32),
            out[0],
            out[1],
            out[2],
            out[3],
            out[4],
            readings,
        )
        return sealed(readings), [sealed(values) for values in out]

    def latest(self, column: Ints | None, scale: float) -> Floats:
        """The last value in each minute, divided by `scale`; after `flow`."""
        if column is None:
            return self.nothing
        out = np.empty(self.n)
        kernels.last_in_bins(column, self.first, self.last, scale, out)
        return sealed(out)

    def state(self) -> Ints:
        """The state word that holds most of each minute, NONE where there is none; after `flow`."""
        out = np.full(self.n, NONE, np.int32)
        if self.trace.state is not None:
            spent = np.zeros(len(STATES), np.int64)
            kernels.commonest_in_bins(
                self.origin,
                MINUTE_MS,
                self.trace.start_ms,
                self.trace.end_ms,
                self.trace.state,
                self.first,
                self.last,
                spent,
                out,
            )
        return sealed(out)


def _touched(spans: Iterable[Interval], origin: int, n: int) -> NDArray[np.bool_]:
    """Which minutes any of the spans touches."""
    marked = np.zeros(n, np.bool_)
    for span in spans:
        first, until = (span.start_ms - origin) // MINUTE_MS, -(-(span.end_ms - origin) // MINUTE_MS)
        marked[max(0, first) : max(0, until)] = True
    return sealed(marked)
