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


def chance_at_least(state: NDArray[np.float64], model: SizeModel, limit_ml_per_min: float, drive_cmh2o: float) -> float:
    """P(leak >= limit) at a driving pressure, from a state as `run_filter` leaves it; the kernel's own cells.

    >>> chance_at_least(first_state(SizeModel()), SizeModel(), 0.0, 20.0)
    1.0
    """
    if limit_ml_per_min <= 0.0:
        return 1.0
    grid = conductances(model)
    edges = np.concatenate((0.5 * (grid[1:] + grid[:-1]), [1.5 * grid[-1] - 0.5 * grid[-2]]))
    above = np.concatenate((np.cumsum(state[1 : model.cells][::-1])[::-1], [0.0]))  # at or over each edge
    return float(min(np.interp(limit_ml_per_min / drive_cmh2o, edges, above), 1.0))
