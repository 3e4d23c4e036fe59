"""A figure with its interval, or without what cannot be told."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Estimate:
    """value, low and high in one unit, that of the function which gave it; None: cannot be told, never zero.

    level: 0.95 means that 95 of 100 such intervals hold the true value, if the method's assumptions hold.
    """

    value: float | None
    low: float | None
    high: float | None
    level: float
    method: str  # in words, for the reader of the figure
