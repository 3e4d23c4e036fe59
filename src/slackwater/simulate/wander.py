"""Slow random wandering about zero, one value a minute."""

from __future__ import annotations

import math

import numpy as np

from slackwater.simulate.si import FloatArray


def wander(minutes: int, spread: float, memory_min: float, rng: np.random.Generator) -> FloatArray:
    """First-order autoregressive noise: standard deviation `spread`, memory `memory_min`.

    Stationary from the first minute, so that no stay begins suspiciously calm.
    """
    keep = math.exp(-1.0 / memory_min)
    fresh = rng.standard_normal(minutes) * (spread * math.sqrt(1.0 - keep * keep))
    level = float(rng.standard_normal()) * spread
    out = np.empty(minutes)
    for i, kick in enumerate(fresh.tolist()):
        level = keep * level + kick
        out[i] = level
    return out
