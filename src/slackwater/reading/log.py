"""A log as its unit meant it: columns in internal units, with the ledger of its rows."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

NONE = np.iinfo(np.int32).min  # sentinel in every integer channel: this row has no value here

Ints = NDArray[np.int32]
Times = NDArray[np.int64]


@dataclass(frozen=True)
class RefusedRow:
    """A row that could not be read: its line in the file (from 1), the column, and why."""

    line: int
    column: str
    why: str


@dataclass(frozen=True)
class Ledger:
    """Where every data row of the file went. `used + refused + duplicate + conflicting == read`."""

    read: int
    used: int
    refused: int
    duplicate: int = 0
    conflicting: int = 0
    first_refused: tuple[RefusedRow, ...] = ()  # the first 20, in file order
    blank_lines: int = 0  # empty lines are no rows

    def plus(self, other: Ledger) -> Ledger:
        return Ledger(
            self.read + other.read,
            self.used + other.used,
            self.refused + other.refused,
            self.duplicate + other.duplicate,
            self.conflicting + other.conflicting,
            (self.first_refused + other.first_refused)[:20],
            self.blank_lines + other.blank_lines,
        )


@dataclass(frozen=True, eq=False)
class Log:
    """The rows of one file that could be read, in file order; arrays are read-only.

    Flow is in microlitres a minute and pressure in thousandths of cmH2O, so that decisions are
    made on integers; suction is negative whatever its sign in the file; `NONE` marks 'no value'.
    A channel the layout does not name is None.
    """

    name: str  # file name without its folder
    sha256: str  # of the original bytes
    time_ms: Times  # UTC, as stamped (not yet moved by `marks`)
    line: Ints  # line in the file, from 1
    flow_ul_per_min: Ints
    flow_max_ul_per_min: Ints | None
    pressure_mcmh2o: Ints | None
    pressure_min_mcmh2o: Ints | None
    pressure_max_mcmh2o: Ints | None
    set_suction_mcmh2o: Ints | None
    battery_percent: Ints | None
    mains: Ints | None  # 1 on mains, 0 on battery
    fluid_ml: Ints | None  # cumulative, as displayed
    state: Ints | None  # index into STATES
    time_doubtful: NDArray[np.bool_]  # a local time that happened twice: the instant cannot be told
    every_ms: int  # how long a row stands for
    every_declared: bool
    marks: str  # "end" or "start"
    statistic: str  # "mean" or "sample"
    flow_step_ul_per_min: int  # what the display can tell apart; 0 if the log is exact
    flow_step_declared: bool
    rounding: str  # nearest, floor, ceil, unknown
    flow_ceiling_ul_per_min: int  # the largest flow the unit can show, NONE if not declared
    serials: tuple[str, ...]  # distinct serial texts, in order of appearance
    zone: str  # how stamps were read, for the report
    ledger: Ledger
    unread: NDArray[np.bool_] | None = None  # rows refused for a cell: their place in time stands, without a value
    flow_digit_ul_per_min: int = 0  # one unit of the last printed digit of the flow; 0 if no flow was printed
    notes: tuple[str, ...] = ()  # what a reader should know, e.g. values of the other sign
    layout: dict[str, Any] = field(default_factory=dict)  # as read, for the history

    @property
    def clock_zone(self) -> str:
        """The zone its stamps are in, as its layout names it; '' where it names none."""
        return str(self.layout.get("time", {}).get("zone") or "")

    def only(self, keep: NDArray[np.bool_]) -> Log:
        """The same log with only some of its rows; its ledger speaks of the whole file still."""
        kept: dict[str, Any] = {
            field_.name: value[keep]
            for field_ in fields(self)
            if isinstance(value := getattr(self, field_.name), np.ndarray)
        }
        return replace(self, **kept)


# So many different flows, and their common divisor is the display's step; of fewer it may be chance.
TELLING_FLOWS = 5

# What a unit's own state word can mean; a layout's [state] words map to these.
SIGNALS = ("suction_not_reached", "line_blocked", "large_leak", "container_full", "tilted", "low_battery")
"""What a unit may tell by its own signal, beside `fault`."""

STATES = ("running", "off", "standby", "self_test", "charging", "fault", "clamped", "unknown", *SIGNALS)
