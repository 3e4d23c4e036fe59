"""When limits and lengths of a rule first held in one drain, for all of them in one pass over its readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.audit import kernels
from slackwater.audit.kernels import NO_VALUE
from slackwater.errors import UsageError

__all__ = ["NO_VALUE", "Blocks", "blocks_of", "first_holds"]

BLOCK = 64  # values
NEVER = -1

Shorts = NDArray[np.int16]
Longs = NDArray[np.int64]

_NOTHING_ELSE = np.empty((0, 0), dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Blocks:
    """Smallest and largest of every `size` values; `NO_VALUE` as the smallest: something in it was not recorded."""

    low: Shorts
    high: Shorts
    size: int = BLOCK


def blocks_of(values: Shorts, size: int = BLOCK) -> Blocks:
    """One pass over the values (int16, length n); ceil(n / size) blocks."""
    count = -(-len(values) // size)
    low, high = np.empty(count, np.int16), np.empty(count, np.int16)
    kernels.extremes(values, size, low, high)
    return Blocks(low, high, size)


def first_holds(
    values: Shorts,
    limits: Sequence[int] | NDArray[np.integer],
    lengths: Sequence[int] | NDArray[np.integer],
    *,
    gaps_break: bool = True,
    blocks: Blocks | None = None,
    next_fit: Longs | None = None,
) -> Longs:
    """How many values had passed when each limit had first been kept for each length without a break: [limit, length].

    values: evenly spaced int16, `NO_VALUE` where nothing was recorded. limits: a value at or above one breaks it;
    increasing. lengths: how many values on end; increasing, above zero. gaps_break: a value that is not recorded
    breaks every run (what is certain), or none (what is possible). blocks: `blocks_of(values)`, if kept.
    next_fit: [length, k], the first value at or after k at which all else that the rule asks holds too; n: never
    again. -1: never. Raises UsageError for limits or lengths out of order.

    >>> first_holds(np.array([5, 1, 1, 3, 1, 1, 1], np.int16), [2, 4], [2, 3]).tolist()
    [[3, 7], [3, 4]]
    """
    ask = np.ascontiguousarray(limits, np.int16)
    spans = np.ascontiguousarray(lengths, np.int64)
    if np.any(np.diff(ask) <= 0) or np.any(np.diff(spans) <= 0) or np.any(spans < 1) or np.any(ask == NO_VALUE):
        raise UsageError("limits and lengths do not increase", mend="Give each once, the smallest first.")
    out = np.full((len(ask), len(spans)), NEVER, np.int64)
    if not out.size:
        return out
    longest = int(spans[0]) + 1  # a run with breaks on both sides must not fit into one block
    if blocks is None or blocks.size > longest:
        blocks = blocks_of(values, min(BLOCK, longest))
    stack = np.empty((2, len(ask) + 2), np.int64)
    fit = _NOTHING_ELSE if next_fit is None else np.ascontiguousarray(next_fit, np.int64)
    low, high, size = blocks.low, blocks.high, blocks.size
    kernels.first_holds(values, low, high, size, gaps_break, ask, spans, fit, stack[0], stack[1], out)
    return out
