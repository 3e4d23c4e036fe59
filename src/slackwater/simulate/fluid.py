"""Fluid from the pleura: how much has drained by when, and what it looks like.

Assumption: no source gives output by hour. A rate that decays from bloody to serous.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slackwater.simulate.si import BoolArray, FloatArray
from slackwater.simulate.wander import wander


@dataclass(frozen=True)
class FluidPlan:
    """Rate from `first_ml_per_h` down to `later_ml_per_h` with time constant `fades_h`.

    haemoserous_from_h, serous_from_h: when the look changes; `look` fixes it instead.
    """

    first_ml_per_h: float = 55.0
    later_ml_per_h: float = 7.0
    fades_h: float = 12.0
    haemoserous_from_h: float = 5.0
    serous_from_h: float = 40.0
    look: str | None = None

    def appearance(self, at_h: float) -> str:
        """What the fluid looks like `at_h` hours after connection."""
        if self.look is not None:
            return self.look
        if at_h < self.haemoserous_from_h:
            return "bloody"
        return "haemoserous" if at_h < self.serous_from_h else "serous"


def drained_ml(plan: FluidPlan, shut: BoolArray, rng: np.random.Generator) -> FloatArray:
    """Total drained by the end of each minute [mL]; a shut tube holds it back, then lets it go."""
    n = shut.size
    hours = np.arange(n) / 60.0
    rate = plan.later_ml_per_h + plan.first_ml_per_h * np.exp(-hours / plan.fades_h)
    made = rate / 60.0 * np.exp(wander(n, 0.45, 90.0, rng))
    pool, total = 0.0, 0.0
    out = np.empty(n)
    for i, (fresh, closed) in enumerate(zip(made.tolist(), shut.tolist(), strict=True)):
        pool += fresh
        if not closed:
            gone = pool * 0.15
            pool -= gone
            total += gone
        out[i] = total
    return out
