"""The unit's battery: on the wall most of the time, off it for walks and part of the day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slackwater.simulate.fault import Fault
from slackwater.simulate.rhythm import Rhythm
from slackwater.simulate.si import BoolArray, FloatArray

CHARGES_IN_MIN = 150.0
"""From empty to full on the wall (invented)."""


@dataclass(frozen=True)
class Power:
    """Charge in percent and whether on mains, by minute."""

    charge_percent: FloatArray
    on_mains: BoolArray


def power_over(rhythm: Rhythm, local_hour: FloatArray, faults: tuple[Fault, ...], runs_min: float) -> Power:
    """Charge by minute; a `battery` fault is preceded by a whole charge used up."""
    unplugged = rhythm.walking | ((local_hour >= 10.0) & (local_hour < 12.5))
    flat = np.zeros(unplugged.size, dtype=np.bool_)
    for fault in faults:
        if fault.kind == "battery":
            first, last = round(fault.start_h * 60.0), round(fault.end_h * 60.0)
            unplugged[max(first - round(runs_min) - 5, 0) : last] = True
            flat[first:last] = True
    charge, level = np.empty(unplugged.size), 97.0
    for i, (loose, empty) in enumerate(zip(unplugged.tolist(), flat.tolist(), strict=True)):
        level += -100.0 / runs_min if loose else 100.0 / CHARGES_IN_MIN
        level = 0.0 if empty else min(max(level, 1.0), 100.0)
        charge[i] = level
    return Power(charge, ~unplugged)
