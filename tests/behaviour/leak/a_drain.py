"""A drain made up a second at a time, logged at any cadence, and what is doubted of it. Nobody real.

Breathing wanders about 15 a minute, suction is 20 cmH2O and hunts by some tenths; air comes more while breathing
out. Hours count from the log's beginning; a course is a function of hours, given as points joined by straight lines.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from behaviour.trace.made_log import NOON, made_log, thousandths
from slackwater.leak.breathing import breathing
from slackwater.leak.doubt import doubts
from slackwater.leak.handling import Handling
from slackwater.leak.words import REASONS
from slackwater.trace.join import place
from slackwater.trace.minutes import minutes

Floats = NDArray[np.float64]
Points = Sequence[tuple[float, float]]  # (hour, value)
SUCTION_CMH2O = 20.0


def hour_ms(hour: float) -> int:
    return NOON + round(hour * 3_600_000)


@dataclass(frozen=True)
class Unit:
    """How it logs: seconds a row, means or samples, what its display and its gauge can tell apart, flow noise."""

    every: int = 60
    statistic: str = "mean"
    step: float = 5.0
    gauge: float = 0.1
    noise: float = 1.0
    ceiling: float | None = None


def course(points: Points, hours: Floats) -> Floats:
    at, values = zip(*points, strict=True)
    return np.interp(hours, at, values)


def _slow(rng: np.random.Generator, seconds: Floats, every_s: int) -> Floats:
    """Chance of unit size that changes over so many seconds."""
    knots = np.arange(0, seconds[-1] + 2 * every_s, every_s, dtype=np.float64)
    return np.interp(seconds, knots, rng.normal(0, 1, len(knots)))


def doubted(
    hours: float, leak: Points, *, swing: Points = ((0, 5.0),), suction: Points = ((0, SUCTION_CMH2O),),
    wander: float = 0.15, sway: float = 0.6, unit: Unit | None = None, handled: Handling | None = None,
    spoil: Callable[[Floats, Floats, Floats], None] | None = None, seed: int = 1,
) -> list[str]:  # fmt: skip
    """Reason of doubt for every minute, '' for none.

    leak: mL/min that reach the unit; swing: cmH2O there; wander, sway: how far the leak drifts over hours and moves
    with a breath, as shares of itself. spoil(hours, flow, pressure): a fault, by the row, before printing.
    """
    unit = unit or Unit()
    rng = np.random.default_rng(seed)
    seconds = np.arange(round(hours * 3600), dtype=np.float64)
    t = seconds / 3600
    drift, hunts = (_slow(rng, seconds, every_s) for every_s in (2400, 400))
    pace = np.repeat(np.exp(0.15 * rng.normal(0, 1, len(t) // 5 + 1)), 5)[: len(t)] / 4  # breaths a second
    breath = np.sin(2 * np.pi * np.cumsum(pace))
    flow = np.maximum(course(leak, t) * (1 + wander * drift) * (1 + sway * breath), 0)
    pressure = -course(suction, t) + 0.2 * hunts + course(swing, t) / 2 * breath + rng.normal(0, 0.05, len(t))
    rows = len(t) // unit.every
    parts = [values[: rows * unit.every].reshape(rows, unit.every) for values in (flow, pressure)]
    shown, read = (part.mean(axis=1) if unit.statistic == "mean" else part[:, -1].copy() for part in parts)
    shown = np.maximum(shown + unit.noise * rng.normal(0, 1, rows), 0)
    if spoil is not None:
        spoil((np.arange(rows) + 0.5) * unit.every / 3600, shown, read)
    more: dict[str, Any] = {} if unit.ceiling is None else {"flow_ceiling_ul_per_min": round(1000 * unit.ceiling)}
    log = made_log(
        (np.arange(rows) * unit.every).tolist(), (np.round(shown / unit.step) * unit.step).tolist(), every=unit.every,
        step=unit.step, statistic=unit.statistic,
        pressure_mcmh2o=thousandths((np.round(read / unit.gauge) * unit.gauge).tolist()), **more,
    )  # fmt: skip
    trace = place([log])
    table = minutes(trace, NOON, trace.data_until_ms)
    found = doubts(trace, table, breathing(trace, table), handled or Handling(), shared=False)
    return [REASONS[code] for code in found.reason.tolist()]


def held(start: float, end: float, *, flow: float | None = None, pressure: bool = True) -> Any:
    """A fault: between two hours the row's values stand still, at what they were or at `flow`."""

    def spoil(hours: Floats, shown: Floats, read: Floats) -> None:
        inside = np.flatnonzero((hours >= start) & (hours < end))
        shown[inside] = shown[inside[0]] if flow is None else flow
        if pressure:
            read[inside] = read[inside[0]]

    return spoil


def between(reasons: list[str], start: float, end: float, *, spare_min: int = 3) -> set[str]:
    """The reasons from one hour to another, without so many minutes at either end."""
    return set(reasons[round(start * 60) + spare_min : round(end * 60) - spare_min])
