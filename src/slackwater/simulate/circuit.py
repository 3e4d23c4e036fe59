"""What the faults of a stay do to the way between pleura and unit, sample by sample."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from slackwater.simulate.fault import SHUT, Fault
from slackwater.simulate.si import PASCAL_PER_CMH2O, BoolArray, FloatArray, conductance_si


@dataclass(frozen=True)
class Circuit:
    """State of the way at each sample.

    shut: closed between pleura and unit. apart: tube end open to the room.
    off: pump stopped; off_for_s since when; zeros: that unit then logs plain noughts.
    damping: share of the swing that gets past a fluid loop. column_pa: suction lost to fluid.
    reaching: share of the lung's air that reaches the unit. joint_si: conductance of a
    leaking joint. pump: share of its suction the pump still makes.
    """

    shut: BoolArray
    apart: BoolArray
    off: BoolArray
    off_for_s: FloatArray
    zeros: BoolArray
    damping: FloatArray
    column_pa: FloatArray
    reaching: FloatArray
    joint_si: FloatArray
    pump: FloatArray


def circuit_over(faults: Sequence[Fault], times_s: FloatArray) -> Circuit:
    """The circuit at evenly spaced `times_s`, seconds after connection."""
    n = times_s.size
    flags = {name: np.zeros(n, dtype=np.bool_) for name in ("shut", "apart", "off", "zeros")}
    off_for, damping, column = np.zeros(n), np.ones(n), np.zeros(n)
    reaching, joint, pump = np.ones(n), np.zeros(n), np.ones(n)
    for fault in faults:
        first = int(np.searchsorted(times_s, fault.start_s))
        last = int(np.searchsorted(times_s, fault.end_s))
        if first >= last:
            continue
        here = slice(first, last)
        along = (times_s[here] - fault.start_s) / max(fault.end_s - fault.start_s, 1.0)
        if fault.kind in SHUT:
            flags["shut"][here] = True
        elif fault.kind == "open_circuit":
            flags["apart"][here] = True
        elif fault.kind in ("off", "battery"):
            flags["off"][here] = True
            off_for[here] = times_s[here] - fault.start_s
            flags["zeros"][here] = fault.zeros
        elif fault.kind == "loop":
            damping[here] = 0.15 if fault.share is None else fault.share
            column[here] = (6.0 if fault.pressure_cmh2o is None else fault.pressure_cmh2o) * PASCAL_PER_CMH2O
        elif fault.kind == "limb_blocked":
            reaching[here] *= 1.0 - (0.7 if fault.share is None else fault.share)
            damping[here] *= 0.7
        elif fault.kind == "tissue":
            # The tissues take more and more until they take `share`, in the first third.
            taken = (0.9 if fault.share is None else fault.share) * np.minimum(along * 3.0, 1.0)
            reaching[here] *= 1.0 - taken
        elif fault.kind == "connector_leak":
            joint[here] += conductance_si(80.0 if fault.flow_ml_per_min is None else fault.flow_ml_per_min, 20.0)
        elif fault.kind == "weak_pump":
            pump[here] = 1.0 - (0.6 if fault.share is None else fault.share) * along
    return Circuit(
        flags["shut"],
        flags["apart"],
        flags["off"],
        off_for,
        flags["zeros"],
        damping,
        column,
        reaching,
        joint,
        pump,
    )
