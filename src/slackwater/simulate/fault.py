"""What goes wrong, when, and by how much: the truth behind a misleading trace."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

FaultKind = Literal[
    "blocked",
    "kinked",
    "clamped",
    "capped",
    "loop",
    "open_circuit",
    "off",
    "battery",
    "weak_pump",
    "connector_leak",
    "limb_blocked",
    "tissue",
    "dropout",
    "blank",
    "stuck",
    "zero_shift",
    "drift",
    "clock_forward",
    "clock_back",
]
"""
blocked         clot: abrupt, no flow and no swing at the unit, the lung may go on leaking
kinked          the same by a bent tube; usually found and charted at its end
clamped         the same by a clamp
capped          the same by a cap on the tube end, after it came apart
loop            a fluid-filled loop: swing damped, `pressure_cmh2o` of suction lost on the way
open_circuit    the tube came apart: flow at the pump's ceiling, pressure lost
off             pump off: flow exactly zero, pressure decays (or all zeros, with `zeros`)
battery         the unit died: no rows at all, passive path open
weak_pump       wet filter: delivered suction fades by `share` over the interval
connector_leak  room air at a joint: `flow_ml_per_min` at 20 cmH2O, follows suction, not breathing
limb_blocked    one limb of a Y blocked: `share` of the leak lies behind it
tissue          up to `share` of the air goes to the tissues instead of the tube
dropout         rows missing
blank           rows present, values blank (`channel`)
stuck           value frozen (`channel`), at the last one or at `flow_ml_per_min` / `pressure_cmh2o`
zero_shift      flow reads too low by `flow_ml_per_min`: a zero was taken while air leaked
drift           flow zero drifts by `flow_ml_per_min` over the interval
clock_forward   stamps run ahead by `clock_s`
clock_back      stamps run behind by `clock_s`
"""

Channel = Literal["flow", "pressure", "both"]

FAULT_KINDS: tuple[FaultKind, ...] = get_args(FaultKind)

SHUT: frozenset[FaultKind] = frozenset({"blocked", "kinked", "clamped", "capped"})
"""Kinds that shut the way between pleura and unit."""


@dataclass(frozen=True)
class Fault:
    """One fault between `start_h` and `end_h` hours after connection (end not included)."""

    kind: FaultKind
    start_h: float
    end_h: float
    flow_ml_per_min: float | None = None
    pressure_cmh2o: float | None = None
    share: float | None = None
    clock_s: float | None = None
    channel: Channel = "both"
    zeros: bool = False
    charted: bool = False

    @property
    def start_s(self) -> float:
        """Start, seconds after connection."""
        return self.start_h * 3600.0

    @property
    def end_s(self) -> float:
        """End, seconds after connection; not included."""
        return self.end_h * 3600.0

    def holds(self, at_s: float) -> bool:
        """Whether the fault is there `at_s` seconds after connection."""
        return self.start_s <= at_s < self.end_s


def shut_intervals(faults: Iterable[Fault]) -> tuple[tuple[float, float], ...]:
    """Joined intervals [s] in which the pleura's way out is shut."""
    merged: list[tuple[float, float]] = []
    for start, end in sorted((f.start_s, f.end_s) for f in faults if f.kind in SHUT):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return tuple(merged)
