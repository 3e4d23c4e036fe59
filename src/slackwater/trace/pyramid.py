"""Blocks of 64 s: smallest and largest flow and time covered, small enough to keep for every drain."""

from __future__ import annotations

import numpy as np

from slackwater.errors import UsageError
from slackwater.reading.log import NONE
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


def merge(one: Pyramid, other: Pyramid) -> Pyramid:
    """Two pieces as one, whichever came first; blocks that both touch hold what both held.

    Pieces that share no row give what one pass over all rows would give. Blocks between the pieces
    are empty. Raises UsageError if the blocks do not lie on one grid.
    """
    if (other.start_ms - one.start_ms) % BLOCK_MS:
        raise UsageError(
            f"blocks from {one.start_ms} and from {other.start_ms} ms do not lie on one grid",
            mend="Start both pieces a whole number of blocks apart.",
        )
    start = min(one.start_ms, other.start_ms)
    end = max(piece.start_ms + BLOCK_MS * len(piece.low) for piece in (one, other))
    n = (end - start) // BLOCK_MS
    low, high = np.full(n, NONE, np.int32), np.full(n, NONE, np.int32)
    covered = np.zeros(n, np.int32)
    for piece in (one, other):
        at = (piece.start_ms - start) // BLOCK_MS
        here = slice(at, at + len(piece.low))
        empty = low[here] == NONE
        blank = piece.low == NONE
        low[here] = np.where(empty, piece.low, np.where(blank, low[here], np.minimum(low[here], piece.low)))
        high[here] = np.maximum(high[here], piece.high)  # NONE is below every flow
        covered[here] += piece.covered_ms
    return Pyramid(start, sealed(low), sealed(high), sealed(covered))
