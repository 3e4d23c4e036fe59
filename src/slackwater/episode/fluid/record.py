"""What drained from one drain, interval by interval, each with a lower and an upper bound."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from slackwater.episode.types import Instant

UNKNOWN_START = np.iinfo(np.int64).min
UL_PER_ML = 1000

# known: amount and time are said; blank: charted without an amount; unknown: not enough is said;
# conflict: two things are said, or a level fell by itself; reset: a counter began anew.
STATUSES = ("known", "blank", "unknown", "conflict", "reset")


@dataclass(frozen=True)
class FluidInterval:
    """Fluid that drained in (start, end]; between `low_ml` and `high_ml`, which may be infinite.

    `start_ms` None: since when is not known. `lines` are the chart lines that say so.
    """

    start_ms: Instant | None
    end_ms: Instant
    low_ml: float
    high_ml: float
    status: str
    lines: tuple[int, ...] = ()


@dataclass(frozen=True)
class Instilled:
    """Fluid put in through the drain. Shown, never subtracted: what comes out is never explained away."""

    time: Instant
    ml: float | None
    line: int


@dataclass(frozen=True, eq=False)
class FluidRecord:
    """The intervals of one drain in order of time, not overlapping; stretches between them are unknown.

    Amounts are whole microlitres, so that sums are exact and a limit is met or not by what was
    charted, not by rounding. `source`: `charted` (amounts), `levels` (of the canister), `counter`
    (of the unit's log) or `none`. Arrays are read-only, of length n.
    """

    drain: str | None
    source: str
    start_ms: NDArray[np.int64]  # UNKNOWN_START: since when is not known
    end_ms: NDArray[np.int64]
    low_ul: NDArray[np.int64]
    high_ul: NDArray[np.int64]  # 0 where unbounded
    unbounded: NDArray[np.bool_]
    status: NDArray[np.int8]  # index into STATUSES
    lines: tuple[tuple[int, ...], ...] = ()  # chart lines of each interval; empty for a counter
    instilled: tuple[Instilled, ...] = ()
    not_placed: tuple[int, ...] = ()  # lines about fluid that name no drain while several are known
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for array in (self.start_ms, self.end_ms, self.low_ul, self.high_ul, self.unbounded, self.status):
            array.flags.writeable = False

    def __len__(self) -> int:
        return len(self.end_ms)

    @property
    def intervals(self) -> tuple[FluidInterval, ...]:
        """The intervals one by one, as they are shown."""
        return tuple(
            FluidInterval(
                start_ms=None if self.start_ms[i] == UNKNOWN_START else int(self.start_ms[i]),
                end_ms=int(self.end_ms[i]),
                low_ml=int(self.low_ul[i]) / UL_PER_ML,
                high_ml=math.inf if self.unbounded[i] else int(self.high_ul[i]) / UL_PER_ML,
                status=STATUSES[self.status[i]],
                lines=self.lines_of(i, i + 1),
            )
            for i in range(len(self))
        )

    def lines_of(self, first: int, behind: int) -> tuple[int, ...]:
        """Chart lines behind intervals `first` up to, not with, `behind`."""
        return tuple(line for lines in self.lines[first:behind] for line in lines)

    @cached_property
    def low_before_ul(self) -> NDArray[np.int64]:
        """Sum of the lower bounds of the first k intervals, k = 0..n."""
        return _running(self.low_ul)

    @cached_property
    def high_before_ul(self) -> NDArray[np.int64]:
        """Sum of the finite upper bounds of the first k intervals, k = 0..n."""
        return _running(self.high_ul)

    @cached_property
    def unbounded_before(self) -> NDArray[np.int64]:
        """How many of the first k intervals have no upper bound, k = 0..n."""
        return _running(self.unbounded.astype(np.int64))

    @cached_property
    def known(self) -> NDArray[np.bool_]:
        """Where both amount and time are known."""
        return np.equal(self.status, STATUSES.index("known"), dtype=np.bool_)

    @cached_property
    def known_before_ms(self) -> NDArray[np.int64]:
        """How long those of the first k intervals last whose amount is known, k = 0..n."""
        lasting = np.zeros(len(self), dtype=np.int64)
        lasting[self.known] = (self.end_ms - self.start_ms)[self.known]
        return _running(lasting)

    @cached_property
    def breaks_before(self) -> NDArray[np.int64]:
        """How many of the first k intervals do not begin where the one before ended, k = 0..n."""
        parted = np.ones(len(self), dtype=np.int64)
        parted[1:] = self.start_ms[1:] != self.end_ms[:-1]
        return _running(parted)


def record_of(
    intervals: Sequence[FluidInterval],
    *,
    drain: str | None,
    source: str,
    instilled: Iterable[Instilled] = (),
    not_placed: Iterable[int] = (),
    notes: Iterable[str] = (),
) -> FluidRecord:
    """A record of these intervals, which are in order and do not overlap."""
    unbounded = np.array([math.isinf(one.high_ml) for one in intervals], dtype=np.bool_)
    starts = [UNKNOWN_START if one.start_ms is None else one.start_ms for one in intervals]
    highs = [0 if math.isinf(one.high_ml) else microlitres(one.high_ml) for one in intervals]
    return FluidRecord(
        drain=drain,
        source=source,
        start_ms=np.array(starts, dtype=np.int64),
        end_ms=np.array([one.end_ms for one in intervals], dtype=np.int64),
        low_ul=np.array([microlitres(one.low_ml) for one in intervals], dtype=np.int64),
        high_ul=np.array(highs, dtype=np.int64),
        unbounded=unbounded,
        status=np.array([STATUSES.index(one.status) for one in intervals], dtype=np.int8),
        lines=tuple(one.lines for one in intervals),
        instilled=tuple(instilled),
        not_placed=tuple(not_placed),
        notes=tuple(notes),
    )


def microlitres(ml: float) -> int:
    """Whole microlitres; a charted amount is never finer."""
    return round(ml * UL_PER_ML)


def _running(parts: NDArray[np.int64]) -> NDArray[np.int64]:
    sums = np.zeros(len(parts) + 1, dtype=np.int64)
    np.cumsum(parts, out=sums[1:])
    sums.flags.writeable = False
    return sums
