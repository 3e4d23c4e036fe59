"""Will the leak still be there at a moment ahead? The trend filter's chain, run forward without looking."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.filter.model import BLOCK_MIN
from slackwater.leak.filter.trend import SEALED, Chain


def outlasts(state: NDArray[np.float64], links: Chain, ahead_min: float) -> float:
    """Chance that the lung has not sealed `ahead_min` from now; a leak with effort, or shut for now, still counts."""
    chance = state
    for _ in range(max(0, round(ahead_min / BLOCK_MIN))):
        chance = np.add.reduceat(links.weight * chance[links.column], links.pointer[:-1])
    return float(np.clip(1.0 - chance[links.kind == SEALED].sum(), 0.0, 1.0))
