"""The cells of the size filter: conductance, even in log(1 + flow / softness), with a cell for a sealed lung.

A kin of asinh that needs no more than products later: log(flow + softness) raised to a whole power is a power
of flow + softness, so compiled and interpreted loops agree to the last bit.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.filter.model import SizeModel


@cache
def conductances(model: SizeModel) -> NDArray[np.float64]:
    """Middle of every cell, mL/min per cmH2O, ascending; the first is exactly 0. Read-only.

    >>> grid = conductances(SizeModel())
    >>> len(grid), float(grid[0]), round(float(grid[-1]) * 20)
    (64, 0.0, 16000)
    """
    top = np.log1p(model.top_ml_per_min / model.softness_ml_per_min)
    flow = model.softness_ml_per_min * np.expm1(np.linspace(0.0, top, model.cells))
    grid = np.asarray(flow / model.reference_cmh2o, dtype=np.float64)
    grid.setflags(write=False)
    return grid


def first_state(model: SizeModel) -> NDArray[np.float64]:
    """Before anything was seen: every cell alike; then recent flow, recent drive, last drive, surprises."""
    state = np.zeros(model.cells + 4)
    state[: model.cells] = 1.0 / model.cells
    return state
