"""Runs over sliding windows, with bounds for what was not recorded.

Every function answers for every minute of the grid at once: entry k speaks of the moment at which
minute k ends, and looks only backwards.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from slackwater.protocol.facts import Flags, Floats, Signal
from slackwater.protocol.status import Codes, Status

SCALE = 1000  # bounds are held in thousandths, as integers, so that sums over a window are exact
UNBOUNDED = np.int64(1) << 40


def thousandths(bound: Floats, *, up: bool) -> NDArray[np.int64]:
    """Bounds as whole thousandths, rounded outward; what is not finite is 0."""
    scaled = np.where(np.isfinite(bound), bound, 0.0) * SCALE
    nearest = np.rint(scaled)
    # a bound that is a whole thousandth but for float noise stays itself; any other moves outward
    outward = np.ceil(scaled) if up else np.floor(scaled)
    whole = np.where(np.abs(scaled - nearest) < 1e-6 * np.maximum(1.0, np.abs(scaled)), nearest, outward)
    return np.asarray(whole, dtype=np.int64)


def window_sums(values: np.ndarray, width: int) -> np.ndarray:
    """Sum of the last `width` entries at each entry; fewer where the grid begins."""
    total = np.concatenate(([0], np.cumsum(values, dtype=np.int64)))
    ends = np.arange(1, len(values) + 1)
    return total[ends] - total[np.maximum(ends - width, 0)]


def compare(
    low: np.ndarray, high: np.ndarray, unbounded: Flags, how: str, limit: np.ndarray, top_open: bool, bottom_open: bool
) -> Codes:
    """Whole-cell comparison: met only if every true value in [low, high] passes, not met if none does."""
    bounded = ~unbounded
    if how == "below":
        passes = bounded & ((high <= limit) if top_open else (high < limit))
        fails = low >= limit
    elif how == "at_most":
        passes = bounded & (high <= limit)
        fails = (low >= limit) if bottom_open else (low > limit)
    elif how == "above":
        passes = (low >= limit) if bottom_open else (low > limit)
        fails = bounded & (high <= limit)
    else:  # at_least
        passes = low >= limit
        fails = bounded & ((high <= limit) if top_open else (high < limit))
    codes = np.full(low.shape, Status.CANNOT_TELL, dtype=np.int8)
    codes[fails] = Status.NOT_MET
    codes[passes] = Status.MET
    return codes


def window_bounds(signal: Signal, width: int | None, how: str, skip: Flags | None) -> tuple[np.ndarray, ...]:
    """(low, high, unbounded, empty, divisor) of each window, in thousandths times the divisor.

    `width` None: every reading, one minute a window, by its largest (or smallest) reading.
    `skip`: minutes left out of a mean because the rule tolerates a gap there.
    """
    if width is None:
        largest = how in ("below", "at_most")
        low_bound = signal.peak_low if largest else signal.trough_low
        high_bound = signal.peak_high if largest else signal.trough_high
        width = 1
    else:
        low_bound, high_bound = signal.mean_low, signal.mean_high
    low = thousandths(low_bound, up=False)
    high = thousandths(high_bound, up=True)
    unbounded = ~np.isfinite(high_bound)
    counted = np.ones(len(low), dtype=np.int64)
    if skip is not None:
        counted[skip] = 0
        low = np.where(skip, 0, low)
        high = np.where(skip, 0, high)
        unbounded = unbounded & ~skip
    divisor = window_sums(counted, width)
    return (
        window_sums(low, width),
        window_sums(high, width),
        window_sums(unbounded.astype(np.int64), width) > 0,
        divisor == 0,
        divisor,
    )


def window_codes(signal: Signal, width: int | None, how: str, limit: float, skip: Flags | None = None) -> Codes:
    """Status of the window that ends with each minute; one that the grid's start cuts cannot be told."""
    low, high, unbounded, empty, divisor = window_bounds(signal, width, how, skip)
    codes = compare(low, high, unbounded, how, divisor * round(limit * SCALE), signal.top_open, signal.bottom_open)
    codes[empty] = Status.MET  # nothing but tolerated gap: the tolerance itself is what limits it
    codes[: (width or 1) - 1] = Status.CANNOT_TELL
    return codes


def run_starts(width: int, breaks: Flags, otherwise: NDArray[np.int64]) -> NDArray[np.int64]:
    """First minute of the unbroken run that each minute ends: every whole window inside it is clear.

    `breaks` marks windows that end a run. A run may begin one minute after the start of the last
    such window: k + 1 where minute k itself breaks and width is 1. `otherwise`: where nothing broke it.
    """
    last = np.maximum.accumulate(np.where(breaks, np.arange(len(breaks)), -1))
    return np.where(last >= 0, np.maximum(last - width + 2, otherwise), otherwise)


def lasting_codes(
    codes: Codes, width: int, minutes: int, floor: NDArray[np.int64]
) -> tuple[Codes, NDArray[np.int64], NDArray[np.int64]]:
    """Has the condition held for `minutes`? Returns (status, run start, possible run start) a minute.

    `floor` is the first minute that may count at each end, for a connection or a restart. It lies
    below zero where the grid begins later: what was not recorded there might have held, but cannot
    make the answer.
    """
    ends = np.arange(len(codes))
    # a window that reaches back before the floor says nothing about the run after it
    whole = ends - width + 1 >= np.maximum(floor, 0)
    certain = run_starts(width, whole & (codes != Status.MET), np.maximum(floor, 0))
    possible = run_starts(width, whole & (codes == Status.NOT_MET), floor)
    status = np.full(len(codes), Status.CANNOT_TELL, dtype=np.int8)
    status[ends + 1 - possible < minutes] = Status.NOT_MET
    status[ends + 1 - certain >= minutes] = Status.MET
    return status, certain, possible
