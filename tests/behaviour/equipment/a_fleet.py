"""Invented units and their discharges, with the truth beside what the gauge showed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.equipment.charge import MONTH_MS, Spell, spells
from slackwater.quantities.spans import MINUTE_MS

DAY_MS = 24 * 60 * MINUTE_MS
NOW_MS = 400 * DAY_MS


@dataclass(frozen=True)
class Truth:
    """A discharge as it was: percent lost a minute, and what the gauge showed, minute by minute."""

    per_min: float
    time_ms: NDArray[np.int64]
    gauge: NDArray[np.float64]
    flow: float
    suction: float


def discharge(
    rng: np.random.Generator, start_ms: int, per_min: float, minutes: float, *, flow: float = 50.0,
    suction: float = 20.0, uneven: float = 0.15, first: float = 97.0, every_s: int = 60,
) -> Truth:  # fmt: skip
    """From `first` percent down, the loss uneven from minute to minute, the gauge in whole percent."""
    count = int(minutes * 60 / every_s) + 1
    loss = per_min * every_s / 60.0 * rng.lognormal(0.0, uneven, count - 1) / np.exp(uneven**2 / 2)
    level = first - np.concatenate(([0.0], np.cumsum(loss)))
    times = start_ms + np.arange(count, dtype=np.int64) * every_s * 1000
    return Truth(float((level[0] - level[-1]) * 60 / every_s / (count - 1)), times, np.round(level), flow, suction)


def seen(truth: Truth) -> tuple[Spell, ...]:
    n = len(truth.gauge)
    return spells(truth.time_ms, truth.gauge, np.zeros(n), np.full(n, truth.flow), np.full(n, -truth.suction))


def months(count: float) -> int:
    return int(count * MONTH_MS)
