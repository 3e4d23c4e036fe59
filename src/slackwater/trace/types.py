"""Readings placed on time, and their minutes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.reading.log import NONE, Ledger, Log

__all__ = ["NONE", "Interval", "Minutes", "Pyramid", "Step", "Trace"]


@dataclass(frozen=True)
class Interval:
    """A stretch of time, UTC ms, start inside, end outside; why names what it is."""

    start_ms: int
    end_ms: int
    why: str = ""


@dataclass(frozen=True)
class Step:
    """One step of the history: what was done, with what arguments, to how many samples."""

    name: str
    version: str
    arguments: str
    touched: int


@dataclass(frozen=True, eq=False)
class Trace:
    """The readings of one drain in order of time, each standing for [start, end).

    No two intervals overlap. Rows that were given twice are kept once; where two rows disagree
    about one moment neither is used: `conflicts` keeps the span, and it counts as missing.
    Integer channels hold `NONE` where there is no value; arrays are read-only.
    """

    start_ms: NDArray[np.int64]
    end_ms: NDArray[np.int64]
    flow_ul_per_min: NDArray[np.int32]
    flow_max_ul_per_min: NDArray[np.int32] | None
    pressure_mcmh2o: NDArray[np.int32] | None
    pressure_min_mcmh2o: NDArray[np.int32] | None
    pressure_max_mcmh2o: NDArray[np.int32] | None
    set_suction_mcmh2o: NDArray[np.int32] | None
    battery_percent: NDArray[np.int32] | None
    mains: NDArray[np.int32] | None
    fluid_ml: NDArray[np.int32] | None
    state: NDArray[np.int32] | None
    log: NDArray[np.int16]  # index into `logs`
    line: NDArray[np.int32]  # line in that log's file
    logs: tuple[Log, ...]
    every_ms: int  # usual length of a row (the longest of the logs')
    conflicts: tuple[Interval, ...]  # two rows disagree, or a local hour happened twice
    clock_steps: tuple[Interval, ...]  # where a clock ran backwards or a span is counted twice
    exchanges: tuple[int, ...]  # instants at which another unit's log takes over
    ledger: Ledger  # of all logs together
    history: tuple[Step, ...]
    stretches: NDArray[np.int32] | None = None  # rows at which evenly spaced stretches begin; None: not known

    @property
    def data_until_ms(self) -> int:
        """End of the last row, with a value in it or not."""
        return int(self.end_ms[-1])


@dataclass(frozen=True, eq=False)
class Minutes:
    """One row a minute on the UTC minute grid, from `start_ms` (a whole minute); n read-only values each.

    Means are weighted by time. `NaN` is 'nothing recorded'. `flow_low` / `flow_high` bound the true
    mean flow by the whole cell of every reading in the minute (mL/min); `peak_low` / `peak_high`
    bound the largest reading's cell; all four speak only of the covered part of the minute.
    """

    start_ms: int
    covered: NDArray[np.float64]  # 0..1, share of the minute with a flow reading
    present: NDArray[np.float64]  # 0..1, share of the minute with a row, blank or not
    flow: NDArray[np.float64]  # mean of recorded flow, mL/min, as printed
    flow_low: NDArray[np.float64]
    flow_high: NDArray[np.float64]
    flow_min: NDArray[np.float64]  # smallest and largest reading, as printed
    flow_max: NDArray[np.float64]
    peak_low: NDArray[np.float64]
    peak_high: NDArray[np.float64]
    readings: NDArray[np.int32]  # flow readings that touch the minute
    pressure: NDArray[np.float64]  # mean, cmH2O, suction negative
    pressure_min: NDArray[np.float64]
    pressure_max: NDArray[np.float64]
    pressure_p05: NDArray[np.float64]
    pressure_p95: NDArray[np.float64]
    pressure_readings: NDArray[np.int32]
    set_suction: NDArray[np.float64]
    battery_percent: NDArray[np.float64]
    fluid_ml: NDArray[np.float64]  # last cumulative value in the minute
    state: NDArray[np.int32]  # commonest state word, NONE
    conflict: NDArray[np.bool_]
    clock: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.covered)


@dataclass(frozen=True, eq=False)
class Pyramid:
    """64-second blocks of flow: smallest, largest (µL/min, NONE if empty) and milliseconds covered."""

    start_ms: int
    low: NDArray[np.int32]
    high: NDArray[np.int32]
    covered_ms: NDArray[np.int32]
