"""Two units' rows over one another: what only one says, what both say alike, and what they dispute."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.reading.log import NONE, Times
from slackwater.trace.rows import CHANNELS, UNSAID, Places, Rows, agreed, one_after_another


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
    dispute too: else losing a value could make one. Both have rows.
    """
    begin = max(int(one.start_ms[0]), int(other.start_ms[0]))
    until = min(int(one.end_ms[-1]), int(other.end_ms[-1]))
    if until <= begin:
        in_turn = (one, other) if one.start_ms[0] < other.start_ms[0] else (other, one)
        nothing = np.zeros(0, np.int64)
        return Overlay(one_after_another(in_turn), {}, nothing, nothing)
    cut = [
        (
            int(np.searchsorted(rows.end_ms, begin, side="right")),
            int(np.searchsorted(rows.start_ms, until, side="left")),
        )
        for rows in (one, other)
    ]
    both = (one, other)
    middle = _crossed(*(rows.part(*span) for rows, span in zip(both, cut, strict=True)))
    # only one of them can reach beyond the time they share, at each end
    before = [rows.part(0, span[0]) for rows, span in zip(both, cut, strict=True) if span[0]]
    n = [len(rows.start_ms) for rows in both]
    after = [rows.part(s[1], k) for rows, s, k in zip(both, cut, n, strict=True) if s[1] < k]
    lead = sum(len(rows.start_ms) for rows in before)
    whole = one_after_another([*before, middle.rows, *after])
    differ = {name: np.zeros(len(whole.start_ms), np.bool_) for name in middle.differ}
    for name, where in middle.differ.items():
        differ[name][lead : lead + len(where)] = where
    return Overlay(whole, differ, middle.unused, middle.contradicting)


def _crossed(one: Rows, other: Rows) -> Overlay:
    """The same for the time that both may speak of."""
    if not len(one.start_ms) or not len(other.start_ms):  # the one lies in a gap of the other
        return Overlay(one_after_another((one, other)), {}, one.origin[:0], one.origin[:0])
    cuts = np.unique(np.concatenate([one.start_ms, one.end_ms, other.start_ms, other.end_ms]))
    start, end = cuts[:-1], cuts[1:]
    here, there = _covering(one, start), _covering(other, start)
    some = (here >= 0) | (there >= 0)
    start, end, here, there = start[some], end[some], here[some], there[some]
    both = (here >= 0) & (there >= 0)
    values, differ = {}, {}
    any_differ = np.zeros(len(start), np.bool_)
    for name in CHANNELS:
        if name not in one.values and name not in other.values:
            continue
        a, b = _said(one, name, here), _said(other, name, there)
        least = np.minimum(np.where(a == UNSAID, b, a), np.where(b == UNSAID, a, b))
        most = np.maximum(np.where(a == UNSAID, NONE, a), np.where(b == UNSAID, NONE, b))
        silent = (a == UNSAID) & (b == UNSAID)
        value, dispute = agreed(np.where(silent, 0, least), np.where(silent, NONE, most))
        values[name] = value.astype(np.int32)
        differ[name] = dispute & both & ~silent
        any_differ |= differ[name]
    here_from, there_from = one.origin, other.origin
    shown = np.where(here >= 0, here_from[here], there_from[there])
    contradicting = np.union1d(here_from[here[any_differ]], there_from[there[any_differ]])
    unused = np.setdiff1d(there_from, np.concatenate([shown, contradicting]))
    return Overlay(Rows(start, end, values, 0, shown), differ, unused, contradicting)


def _covering(rows: Rows, instants: Times) -> Places:
    """The row that covers each instant, -1 where none does."""
    at = np.searchsorted(rows.start_ms, instants, side="right") - 1
    return np.where((at >= 0) & (rows.end_ms[at] > instants), at, -1)


def _said(rows: Rows, name: str, at: Places) -> NDArray[np.int32]:
    return np.where(at >= 0, rows.said(name)[at], np.int32(UNSAID)).astype(np.int32)
