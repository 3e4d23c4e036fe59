"""Rows on their way to a trace: intervals and channels side by side, and which logged row each came from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from slackwater.reading.log import NONE, Ints, Log, Times
from slackwater.trace.types import Interval

CHANNELS = (
    "flow_ul_per_min",
    "flow_max_ul_per_min",
    "pressure_mcmh2o",
    "pressure_min_mcmh2o",
    "pressure_max_mcmh2o",
    "set_suction_mcmh2o",
    "battery_percent",
    "mains",
    "fluid_ml",
    "state",
)
UNSAID = NONE + 1  # this log has no such column, so it neither agrees nor disagrees; never leaves this room

Places = NDArray[np.int64]

T = TypeVar("T", bound=np.generic)


@dataclass(frozen=True, eq=False)
class Logged:
    """Every row that is known, of one unit's logs, in order of log and then of file. Length n."""

    time_ms: Times  # as stamped
    values: Mapping[str, Ints]
    log: NDArray[np.int16]
    line: Ints
    doubtful: NDArray[np.bool_]
    unread: NDArray[np.bool_]  # refused for a cell: a place in time without a value


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows in order of time, each standing for [start, end), none overlapping. Length k."""

    start_ms: Times
    end_ms: Times
    values: Mapping[str, Ints]  # by channel; UNSAID and NONE as above
    first_origin: int  # index of the first logged row of this unit, over all logs
    picked: Places | None  # which of the unit's logged rows each shows; None: all of them, as logged

    @property
    def origin(self) -> Places:
        """Index of the logged row that each row shows, over all logs."""
        return self.first_origin + (np.arange(len(self.start_ms)) if self.picked is None else self.picked)

    def part(self, begin: int, until: int) -> Rows:
        """Rows begin to until (not included)."""
        values = {name: column[begin:until] for name, column in self.values.items()}
        return Rows(self.start_ms[begin:until], self.end_ms[begin:until], values, 0, self.origin[begin:until])

    def said(self, name: str) -> Ints:
        """A channel, UNSAID throughout if no log of these names it."""
        column = self.values.get(name)
        return np.full(len(self.start_ms), UNSAID, np.int32) if column is None else column

    def blanked(self, where: NDArray[np.bool_]) -> Rows:
        """The same rows, with no value in those that `where` marks; their place in time stays."""
        return replace(self, values={name: np.where(where, np.int32(NONE), v) for name, v in self.values.items()})


def logged(logs: Sequence[Log], numbers: Sequence[int], known: Sequence[NDArray[np.bool_] | None]) -> Logged:
    """The known rows of logs one after another; `numbers`: the logs' places in the trace."""

    def joined(parts: Iterable[NDArray[T]]) -> NDArray[T]:
        cut = [part if keep is None else part[keep] for part, keep in zip(parts, known, strict=True)]
        return end_to_end(cut)

    values = {}
    for name in CHANNELS:
        columns: list[Ints | None] = [getattr(log, name) for log in logs]
        if any(column is not None for column in columns):
            values[name] = joined(
                np.full(len(log.time_ms), UNSAID, np.int32) if column is None else column
                for log, column in zip(logs, columns, strict=True)
            )
    return Logged(
        time_ms=joined(log.time_ms for log in logs),
        values=values,
        log=joined(np.full(len(log.time_ms), number, np.int16) for log, number in zip(logs, numbers, strict=True)),
        line=joined(log.line for log in logs),
        doubtful=joined(log.time_doubtful for log in logs),
        unread=joined(np.zeros(len(log.time_ms), np.bool_) if log.unread is None else log.unread for log in logs),
    )


def end_to_end(parts: Sequence[NDArray[T]]) -> NDArray[T]:
    """The parts as one array in one piece of memory, copied only where that takes it."""
    return np.ascontiguousarray(parts[0]) if len(parts) == 1 else np.concatenate(parts)


def one_after_another(parts: Sequence[Rows]) -> Rows:
    """Rows that follow one another in time, as one."""
    named = [name for name in CHANNELS if any(name in part.values for part in parts)]
    return Rows(
        end_to_end([part.start_ms for part in parts]),
        end_to_end([part.end_ms for part in parts]),
        {name: end_to_end([part.said(name) for part in parts]) for name in named},
        0,
        end_to_end([part.origin for part in parts]),
    )


def agreed(low: Ints, high: Ints) -> tuple[Ints, NDArray[np.bool_]]:
    """The value on which all agree, NONE where they differ, and where they differ.

    `low` and `high`: least and greatest of what was said, UNSAID left out (then low > high).
    """
    differ = low < high
    value = np.where(differ, np.int32(NONE), high)
    return np.where(low > high, np.int32(UNSAID), value), differ


def spans(where: NDArray[np.bool_], start_ms: Times, end_ms: Times, why: str) -> list[Interval]:
    """The marked rows as intervals, those that touch made one."""
    at = np.flatnonzero(where)
    if not len(at):
        return []
    first = np.ones(len(at), np.bool_)
    first[1:] = start_ms[at[1:]] > end_ms[at[:-1]]
    begin = np.flatnonzero(first)
    until = np.append(begin[1:], len(at)) - 1
    edges = zip(start_ms[at[begin]].tolist(), end_ms[at[until]].tolist(), strict=True)
    return [Interval(start, end, why) for start, end in edges]


def merged(intervals: Iterable[Interval]) -> tuple[Interval, ...]:
    """Intervals in order of time; those that overlap or touch are one, with every reason once."""
    whole: list[Interval] = []
    for each in sorted(intervals, key=lambda i: (i.start_ms, i.end_ms, i.why)):
        if whole and each.start_ms <= whole[-1].end_ms:
            last = whole[-1]
            why = last.why if each.why in last.why.split("; ") else f"{last.why}; {each.why}"
            whole[-1] = Interval(last.start_ms, max(last.end_ms, each.end_ms), why)
        else:
            whole.append(each)
    return tuple(whole)


def sealed(values: NDArray[T]) -> NDArray[T]:
    """The same values, read-only."""
    view = values.view()
    view.flags.writeable = False
    return view
