"""The cell a display can tell apart: how a sensed value becomes a logged one."""

from __future__ import annotations

from typing import Literal

import numpy as np

from slackwater.simulate.si import FloatArray, IntArray

Rounding = Literal["nearest", "floor", "ceil"]

_TINY = 1e-9
"""So that a value that lies on a step does not fall off it by the last bit."""


def to_steps(values: FloatArray, step: float, rounding: Rounding) -> IntArray:
    """Whole number of steps a display shows for each value (halves go up).

    >>> to_steps(np.array([14.9, 15.0, 24.9]), 10.0, "nearest").tolist()
    [1, 2, 2]
    >>> to_steps(np.array([14.9, 0.1]), 10.0, "ceil").tolist()
    [2, 1]
    """
    scaled = values / step
    if rounding == "nearest":
        return np.floor(scaled + 0.5 + _TINY).astype(np.int64)
    if rounding == "floor":
        return np.floor(scaled + _TINY).astype(np.int64)
    return np.ceil(scaled - _TINY).astype(np.int64)
