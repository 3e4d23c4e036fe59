"""From the cumulative counter in a unit's log to intervals of fluid, through its resets."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from slackwater.episode.fluid.record import STATUSES, UL_PER_ML, FluidRecord
from slackwater.errors import UsageError
from slackwater.quantities.spans import DAY_MS

LOOK_BACK_MS: Final = DAY_MS  # how far back rises are looked at to bound what a reset hid; ours
_TWICE: Final = 2  # a reset is taken to have hidden at most twice the fastest rise of that time; ours
_SLACK: Final = 1.5  # neighbours further apart than this many steps have a gap between them; ours


def fluid_from_counter(
    times_ms: NDArray[np.int64],
    values_ml: NDArray[np.float64],
    every_ms: int,
    step_ml: float = 1.0,
    drain: str | None = None,
) -> FluidRecord:
    """The fluid of one drain by its unit's counter.

    `times_ms` (UTC, increasing) and `values_ml` (NaN: no value) have one element a row of the log;
    `every_ms` is how far apart rows usually are, `step_ml` the smallest step of the counter. A log
    that prints the counter only in some rows is given by those rows and their own distance.

    Between neighbouring rows the rise is what drained. Across rows that are missing or without a
    value a change of canister may hide: what drained is at least the rise, and not bounded above.
    A fall to a small value is a counter that began anew: at least its new value drained, and at
    most that plus twice the fastest rise of the day before (ours). Where that day has rows
    missing, or the new value is larger than such a rise explains, there is no upper bound. A counter
    that begins anew while it stands at 0 does not fall, and cannot be seen to. Losing values never
    narrows a bound; nothing is negative.
    Raises UsageError if times do not increase or lengths differ.
    """
    times = np.asarray(times_ms, dtype=np.int64)
    values = np.asarray(values_ml, dtype=np.float64)
    if times.shape != values.shape or times.ndim != 1:
        raise UsageError("the counter's times and values differ in number", mend="Give one value for each time.")
    if np.any(np.diff(times) <= 0):
        raise UsageError("the counter's times do not increase", mend="Give rows in order of time, each once.")
    has_value = np.isfinite(values)
    rows = np.flatnonzero(has_value)
    start, end = times[rows[:-1]], times[rows[1:]]
    level_ul = np.rint(values[rows] * UL_PER_ML).astype(np.int64)
    rise_ul = np.diff(level_ul)
    trusted = (np.diff(rows) == 1) & (end - start <= every_ms * _SLACK)
    fell = rise_ul < 0
    low_ul = np.maximum(rise_ul, 0)
    high_ul = np.where(trusted, low_ul, 0)
    unbounded = ~trusted
    status = np.where(trusted, STATUSES.index("known"), STATUSES.index("unknown")).astype(np.int8)
    doubts = _doubtful_moments(times, has_value, every_ms)
    steady = trusted & ~fell
    for i in np.flatnonzero(trusted & fell):
        fresh_ul = int(level_ul[i + 1])
        hidden_ul = _most_hidden_ul(int(i), start, end, rise_ul, steady, step_ml)
        plausible = hidden_ul is not None and 0 <= fresh_ul <= hidden_ul
        doubted = _any_between(doubts, int(start[i]) - LOOK_BACK_MS, int(start[i]))
        low_ul[i] = fresh_ul if plausible and not doubted else 0
        unbounded[i] = not plausible or doubted
        high_ul[i] = 0 if unbounded[i] or hidden_ul is None else fresh_ul + hidden_ul
        status[i] = STATUSES.index("reset" if plausible else "conflict")
    return FluidRecord(
        drain=drain,
        source="counter",
        start_ms=start,
        end_ms=end,
        low_ul=low_ul,
        high_ul=high_ul,
        unbounded=unbounded,
        status=status,
        notes=_notes(status),
    )


def _doubtful_moments(times: NDArray[np.int64], has_value: NDArray[np.bool_], every_ms: int) -> NDArray[np.int64]:
    """Moments without a value: rows that have none, and the row behind each gap; in order."""
    behind_gap = np.zeros(len(times), dtype=np.bool_)
    behind_gap[1:] = np.diff(times) > every_ms * _SLACK
    return times[~has_value | behind_gap]


def _any_between(moments: NDArray[np.int64], first_ms: int, last_ms: int) -> bool:
    return bool(np.searchsorted(moments, last_ms, side="right") > np.searchsorted(moments, first_ms, side="left"))


def _most_hidden_ul(
    reset: int,
    start: NDArray[np.int64],
    end: NDArray[np.int64],
    rise_ul: NDArray[np.int64],
    steady: NDArray[np.bool_],
    step_ml: float,
) -> int | None:
    """What a reset can have hidden at most, by rises seen before it; None if none was seen.

    Only rises before the reset count: what is concluded of a moment never leans on later rows.
    """
    first = int(np.searchsorted(start, start[reset] - LOOK_BACK_MS, side="left"))
    seen = slice(first, reset)
    if not steady[seen].any():
        return None
    per_ms = (rise_ul[seen] / (end[seen] - start[seen]))[steady[seen]].max()
    fastest_ul = per_ms * (end[reset] - start[reset]) + step_ml * UL_PER_ML
    return int(np.ceil(_TWICE * fastest_ul))


def _notes(status: NDArray[np.int8]) -> tuple[str, ...]:
    resets = int(np.count_nonzero(status == STATUSES.index("reset")))
    strange = int(np.count_nonzero(status == STATUSES.index("conflict")))
    notes = []
    if resets:
        notes.append(f"The counter began anew {resets} {'time' if resets == 1 else 'times'}.")
    if strange:
        times = "time" if strange == 1 else "times"
        notes.append(f"The counter fell {strange} {times} without beginning anew: no total across it.")
    return tuple(notes)
