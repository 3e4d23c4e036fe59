"""SI inside, bedside units at the door: the factors and the two ways across.

Pressures are gauge pressures in pascal (suction is negative), flows in m³/s,
times in seconds, conductances in m³/(s·Pa).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from slackwater.quantities import units

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

PASCAL_PER_CMH2O = float(units.PASCAL_PER_CMH2O)
"""Conventional centimetre of water. Source: NIST SP 811 (2008), appendix B.8."""

PASCAL_PER_MMHG = float(units.PASCAL_PER_MMHG)
"""Conventional millimetre of mercury. Source: NIST SP 811 (2008), appendix B.8."""

ATMOSPHERE_PA = 101_325.0
"""Standard atmosphere. Source: NIST SP 811 (2008), appendix B.8."""

M3_PER_S_PER_ML_PER_MIN = 1e-6 / 60.0
M3_PER_ML = 1e-6

PASCAL_PER_UNIT: dict[str, float] = {
    "Pa": 1.0,
    "hPa": 100.0,
    "mbar": 100.0,
    "kPa": 1000.0,
    "cmH2O": PASCAL_PER_CMH2O,
    "mmHg": PASCAL_PER_MMHG,
}

ML_PER_MIN_PER_UNIT: dict[str, float] = {"mL/min": 1.0, "L/min": 1000.0}


def pascal(value: float, unit: str) -> float:
    """A pressure in `unit` as pascal.

    >>> round(pascal(20.0, "cmH2O"), 2)
    1961.33
    """
    return value * PASCAL_PER_UNIT[unit]


def conductance_si(flow_ml_per_min: float, drive_cmh2o: float) -> float:
    """Conductance that lets `flow_ml_per_min` through at `drive_cmh2o`. [m³/(s·Pa)]

    >>> f"{conductance_si(20.0, 20.0):.3e}"
    '1.700e-10'
    """
    return flow_ml_per_min * M3_PER_S_PER_ML_PER_MIN / (drive_cmh2o * PASCAL_PER_CMH2O)
