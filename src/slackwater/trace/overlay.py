"""Two units' rows over one another: what only one says, what both say alike, and what they dispute."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.reading.log import NONE, Times
from slackwater.trace.rows import CHANNELS, UNSAID, Places, Rows, agreed


@dataclass(frozen=True, eq=False)
class Overlay:
    """Both units' rows as one; `differ` marks pieces whose two rows dispute a channel."""

    rows: Rows
    differ: dict[str, NDArray[np.bool_]]
    unused: Places  # logged rows that only repeat what the other unit's rows say
    contradicting: Places  # logged rows that dispute another


def overlay(one: Rows, other: Rows) -> Overlay:
    """Lay two units' rows over one another, cutting rows where the other's begin or end.

    Where both have a row, a channel keeps its value only if both agree. A blank beside a value is a
    dispute too: else losing a value could make one.
    """
    cuts = np.unique(np.concatenate([one.start_ms, one.end_ms, other.start_ms, other.end_ms]))
    start, end = cuts[:-1], cuts[1:]
    here, there = _covering(one, start), _covering(other, start)
    some = (here >= 0) | (there >= 0)
    start, end, here, there = start[some], end[some], here[some], there[some]
    both = (here >= 0) & (there >= 0)
    values, differ = {}, {}
    for name in CHANNELS:
        if name not in one.values and name not in other.values:
            continue
        a, b = _said(one, name, here), _said(other, name, there)
        least = np.minimum(np.where(a == UNSAID, b, a), np.where(b == UNSAID, a, b))
        most = np.maximum(np.where(a == UNSAID, NONE, a), np.where(b == UNSAID, NONE, b))
        silent = (a == UNSAID) & (b == UNSAID)
        value, dispute = agreed(np.where(silent, np.int32(0), least), np.where(silent, np.int32(NONE), most))
        values[name] = value.astype(np.int32)
        differ[name] = dispute & both & ~silent
    origin_here, origin_there = one.origin, other.origin
    any_differ = np.logical_or.reduce(list(differ.values()))
    shown = np.where(here >= 0, origin_here[here], origin_there[there])
    contradicting = np.union1d(origin_here[here[any_differ]], origin_there[there[any_differ]])
    unused = np.setdiff1d(origin_there, np.concatenate([shown, contradicting]))
    return Overlay(Rows(start, end, values, 0, shown), differ, unused, contradicting)


def _covering(rows: Rows, instants: Times) -> Places:
    """The row that covers each instant, -1 where none does."""
    at = np.searchsorted(rows.start_ms, instants, side="right") - 1
    return np.where((at >= 0) & (rows.end_ms[at] > instants), at, -1)


def _said(rows: Rows, name: str, at: Places) -> NDArray[np.int32]:
    column = rows.values.get(name)
    if column is None:
        return np.full(len(at), UNSAID, np.int32)
    return np.where(at >= 0, column[at], np.int32(UNSAID)).astype(np.int32)
