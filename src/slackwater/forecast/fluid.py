"""When will a fluid clause first hold? Conditional on what was charted: a fading rate with honest doubt.

The rate of the charted intervals is fitted as exp(a - b·t); ahead, its fall slows down (a damped trend: Gardner &
McKenzie, Management Science 31 (1985) 1237), as drainage flattens rather than ends. One shared factor, lognormal and
growing with time, carries all doubt of it. A rule judges what is charted: it can first hold with an entry, so the
next ones are expected at this stay's own pace, and are missed or left blank as often as here so far. Assumptions of
ours: no source gives fluid by hour. Scored by bench/truth/score_fluid.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from slackwater.episode.fluid.record import STATUSES, UNKNOWN_START, FluidRecord
from slackwater.forecast.air import Times
from slackwater.quantities.spans import HOUR_MS

Floats = NDArray[np.float64]

FEWEST_ENTRIES = 3
SHORTEST_H = 6.0
STEP_H = 0.25
HORIZON_H = 72.0
REMEMBERS_H = 18.0  # an older interval counts 1 / e (ours)
FADES_PER_H, FADES_SPREAD = 0.02, 0.03  # shared start for the fall: halves in about 35 h (ours)
DAMPED_H = 24.0  # over which the fall slows down (ours)
INTERVAL_SPREAD = 0.3  # of log rate from interval to interval (ours)
LEVEL_SPREAD = 0.25  # of the log rate now (ours)
GROWS_PER_SQRT_H = 0.07  # of log rate, with the root of time ahead (ours)
PACE_ENTRIES = 5  # whose distances say when the next are due (ours)
MISSED, BLANK, COUNTS_AS = 0.05, 0.03, 10.0  # shares of entries before any is seen, and what that is worth (ours)
FACTORS = np.array([NormalDist().inv_cdf((k + 0.5) / 60.0) for k in range(60)])


@dataclass(frozen=True)
class Charted:
    """An amount that drained in (start, end], hours from now (both at most 0); ml None: charted, but not how much."""

    start_h: float
    end_h: float
    ml: float | None


def charted_of(record: FluidRecord, until_ms: int) -> tuple[Charted, ...]:
    """The intervals of a record, hours from `until_ms` (the end of the data); what lies later is left out."""
    return tuple(
        Charted(
            (int(record.start_ms[k]) - until_ms) / HOUR_MS, (int(record.end_ms[k]) - until_ms) / HOUR_MS,
            float(record.low_ul[k] + record.high_ul[k]) / 2000.0 if record.known[k] else None,
        )
        for k in range(len(record))
        if record.start_ms[k] != UNKNOWN_START and record.end_ms[k] <= until_ms
        and STATUSES[record.status[k]] != "reset"
    )  # fmt: skip


def why_withheld(entries: Sequence[Charted]) -> str | None:
    """A sentence, or None where a forecast can be made."""
    known = [entry for entry in entries if entry.ml is not None]
    if len(known) < FEWEST_ENTRIES:
        return f"fewer than {FEWEST_ENTRIES} amounts of fluid are charted"
    if max(e.end_h for e in known) - min(e.start_h for e in known) < SHORTEST_H:
        return f"fluid is charted over less than {SHORTEST_H:g} h"
    return None


def fluid_times(entries: Sequence[Charted], limit_ml: float, within_h: float) -> Times:
    """Distribution of minutes from now until an entry shows a total over the last `within_h` within the limit.

    The caller has asked `why_withheld`. A window that reaches back to what nobody charted shows nothing.
    """
    ordered = sorted(entries, key=lambda entry: entry.end_h)
    known = [(entry, entry.ml) for entry in ordered if entry.ml is not None]
    level, fades = _fit(known)
    due, missed = _due(ordered)
    enough = _totals(known, level, fades, due, within_h) <= limit_ml
    enough[:, due - within_h < ordered[0].start_h - 1e-6] = False
    untold = [entry.end_h for entry in ordered if entry.ml is None]
    blank = (len(untold) + BLANK * COUNTS_AS) / (len(ordered) + COUNTS_AS)
    came = _first_shown(enough, due, within_h, max(untold, default=-np.inf), missed, blank)
    grid = np.arange(0.0, HORIZON_H + STEP_H / 2, STEP_H)
    at = np.searchsorted(due, grid + 1e-9, side="right")
    return Times(grid * 60.0, np.concatenate(([0.0], came))[at])


def _fit(known: Sequence[tuple[Charted, float]]) -> tuple[float, float]:
    """(log rate now, its fall per hour): weighted by length and age, the fall pulled to its shared start."""
    length = np.array([max(one.end_h - one.start_h, 1e-3) for one, _ in known])
    middle = np.array([0.5 * (one.end_h + one.start_h) for one, _ in known])
    logs = np.log(np.maximum(np.array([ml for _, ml in known]), 1.0) / length)
    weight = length / length.mean() * np.exp(middle / REMEMBERS_H)
    centre = float((weight * middle).sum() / weight.sum())
    mean = float((weight * logs).sum() / weight.sum())
    across = float((weight * (middle - centre) ** 2).sum())
    along = float((weight * (middle - centre) * (logs - mean)).sum())
    pull = INTERVAL_SPREAD**2 / FADES_SPREAD**2
    fades = (-along + pull * FADES_PER_H) / (across + pull)
    return mean + fades * centre, fades


def _due(entries: Sequence[Charted]) -> tuple[Floats, float]:
    """(hours ahead at which entries are due, share of them that is missed), at the pace of the last ones."""
    ends = np.array([entry.end_h for entry in entries])
    apart = np.diff(ends)
    pace = max(float(np.median(apart[-PACE_ENTRIES:])), STEP_H)
    slots = np.maximum(np.rint(apart[-4 * PACE_ENTRIES :] / pace), 1.0)
    missed = (float((slots - 1.0).sum()) + MISSED * COUNTS_AS) / (float(slots.sum()) + COUNTS_AS)
    first = ends[-1] + pace * (np.floor(-ends[-1] / pace) + 1.0)
    return np.arange(first, HORIZON_H + 1e-9, pace), missed


def _totals(
    known: Sequence[tuple[Charted, float]], level: float, fades: float, due: Floats, within_h: float
) -> Floats:  # fmt: skip
    """FACTORS x due: total over (t - within, t], from what is charted of it and from the rate for the rest."""
    ahead = np.arange(STEP_H, HORIZON_H + STEP_H / 2, STEP_H)
    falls = fades * DAMPED_H * -np.expm1(-ahead / DAMPED_H)
    doubt = np.sqrt(LEVEL_SPREAD**2 + GROWS_PER_SQRT_H**2 * ahead)
    rate = np.exp(level - falls + doubt * FACTORS[:, None])
    coming = np.concatenate((np.zeros((len(FACTORS), 1)), np.cumsum(rate, axis=1) * STEP_H), axis=1)
    opens = due - within_h
    total = coming[:, _steps(due)] - coming[:, _steps(np.maximum(opens, 0.0))]
    since = max(one.end_h for one, _ in known)  # not charted yet
    now = np.exp(level + LEVEL_SPREAD * FACTORS)[:, None]
    total += now * np.clip(-np.maximum(opens, since), 0.0, None)
    for one, ml in known:
        share = (one.end_h - np.maximum(opens, one.start_h)) / max(one.end_h - one.start_h, 1e-3)
        total += np.clip(share, 0.0, 1.0) * ml
    return np.asarray(total)


def _steps(hours: Floats) -> NDArray[np.int64]:
    return np.rint(hours / STEP_H).astype(np.int64)


def _first_shown(
    enough: NDArray[np.bool_], due: Floats, within_h: float, untold_h: float, missed: float, blank: float
) -> Floats:
    """Chance, at each due entry, that one has shown the total within the limit by then.

    enough: FACTORS x due, were all amounts known. untold_h: end of the last amount left blank so far.
    """
    blanks = np.concatenate(([untold_h], due))
    alive = np.zeros((len(enough), len(due) + 1))  # by which blank is the last
    alive[:, 0] = 1.0
    came = np.zeros(len(due))
    for k, at in enumerate(due.tolist()):
        clear = blanks <= at - within_h + 1e-6
        shown = alive * clear * enough[:, k, None] * (1.0 - missed) * (1.0 - blank)
        came[k] = shown.sum(axis=1).mean()
        alive = alive - shown
        left_blank = alive * (1.0 - missed) * blank
        alive = alive - left_blank
        alive[:, k + 1] += left_blank.sum(axis=1)
    return np.minimum(np.cumsum(came), 1.0)
