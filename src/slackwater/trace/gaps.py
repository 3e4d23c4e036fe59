"""Gaps: stretches of time for which the log has no row."""

from __future__ import annotations

import numpy as np

from slackwater.trace.types import Interval, Trace

NO_ROW = "no row"


def gaps(trace: Trace, start_ms: int, end_ms: int) -> tuple[Interval, ...]:
    """Stretches of [start_ms, end_ms) without a row, in order of time; UTC ms.

    Rows whose stamps lie more than 1.5 x their usual length apart leave a gap: from where the one
    ends to where the other begins. So a gap is longer than half a row, and at the ends of the time
    asked about a shorter stretch is not one either. A row without a value is no gap.
    """
    if end_ms <= start_ms:
        return ()
    starts = np.append(trace.start_ms, end_ms)
    ends = np.insert(trace.end_ms, 0, start_ms)
    begin, until = np.maximum(ends, start_ms), np.minimum(starts, end_ms)
    every = np.array([log.every_ms for log in trace.logs], np.int64)[trace.log]
    before, after = np.insert(every, 0, trace.every_ms), np.append(every, trace.every_ms)
    usual = np.minimum(before, after)  # trace.every_ms is the longest there is
    found = np.flatnonzero(2 * (until - begin) > usual)
    return tuple(Interval(int(begin[i]), int(until[i]), NO_ROW) for i in found)
