"""The suction that was ordered, and how the unit follows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from slackwater.simulate.si import FloatArray, pascal

FOLLOWS_S = 15.0
"""Time constant with which the pump follows a new setting (ours)."""


@dataclass(frozen=True)
class SuctionStep:
    """From `at_h` hours after connection: `level` (positive) in `unit`, or no added suction.

    `level=None` is gravity drainage: the measured pressure then follows the pleura.
    """

    at_h: float
    level: float | None
    unit: str = "cmH2O"

    @property
    def suction_pa(self) -> float | None:
        """Suction as a positive number of pascal; None with no added suction."""
        return None if self.level is None else pascal(self.level, self.unit)


def ordered(steps: Sequence[SuctionStep], at_s: float) -> SuctionStep:
    """The order in force `at_s` seconds after connection."""
    current = steps[0]
    for step in steps:
        if step.at_h * 3600.0 <= at_s:
            current = step
    return current


def suction_over(steps: Sequence[SuctionStep], times_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Suction magnitude [Pa] and how far the pump is engaged [0..1] at `times_s`.

    Each step is approached exponentially. At gravity the magnitude is nought and
    the engagement nought: what the sensor then sees is the pleura.
    """
    magnitude = np.zeros_like(times_s)
    engaged = np.zeros_like(times_s)
    before, before_engaged = 0.0, 0.0
    for step in steps:
        level = step.suction_pa
        target, target_engaged = (0.0, 0.0) if level is None else (level, 1.0)
        first = int(np.searchsorted(times_s, step.at_h * 3600.0))
        if first < times_s.size:
            fade = np.exp(-(times_s[first:] - step.at_h * 3600.0) / FOLLOWS_S)
            magnitude[first:] = target + (before - target) * fade
            engaged[first:] = target_engaged + (before_engaged - target_engaged) * fade
        before, before_engaged = target, target_engaged
    return magnitude, engaged
