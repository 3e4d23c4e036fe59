"""What one make of suction unit is like: its pump, sensor, logger and file. All invented."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from slackwater.simulate.cell import Rounding

Statistic = Literal["mean", "sample"]
ColumnKind = Literal[
    "stamp",
    "date",
    "clock",
    "flow",
    "flow_max",
    "pressure",
    "pressure_min",
    "set_suction",
    "battery",
    "mains",
    "fluid",
    "state",
    "serial",
    "row",
]


@dataclass(frozen=True)
class Column:
    """One column of the log: what it holds and what the file calls it."""

    kind: ColumnKind
    header: str


@dataclass(frozen=True)
class Stamp:
    """How a row says when: `style`, and for local text the strptime parts of date and clock.

    `joined` puts them in one column; `marks` says which end of its interval a stamp is.
    Clock parts may be %H:%M:%S, %H:%M or %I:%M:%S %p.
    """

    style: Literal["local", "iso_offset", "iso_utc", "epoch_s", "epoch_ms", "elapsed_s"] = "local"
    date: str = "%Y-%m-%d"
    clock: str = "%H:%M:%S"
    joined: str = " "
    marks: Literal["end", "start"] = "end"


@dataclass(frozen=True)
class UnitType:
    """One invented make of unit.

    flow_top: where the flow sensor ends; pump_top: the most the pump can move.
    clips_at_zero: whether a negative flow is shown as nought.
    suction_is: sign the log gives to suction.
    """

    name: str
    columns: tuple[Column, ...]
    stamp: Stamp = field(default_factory=Stamp)
    cadence_s: int = 2
    statistic: Statistic = "mean"
    flow_unit: Literal["mL/min", "L/min"] = "mL/min"
    flow_step_ml_per_min: float = 5.0
    flow_rounding: Rounding = "nearest"
    flow_top_ml_per_min: float = 4000.0
    pump_top_ml_per_min: float = 4600.0
    flow_noise_ml_per_min: float = 0.8
    clips_at_zero: bool = True
    pressure_unit: str = "hPa"
    pressure_step: float = 0.1
    suction_is: Literal["positive", "negative"] = "negative"
    separator: str = ","
    decimal: Literal[".", ","] = "."
    encoding: str = "utf-8"
    quote_text: bool = False
    preamble: tuple[str, ...] = ()
    units_line: bool = False
    missing: str = ""
    mains_words: tuple[str, str] = ("yes", "no")
    state_words: tuple[str, str] = ("run", "rest")
    battery_runs_min: float = 310.0

    def has(self, kind: ColumnKind) -> bool:
        """Whether the log has such a column."""
        return any(column.kind == kind for column in self.columns)

    def header(self, kind: ColumnKind) -> str:
        """What the file calls that column."""
        return next(column.header for column in self.columns if column.kind == kind)
