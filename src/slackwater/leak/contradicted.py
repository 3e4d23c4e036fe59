"""Where the chart and the log say opposite things of one moment: neither is evidence there.

A reading off the display at or above the limit beside minutes wholly below it, or bubbling all the time beside a flow
of zero: the log may be another drain's, its sensor or the way to it may be at fault, or the pen slipped. Where the log
is silent nothing contradicts it, and minutes at or above the limit are never taken back.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from slackwater.episode.types import Chart, Entry
from slackwater.leak.stretches import Flags
from slackwater.quantities.spans import MINUTE_MS
from slackwater.trace.types import Minutes

NEAR_MIN = 2  # a moment is charted to the minute or so
APART_SHARE = 0.2  # of the reading: less lies between a display and the log behind it


@dataclass(frozen=True)
class Contradicted:
    """An entry, and the minutes [first, end) of the log that say otherwise; `shown`: the most they read, mL/min."""

    entry: Entry
    first: int
    end: int
    shown: float


def contradicted(minutes: Minutes, chart: Chart, limit: float, step: float) -> tuple[Contradicted, ...]:
    """Every contradiction about the limit; `limit` and the display's `step` in mL/min."""
    return tuple(_found(minutes, chart, limit, step))


def _found(minutes: Minutes, chart: Chart, limit: float, step: float) -> Iterator[Contradicted]:
    n = len(minutes)
    for entry in chart.of("air_leak_read", "bubbling"):
        k = (entry.time - minutes.start_ms) // MINUTE_MS
        first, end = max(k - NEAR_MIN, 0), min(k + NEAR_MIN + 1, n)
        if entry.conflict or entry.value is None or first >= end:
            continue
        told = np.flatnonzero(np.isfinite(minutes.peak_high[first:end])) + first
        if not len(told):
            continue
        most = float(minutes.peak_high[told].max())
        if isinstance(entry.value, float):
            against = most < limit <= entry.value and entry.value - most > max(step, APART_SHARE * entry.value)
        else:  # a grade of bubbling is never a flow: only a zero speaks against it
            against = entry.value.startswith("C") and bool((minutes.flow_max[told] <= 0).all())
        if against:
            yield Contradicted(entry, first, end, float(minutes.flow_max[told].max()))


def touched(found: tuple[Contradicted, ...], n: int) -> Flags:
    """Minutes of any contradiction."""
    out = np.zeros(n, dtype=np.bool_)
    for one in found:
        out[one.first : one.end] = True
    return out
