"""Totals over a window, as a range: what surely drained in it, and what may have.

A window is (start, end]. An interval that lies inside counts whole in both bounds; one that the
window cuts counts as nothing in the lower and whole in the upper. A stretch of the window that no
interval covers has no upper bound: what was not charted is not zero. Twelve hours with 220 mL are
therefore no answer to a question about twenty-four.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.episode.fluid.record import UL_PER_ML, FluidRecord
from slackwater.episode.types import Instant
from slackwater.errors import UsageError


@dataclass(frozen=True)
class Bounds:
    """Between `low_ml` and `high_ml` drained; `high_ml` is infinite where something is missing.

    `covered` is the share of the window, 0 to 1, that lies in intervals whose amount is known.
    `lines` are the chart lines that were used.
    """

    low_ml: float
    high_ml: float
    covered: float
    lines: tuple[int, ...]


def total(record: FluidRecord, start_ms: Instant, end_ms: Instant) -> Bounds:
    """What drained in (start, end] by one record."""
    if start_ms > end_ms:
        raise UsageError("the window ends before it begins", mend="Give its start first.")
    if start_ms == end_ms:
        return Bounds(0.0, 0.0, 1.0, ())
    low_ul, high_ul, whole = _sums(record, np.array([start_ms]), np.array([end_ms]))
    first, behind = _touched(record, start_ms, end_ms)
    known_ms = int(record.known_before_ms[behind] - record.known_before_ms[first])
    if behind > first and record.known[first]:
        known_ms -= max(0, start_ms - int(record.start_ms[first]))
    if behind > first and record.known[behind - 1]:
        known_ms -= max(0, int(record.end_ms[behind - 1]) - end_ms)
    return Bounds(
        low_ml=int(low_ul[0]) / UL_PER_ML,
        high_ml=int(high_ul[0]) / UL_PER_ML if whole[0] else math.inf,
        covered=known_ms / (end_ms - start_ms),
        lines=record.lines_of(first, behind),
    )


def total_over_drains(records: Iterable[FluidRecord], start_ms: Instant, end_ms: Instant) -> Bounds:
    """What drained in (start, end] from several drains together; unknown from one is unknown in all.

    `covered` is that of the drain that is covered least. Without any record nothing is known.
    """
    parts = [total(record, start_ms, end_ms) for record in records]
    if not parts:
        return Bounds(0.0, math.inf, 0.0, ())
    high_ml = math.inf
    if all(math.isfinite(part.high_ml) for part in parts):
        high_ml = sum(round(part.high_ml * UL_PER_ML) for part in parts) / UL_PER_ML
    return Bounds(
        low_ml=sum(round(part.low_ml * UL_PER_ML) for part in parts) / UL_PER_ML,
        high_ml=high_ml,
        covered=min(part.covered for part in parts),
        lines=tuple(line for part in parts for line in part.lines),
    )


def totals_at(
    record: FluidRecord, ends_ms: NDArray[np.int64], window_ms: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lower and upper bound [mL] of what drained in (end - window, end], for each end; as `total` says it.

    `ends_ms` may have any shape and order; both answers have its shape. `window_ms` is above zero.
    """
    if window_ms <= 0:
        raise UsageError("the window has no length", mend="Give its length in milliseconds.")
    ends = np.asarray(ends_ms, dtype=np.int64)
    low_ul, high_ul, whole = _sums(record, ends - window_ms, ends)
    return low_ul / UL_PER_ML, np.where(whole, high_ul / UL_PER_ML, math.inf)


def _sums(
    record: FluidRecord, starts: NDArray[np.int64], ends: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """For each window: the lower sum, the upper sum [µL], and whether nothing in it is without an upper bound."""
    if len(record) == 0:
        nothing = np.zeros(starts.shape, dtype=np.int64)
        return nothing, nothing, np.zeros(starts.shape, dtype=np.bool_)
    first = np.searchsorted(record.end_ms, starts, side="right")
    behind = np.maximum(np.searchsorted(record.start_ms, ends, side="left"), first)
    first_inside = np.searchsorted(record.start_ms, starts, side="left")
    behind_inside = np.maximum(np.searchsorted(record.end_ms, ends, side="right"), first_inside)
    low_ul = record.low_before_ul[behind_inside] - record.low_before_ul[first_inside]
    high_ul = record.high_before_ul[behind] - record.high_before_ul[first]
    # The first interval touched and the last must reach the edges, and none between may leave a break.
    opening = np.minimum(first, len(record) - 1)
    closing = np.maximum(behind - 1, 0)
    whole = (
        (behind > first)
        & (record.start_ms[opening] <= starts)
        & (record.end_ms[closing] >= ends)
        & (record.unbounded_before[behind] == record.unbounded_before[first])
        & (record.breaks_before[behind] == record.breaks_before[np.minimum(first + 1, len(record))])
    )
    return low_ul, high_ul, whole


def _touched(record: FluidRecord, start_ms: Instant, end_ms: Instant) -> tuple[int, int]:
    first = int(np.searchsorted(record.end_ms, start_ms, side="right"))
    return first, max(first, int(np.searchsorted(record.start_ms, end_ms, side="left")))


def last_entry_end(record: FluidRecord) -> Instant | None:
    """When the last interval ends, with an amount or without; a window that ends here cuts none."""
    return int(record.end_ms[-1]) if len(record) else None


def last_entry_end_over_drains(records: Iterable[FluidRecord]) -> Instant | None:
    """The latest moment up to which every drain has been charted; None if one never was."""
    ends = [last_entry_end(record) for record in records]
    known = [end for end in ends if end is not None]
    return min(known) if known and len(known) == len(ends) else None
