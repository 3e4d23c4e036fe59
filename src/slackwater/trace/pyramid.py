"""Blocks of 64 s: smallest and largest flow and time covered, small enough to keep for every drain."""

from __future__ import annotations

import numpy as np

from slackwater.errors import UsageError
from slackwater.trace import kernels
from slackwater.trace.rows import sealed
from slackwater.trace.types import Pyramid, Trace

BLOCK_MS = 64_000


def pyramid(trace: Trace, start_ms: int, end_ms: int) -> Pyramid:
    """Blocks from `start_ms` that hold [start_ms, end_ms): extremes in µL/min and ms covered by readings.

    A row counts in every block that it touches. The unit's own maximum column is left out: blocks
    answer for readings. Raises UsageError for a time that ends before it starts.
    """
    if end_ms < start_ms:
        raise UsageError(f"a time from {start_ms} to {end_ms} ms", mend="Let it end after its start.")
    n = -(-(end_ms - start_ms) // BLOCK_MS)
    low, high, covered = (np.empty(n, np.int32) for _ in range(3))
    kernels.extremes(start_ms, BLOCK_MS, trace.start_ms, trace.end_ms, trace.flow_ul_per_min, low, high, covered)
    return Pyramid(start_ms, sealed(low), sealed(high), sealed(covered))
