"""The log file as the unit writes it: text of every row, then bytes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo

import numpy as np

from slackwater.simulate.cell import to_steps
from slackwater.simulate.power import Power
from slackwater.simulate.sensor import SensedRows
from slackwater.simulate.si import (
    ML_PER_MIN_PER_UNIT,
    PASCAL_PER_UNIT,
    BoolArray,
    FloatArray,
    IntArray,
)
from slackwater.simulate.stamps import stamp_texts
from slackwater.simulate.unit_type import ColumnKind, Stamp, UnitType


@dataclass(frozen=True)
class LogSource:
    """What one log is written from. Arrays of rows, or of minutes where so named.

    clock_ahead_s: how far the unit's clock runs ahead at each row. set_pa: ordered suction
    as a positive number, NaN for no added suction. running: pump on.
    """

    rows: SensedRows
    clock_ahead_s: IntArray
    set_pa: FloatArray
    running: BoolArray
    power: Power
    fluid_ml_by_minute: FloatArray
    start_s: int
    zone: tzinfo
    serial: str


def places(step: float) -> int:
    """Decimals that show a step in full.

    >>> places(0.1), places(5.0), places(0.004)
    (1, 0, 3)
    """
    for digits in range(7):
        if abs(step * 10**digits - round(step * 10**digits)) < 1e-9:
            return digits
    return 7


def log_bytes(source: LogSource, unit: UnitType) -> bytes:
    """The whole file."""
    first = source.start_s + (int(source.rows.end_s[0]) if source.rows.end_s.size else 0)
    begun = "T".join(
        column[0] for column in stamp_texts(Stamp(), np.array([first], dtype=np.int64), source.start_s, source.zone)
    )
    lines = [line.format(serial=source.serial, start=begun) for line in unit.preamble]
    lines.append(unit.separator.join(_quoted(c.header, unit) for c in unit.columns))
    if unit.units_line:
        lines.append(unit.separator.join(_unit_word(c.kind, unit) for c in unit.columns))
    columns = _columns(source, unit)
    lines += map(unit.separator.join, zip(*columns, strict=True))
    return ("\n".join(lines) + "\n").encode(unit.encoding)


def _columns(source: LogSource, unit: UnitType) -> list[list[str]]:
    keep = source.rows.present
    rows = source.rows
    end = rows.end_s[keep].astype(np.int64)
    minute = np.clip((end - 1) // 60, 0, source.fluid_ml_by_minute.size - 1)
    at = end - (unit.cadence_s if unit.stamp.marks == "start" else 0)
    stamps = stamp_texts(unit.stamp, source.start_s + at + source.clock_ahead_s[keep], source.start_s, source.zone)
    joined = (
        stamps[0]
        if len(stamps) == 1
        else [d + unit.stamp.joined + c for d, c in zip(stamps[0], stamps[1], strict=True)]
    )
    made: dict[ColumnKind, list[str]] = {}
    for column in unit.columns:
        kind = column.kind
        if kind == "stamp":
            made[kind] = [_quoted(text, unit) for text in joined]
        elif kind == "date":
            made[kind] = stamps[0]
        elif kind == "clock":
            made[kind] = stamps[1]
        elif kind == "flow":
            made[kind] = flow_texts(rows.flow_ml_per_min[keep], rows.flow_blank[keep], unit)
        elif kind == "flow_max":
            made[kind] = flow_texts(rows.flow_max_ml_per_min[keep], rows.flow_blank[keep], unit)
        elif kind == "pressure":
            made[kind] = pressure_texts(rows.pressure_pa[keep], rows.pressure_blank[keep], unit)
        elif kind == "pressure_min":
            made[kind] = pressure_texts(rows.pressure_min_pa[keep], rows.pressure_blank[keep], unit)
        elif kind == "set_suction":
            made[kind] = _set_texts(source.set_pa[keep], unit)
        elif kind == "battery":
            made[kind] = [str(round(c)) for c in source.power.charge_percent[minute].tolist()]
        elif kind == "mains":
            made[kind] = _words(source.power.on_mains[minute], unit.mains_words)
        elif kind == "fluid":
            made[kind] = [str(int(v)) for v in source.fluid_ml_by_minute[minute].tolist()]
        elif kind == "state":
            made[kind] = [_quoted(w, unit) for w in _words(source.running[keep], unit.state_words)]
        elif kind == "serial":
            made[kind] = [_quoted(source.serial, unit)] * end.size
        else:
            made[kind] = [str(i) for i in range(1, end.size + 1)]
    return [made[column.kind] for column in unit.columns]


def flow_texts(flow_ml_per_min: FloatArray, blank: BoolArray, unit: UnitType) -> list[str]:
    """Flow cells: the sensed value in whole steps of the display, in the file's unit."""
    steps = to_steps(flow_ml_per_min, unit.flow_step_ml_per_min, unit.flow_rounding)
    step = unit.flow_step_ml_per_min / ML_PER_MIN_PER_UNIT[unit.flow_unit]
    return _texts(steps, step, blank, unit)


def pressure_texts(pressure_pa: FloatArray, blank: BoolArray, unit: UnitType) -> list[str]:
    """Pressure cells, rounded to the nearest step, with the sign this file gives to suction."""
    sign = -1.0 if unit.suction_is == "positive" else 1.0
    value = sign * pressure_pa / PASCAL_PER_UNIT[unit.pressure_unit]
    return _texts(to_steps(value, unit.pressure_step, "nearest"), unit.pressure_step, blank, unit)


def _set_texts(set_pa: FloatArray, unit: UnitType) -> list[str]:
    # No added suction is written as nought: that is what was set.
    sign = 1.0 if unit.suction_is == "positive" else -1.0
    value = sign * np.where(np.isnan(set_pa), 0.0, set_pa) / PASCAL_PER_UNIT[unit.pressure_unit]
    steps = to_steps(value, unit.pressure_step, "nearest")
    return _texts(steps, unit.pressure_step, np.zeros(steps.size, dtype=np.bool_), unit)


def _texts(steps: IntArray, step: float, blank: BoolArray, unit: UnitType) -> list[str]:
    digits = places(step)
    # Far fewer values than rows: each is made into text once.
    values, where = np.unique(steps, return_inverse=True)
    made = [f"{v * step:.{digits}f}".replace(".", unit.decimal) for v in values.tolist()]
    made.append(unit.missing)
    return [made[i] for i in np.where(blank, len(made) - 1, where).tolist()]


def _words(flags: BoolArray, words: Sequence[str]) -> list[str]:
    yes, no = words
    return [yes if flag else no for flag in flags.tolist()]


def _quoted(text: str, unit: UnitType) -> str:
    return f'"{text}"' if unit.quote_text else text


def _unit_word(kind: ColumnKind, unit: UnitType) -> str:
    if kind in ("flow", "flow_max"):
        return unit.flow_unit
    if kind in ("pressure", "pressure_min", "set_suction"):
        return unit.pressure_unit
    return {"battery": "%", "fluid": "mL"}.get(kind, "")
