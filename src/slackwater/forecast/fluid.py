"""When will a fluid clause first hold? Conditional on what was charted: a decaying rate with honest doubt.

The rate of each charted interval is fitted as exp(a - b·t) with shrinkage; one shared factor, lognormal and
growing with time, carries all doubt, so that the total over a window falls together with it and every quantile of
the time is the time at that quantile of the factor. Assumptions of ours: no source gives fluid by hour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from slackwater.episode.fluid.record import UNKNOWN_START, FluidRecord
from slackwater.forecast.air import MET_NOW, Times

Floats = NDArray[np.float64]

FEWEST_ENTRIES = 3
SHORTEST_H = 6.0
STEP_H = 0.25
HORIZON_H = 168.0
FADES_PER_H, FADES_SPREAD = 0.02, 0.03  # shared start for the decay: halves in about 35 h (ours)
LEAST_SPREAD = 0.3  # of log rate between intervals, at the least (ours)
GROWS_PER_SQRT_H = 0.05  # of log rate, with the root of time ahead (ours)
SHARES = (np.arange(99) + 1.0) / 100.0


@dataclass(frozen=True)
class Charted:
    """An amount that drained in (start, end], hours from now (both at most 0), mL."""

    start_h: float
    end_h: float
    ml: float


def charted_of(record: FluidRecord, until_ms: int) -> tuple[Charted, ...]:
    """The known amounts of a record, hours from `until_ms` (the end of the data); what lies later is left out."""
    return tuple(
        Charted(
            (int(record.start_ms[k]) - until_ms) / 3_600_000, (int(record.end_ms[k]) - until_ms) / 3_600_000,
            float(record.low_ul[k] + record.high_ul[k]) / 2000.0,
        )
        for k in np.flatnonzero(record.known)
        if record.start_ms[k] != UNKNOWN_START and record.end_ms[k] <= until_ms
    )  # fmt: skip


def why_withheld(entries: Sequence[Charted]) -> str | None:
    """A sentence, or None where a forecast can be made."""
    if len(entries) < FEWEST_ENTRIES:
        return f"fewer than {FEWEST_ENTRIES} amounts of fluid are charted"
    if max(e.end_h for e in entries) - min(e.start_h for e in entries) < SHORTEST_H:
        return f"fluid is charted over less than {SHORTEST_H:g} h"
    return None


def fluid_times(entries: Sequence[Charted], limit_ml: float, within_h: float) -> Times:
    """Distribution of minutes from now until the total over the last `within_h` is below the limit.

    The caller has asked `why_withheld`. A window that reaches back before the first entry takes what it needs
    from the earliest rate, and from no earlier than that.
    """
    ordered = sorted(entries, key=lambda entry: entry.end_h)
    level, fades, spread = _fit(ordered)
    ahead = np.arange(STEP_H, HORIZON_H + STEP_H / 2, STEP_H)
    doubt = np.sqrt(spread**2 + GROWS_PER_SQRT_H**2 * ahead)
    times = np.empty(len(SHARES))
    for k, share in enumerate(SHARES):
        factor = NormalDist().inv_cdf(float(share))
        rate = np.exp(level - fades * ahead + doubt * factor)
        total = _totals(ordered, rate, ahead, within_h, float(np.exp(level)))
        held = np.flatnonzero(total < limit_ml)
        times[k] = ahead[held[0]] * 60.0 if len(held) else np.inf
    if np.all(times <= STEP_H * 60.0):
        return MET_NOW
    grid = np.concatenate(([0.0], ahead * 60.0))
    chance = np.searchsorted(np.sort(times), grid, side="right") / (len(SHARES) + 1)
    return Times(grid, np.asarray(np.where(chance >= 0.985, 1.0, chance)))


def _fit(entries: Sequence[Charted]) -> tuple[float, float, float]:
    """(log rate now, decay per hour, standard deviation of log rate): weighted by length, decay pulled to its start."""
    length = np.array([max(e.end_h - e.start_h, 1e-3) for e in entries])
    middle = np.array([0.5 * (e.end_h + e.start_h) for e in entries])
    logs = np.log(np.maximum(np.array([e.ml for e in entries]), 1.0) / length)
    weight = length * np.exp(middle / 36.0)
    weight = weight / weight.max()
    centre = float((weight * middle).sum() / weight.sum())
    mean = float((weight * logs).sum() / weight.sum())
    across = float((weight * (middle - centre) ** 2).sum())
    along = float((weight * (middle - centre) * (logs - mean)).sum())
    pull = LEAST_SPREAD**2 / FADES_SPREAD**2
    fades = (-along + pull * FADES_PER_H) / (across + pull)
    residual = logs - mean + fades * (middle - centre)
    spread = float(np.sqrt((weight * residual**2).sum() / weight.sum() + LEAST_SPREAD**2 / len(entries)))
    return mean - fades * (0.0 - centre), fades, max(spread, LEAST_SPREAD)


def _totals(entries: Sequence[Charted], rate: Floats, ahead: Floats, within_h: float, rate_now: float) -> Floats:
    """Total over (t - within, t] at each t ahead: what is charted inside the window, and the rate for the rest."""
    last = max(entry.end_h for entry in entries)
    coming = np.cumsum(rate) * STEP_H + rate_now * max(-last, 0.0)
    total = coming.copy()
    late = ahead > within_h  # the window lies wholly ahead
    back = round(within_h / STEP_H)
    total[late] = coming[late] - np.concatenate((np.zeros(back), coming))[: len(coming)][late]
    for entry in entries:
        opens = ahead - within_h
        share = (entry.end_h - np.maximum(opens, entry.start_h)) / max(entry.end_h - entry.start_h, 1e-3)
        total += np.where(late, 0.0, np.clip(share, 0.0, 1.0) * entry.ml)
    first = min(entry.start_h for entry in entries)
    missing = np.where(late, 0.0, np.maximum(first - (ahead - within_h), 0.0))
    earliest = entries[0].ml / max(entries[0].end_h - entries[0].start_h, 1e-3)
    return np.asarray(total + missing * earliest)
