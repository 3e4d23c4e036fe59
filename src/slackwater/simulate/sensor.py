"""What the unit's sensors make of flow and pressure, row by row, before rounding."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from slackwater.simulate.drainage import DT_S, Block
from slackwater.simulate.fault import Fault
from slackwater.simulate.si import (
    M3_PER_S_PER_ML_PER_MIN,
    PASCAL_PER_CMH2O,
    BoolArray,
    FloatArray,
)
from slackwater.simulate.unit_type import UnitType

ZERO_OFF_BY_ML_PER_MIN = 30.0
"""How far a wrong zero is off where the scenario does not say (ours)."""

PRESSURE_NOISE_PA = 4.0
"""Noise of one pressure sample (ours)."""


@dataclass(frozen=True)
class SensedRows:
    """Rows as sensed: `end_s` after connection is the true end of each row's interval.

    Pressures are gauge, suction negative. present: the row is in the file; blanks: the row
    is there but the value is not.
    """

    end_s: FloatArray
    flow_ml_per_min: FloatArray
    flow_max_ml_per_min: FloatArray
    pressure_pa: FloatArray
    pressure_min_pa: FloatArray
    present: BoolArray
    flow_blank: BoolArray
    pressure_blank: BoolArray


def sense(block: Block, start_s: float, unit: UnitType, rng: np.random.Generator) -> SensedRows:
    """Rows of one block for one unit: mean, or the last sample, of each interval."""
    per_row = round(unit.cadence_s / DT_S)
    rows = block.unit_flow.size // per_row
    flow = block.unit_flow[: rows * per_row].reshape(rows, per_row) / M3_PER_S_PER_ML_PER_MIN
    pressure = block.unit_pa[: rows * per_row].reshape(rows, per_row)
    averaged = per_row if unit.statistic == "mean" else 1
    noise = unit.flow_noise_ml_per_min / math.sqrt(averaged / 4.0 if averaged > 4 else 1.0)
    if unit.statistic == "mean":
        flow_value, pressure_value = flow.mean(axis=1), pressure.mean(axis=1)
    else:
        flow_value, pressure_value = flow[:, -1], pressure[:, -1]
    flow_value = flow_value + noise * rng.standard_normal(rows)
    pressure_value = pressure_value + PRESSURE_NOISE_PA / math.sqrt(averaged) * (rng.standard_normal(rows))
    # A pump that stands still passes exactly nothing; its sensor then has no noise either.
    standing = block.standing[: rows * per_row].reshape(rows, per_row).all(axis=1)
    flow_value = np.where(standing, 0.0, flow_value)
    none = np.zeros(rows, dtype=np.bool_)
    return SensedRows(
        np.asarray(start_s + unit.cadence_s * np.arange(1, rows + 1), dtype=np.float64),
        flow_value,
        np.maximum(flow.max(axis=1), flow_value),
        pressure_value,
        np.minimum(pressure.min(axis=1), pressure_value),
        np.ones(rows, dtype=np.bool_),
        none,
        none,
    )


def joined(parts: Sequence[SensedRows]) -> SensedRows:
    """Blocks one after the other."""
    return SensedRows(
        np.concatenate([p.end_s for p in parts]),
        np.concatenate([p.flow_ml_per_min for p in parts]),
        np.concatenate([p.flow_max_ml_per_min for p in parts]),
        np.concatenate([p.pressure_pa for p in parts]),
        np.concatenate([p.pressure_min_pa for p in parts]),
        np.concatenate([p.present for p in parts]),
        np.concatenate([p.flow_blank for p in parts]),
        np.concatenate([p.pressure_blank for p in parts]),
    )


def with_sensor_faults(
    rows: SensedRows, faults: Sequence[Fault], unit: UnitType, rng: np.random.Generator
) -> SensedRows:
    """The rows after what the sensors, the memory and the file do wrong."""
    flow, peak = rows.flow_ml_per_min.copy(), rows.flow_max_ml_per_min.copy()
    pressure, lowest = rows.pressure_pa.copy(), rows.pressure_min_pa.copy()
    present = rows.present.copy()
    flow_blank, pressure_blank = rows.flow_blank.copy(), rows.pressure_blank.copy()
    cells = [(fault, _rows_within(rows, fault)) for fault in faults]
    for fault, here in cells:
        size = ZERO_OFF_BY_ML_PER_MIN if fault.flow_ml_per_min is None else fault.flow_ml_per_min
        if fault.kind == "zero_shift":
            flow[here] -= size
            peak[here] -= size
        elif fault.kind == "drift":
            along = (rows.end_s[here] - fault.start_s) / max(fault.end_s - fault.start_s, 1.0)
            flow[here] += size * along
            peak[here] += size * along
    lowest_flow = 0.0 if unit.clips_at_zero else -np.inf
    flow = np.clip(flow, lowest_flow, unit.flow_top_ml_per_min)
    peak = np.clip(peak, lowest_flow, unit.flow_top_ml_per_min)
    for fault, here in cells:
        if fault.kind == "stuck" and here.stop > here.start:
            before = max(here.start - 1, 0)
            if fault.channel != "pressure":
                held = fault.flow_ml_per_min
                flow[here] = peak[here] = flow[before] if held is None else held
            if fault.channel != "flow":
                at = fault.pressure_cmh2o
                pressure[here] = lowest[here] = pressure[before] if at is None else at * PASCAL_PER_CMH2O
        elif fault.kind in ("dropout", "battery"):
            lost = 1.0 if fault.share is None else fault.share
            present[here] &= rng.random(here.stop - here.start) >= lost
        elif fault.kind == "blank":
            lost = 1.0 if fault.share is None else fault.share
            gone = rng.random(here.stop - here.start) < lost
            if fault.channel != "pressure":
                flow_blank[here] |= gone
            if fault.channel != "flow":
                pressure_blank[here] |= gone
    return replace(
        rows,
        flow_ml_per_min=flow,
        flow_max_ml_per_min=peak,
        pressure_pa=pressure,
        pressure_min_pa=lowest,
        present=present,
        flow_blank=flow_blank,
        pressure_blank=pressure_blank,
    )


def _rows_within(rows: SensedRows, fault: Fault) -> slice:
    """Rows that end inside the fault: its start not included, its end included."""
    first = int(np.searchsorted(rows.end_s, fault.start_s, side="right"))
    return slice(first, int(np.searchsorted(rows.end_s, fault.end_s, side="right")))
