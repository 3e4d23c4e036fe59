"""The formulas: leak, breathing shape, tube, ripple. All SI."""

from __future__ import annotations

import math

import numpy as np

from slackwater.simulate.si import FloatArray

INSPIRATION = 0.4
"""Share of a breath spent breathing in (ours)."""

_FINE = 1024


def leak_flow(conductance_si: FloatArray | float, drive_pa: FloatArray) -> FloatArray:
    """Air from lung to pleura [m³/s]: conductance times driving pressure, never backwards.

    The defect acts as a valve: the drive is airway less pleural pressure, and a negative
    one passes nothing.

    >>> leak_flow(2.0, np.array([10.0, -5.0])).tolist()
    [20.0, 0.0]
    """
    return np.asarray(conductance_si * np.maximum(drive_pa, 0.0), dtype=np.float64)


def tube_resistance(length_m: float, bore_m: float, viscosity_pa_s: float = 18.5e-6) -> float:
    """Resistance of a smooth round tube to laminar flow. [Pa·s/m³]

    R = 8·μ·L / (π·r⁴), for Reynolds numbers below about 2000; air at 37 °C by default.
    Source: Sutera & Skalak, Annu. Rev. Fluid Mech. 25 (1993) 1.
    Check: 50 mL/min through 2 m of 6 mm bore loses about 0.97 Pa.

    >>> round(tube_resistance(2.0, 0.006) * 50e-6 / 60, 2)
    0.97
    """
    radius = bore_m / 2.0
    return 8.0 * viscosity_pa_s * length_m / (math.pi * radius**4)


def _breath_table() -> FloatArray:
    f = np.arange(_FINE) / _FINE
    falling = (1.0 - np.cos(np.pi * f / INSPIRATION)) / 2.0
    rising = (1.0 + np.cos(np.pi * (f - INSPIRATION) / (1.0 - INSPIRATION))) / 2.0
    return np.where(f < INSPIRATION, falling, rising**1.3)


BREATH = _breath_table()
"""0 at the end of expiration, 1 at the end of inspiration, over one breath."""

BREATH_MEAN = float(BREATH.mean())


def breath_shape(fraction: FloatArray) -> FloatArray:
    """Depth of breath [0..1] at `fraction` [0..1) of the breath."""
    return BREATH[(fraction * _FINE).astype(np.int64)]


_AIRWAY = np.where(
    np.arange(_FINE) / _FINE < INSPIRATION,
    -np.sin(np.pi * np.arange(_FINE) / _FINE / INSPIRATION),
    0.7 * np.sin(np.pi * (np.arange(_FINE) / _FINE - INSPIRATION) / (1.0 - INSPIRATION)),
)


def airway_shape(fraction: FloatArray) -> FloatArray:
    """Airway pressure in quiet breathing, relative: negative breathing in, positive out."""
    return _AIRWAY[(fraction * _FINE).astype(np.int64)]


def pump_ripple(times_s: FloatArray, size_pa: float, phase: float) -> FloatArray:
    """Slow hunting of the pump about its setting [Pa]: two periods that never lock (ours)."""
    slow = np.sin(times_s * (2.0 * np.pi / 47.0) + phase + 2.0 * np.sin(times_s / 211.0))
    slower = np.sin(times_s * (2.0 * np.pi / 163.0) + 2.3 * phase)
    return size_pa * (0.7 * slow + 0.3 * slower)


def heart_ripple(times_s: FloatArray, size_pa: float, phase: float) -> FloatArray:
    """Small ripple of the heartbeat [Pa], about 75 a minute, never quite regular (ours)."""
    return size_pa * np.sin(times_s * (2.0 * np.pi * 1.25) + phase + 4.0 * np.sin(times_s / 37.0))


def smooth_kernel(lasting_s: float, dt_s: float) -> FloatArray:
    """Weights of an exponential smoothing with time constant `lasting_s`, summing to one."""
    n = max(1, int(6.0 * lasting_s / dt_s))
    weights = np.exp(-np.arange(n) * dt_s / lasting_s)
    return np.asarray(weights / weights.sum(), dtype=np.float64)
