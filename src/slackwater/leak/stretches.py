"""Small arithmetic on minute flags: stretches, persistence, and intervals laid on the minute grid."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from slackwater.quantities.spans import MINUTE_MS
from slackwater.trace.types import Interval

Flags = NDArray[np.bool_]


def stretches(flags: Flags) -> Iterator[tuple[int, int]]:
    """(first, end) of every run of True, end outside."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    for first, end in edges.reshape(-1, 2):
        yield int(first), int(end)


def long_enough(flags: Flags, minutes: int) -> Flags:
    """Only the runs of True that last at least so many minutes."""
    out = np.zeros(len(flags), dtype=np.bool_)
    for first, end in stretches(flags):
        if end - first >= minutes:
            out[first:end] = True
    return out


def laid(intervals: Iterable[Interval], start_ms: int, n: int) -> Flags:
    """Minutes that an interval touches; an interval of no length touches its own minute."""
    out = np.zeros(n, dtype=np.bool_)
    for interval in intervals:
        first = (interval.start_ms - start_ms) // MINUTE_MS
        last = -((start_ms - interval.end_ms) // MINUTE_MS)
        if last > 0 and first < n:
            out[max(first, 0) : max(min(last, n), max(first, 0) + 1)] = True
    return out


def running_median(values: NDArray[np.float64], width: int, *, ahead: bool = False) -> NDArray[np.float64]:
    """Median of the last (or next) `width` values, itself included; NaN if under half are known."""
    n = len(values)
    if not n:
        return values.copy()
    pad = np.full(width - 1, np.nan)
    padded = np.concatenate((values, pad)) if ahead else np.concatenate((pad, values))
    windows = np.lib.stride_tricks.sliding_window_view(padded, width)
    known = np.isfinite(windows).sum(axis=1)
    ordered = np.sort(windows, axis=1)  # NaN go to the end
    middle = np.maximum((known - 1) // 2, 0)
    picked = ordered[np.arange(n), middle]
    return np.where(known * 2 >= width, picked, np.nan)
