"""Rows that share an instant: the same row given twice, or rows that contradict one another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.reading.log import NONE, Ints, Times
from slackwater.trace.rows import UNSAID, Logged, Places, agreed

_NOTHING_LOW = np.iinfo(np.int32).max  # stands in for UNSAID where the least is sought


@dataclass(frozen=True, eq=False)
class Slots:
    """One slot for each instant, in order of time; k instants, n logged rows."""

    time_ms: Times
    values: Mapping[str, Ints]
    first: Places  # the logged row that the slot shows
    differ: Mapping[str, NDArray[np.bool_]]  # by channel: its rows differ there
    repeats: Places  # logged rows that only repeat another
    contradicting: Places  # logged rows of which some channel contradicts another row


def at_one_instant(rows: Logged) -> Slots:
    """Rows by instant. Equal rows count once; a channel in which rows differ has no value (none wins).

    The outcome depends on the set of rows, not on their order.
    """
    order = np.argsort(rows.time_ms, kind="stable")
    time = rows.time_ms[order]
    fresh = np.ones(len(time), np.bool_)
    fresh[1:] = time[1:] != time[:-1]
    begin = np.flatnonzero(fresh)
    values, differ = {}, {}
    any_differ = np.zeros(len(begin), np.bool_)
    for name, column in rows.values.items():
        said = column[order]
        if len(begin) == len(time):
            values[name] = said
            continue
        unsaid = said == UNSAID
        low = np.minimum.reduceat(np.where(unsaid, np.int32(_NOTHING_LOW), said), begin)
        high = np.maximum.reduceat(np.where(unsaid, np.int32(NONE), said), begin)
        values[name], differ[name] = agreed(low, high)
        any_differ |= differ[name]
    slot = np.cumsum(fresh) - 1
    in_dispute = any_differ[slot]
    repeated = ~fresh
    repeated[in_dispute] = _repeats_in_dispute(rows, order[in_dispute], slot[in_dispute])
    return Slots(
        time_ms=time[begin],
        values=values,
        first=order[begin],
        differ=differ,
        repeats=order[repeated],
        contradicting=order[in_dispute & ~repeated],
    )


def _repeats_in_dispute(rows: Logged, which: Places, slot: Places) -> NDArray[np.bool_]:
    """Of the rows `which`, those that repeat an earlier one of the same slot, value for value."""
    repeated = np.ones(len(which), np.bool_)
    if len(which):
        table = np.column_stack([slot, *(column[which] for column in rows.values.values())])
        repeated[np.unique(table, axis=0, return_index=True)[1]] = False
    return repeated
