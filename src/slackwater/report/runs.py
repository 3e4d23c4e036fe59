"""Runs below the limit: the one under way as the rule judged it, and those before that something ended."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slackwater.assessment.assessment import Assessment
from slackwater.protocol.evaluation import Judged
from slackwater.protocol.rule import Protocol
from slackwater.protocol.signals import first_minute
from slackwater.protocol.status import Status
from slackwater.protocol.windows import lasting_codes, window_codes
from slackwater.quantities.spans import MINUTE_MS, format_span


@dataclass(frozen=True)
class BelowRun:
    """A stretch in which the air clause held without a break. `now`: still under way at the end of the data."""

    from_ms: int
    until_ms: int
    needed_s: float
    now: bool
    words: str


def runs(found: Assessment) -> tuple[BelowRun, ...]:
    """In order of time; none without a rule that asks how long the air stays below its limit."""
    if found.evaluation is None or found.evaluation.protocol.air_clause is None:
        return ()
    wanted = found.evaluation.protocol.air_clause
    part = next((one for one in found.evaluation.criteria if one.clause is wanted), None)
    if part is None or part.run is None:
        return ()
    return tuple(_runs(part, found.evaluation.protocol, found))


def _runs(part: Judged, protocol: Protocol, found: Assessment) -> list[BelowRun]:
    """By the rule's own windows: each that a window over the limit, a doubt or a restart has ended, and the last."""
    clause, now = part.clause, part.run
    assert clause is not None and clause.limit is not None and clause.lasting_s is not None and now is not None
    signal = found.facts.signals[clause.measure_name, clause.scope]
    if signal.reading_s > 60 * (clause.bin_min or 1) and (clause.bin_min or not protocol.coarse_means):
        return []  # readings too coarse for the clause: it has never held
    codes = window_codes(signal, clause.bin_min, clause.comparison, clause.limit)
    floor = first_minute(found.facts, protocol)
    _, certain, _ = lasting_codes(codes, clause.bin_min or 1, round(clause.lasting_s / 60), floor)
    held = np.flatnonzero(codes == Status.MET)
    last = np.flatnonzero(np.diff(certain[held], append=-1))  # where in `held` each run ends
    start, end = certain[held[last]].tolist(), (held[last] + 1).tolist()
    whole = [(first, until) for first, until in zip(start, end, strict=True) if until > first]
    return [
        BelowRun(
            found.facts.grid_start_ms + first * MINUTE_MS, found.facts.grid_start_ms + until * MINUTE_MS,
            clause.lasting_s, until == found.facts.length,
            _words(60.0 * (until - first), clause.lasting_s, now.missing_minutes if until == found.facts.length else 0),
        )
        for first, until in whole
    ]  # fmt: skip


def _words(seconds: float, needed_s: float, unknown_minutes: int) -> str:
    words = f"{format_span(seconds)} of {format_span(needed_s)}"
    if seconds > needed_s:
        words = f"{format_span(seconds)}, past the {format_span(needed_s)} asked for"
    if unknown_minutes:
        words += f"; {unknown_minutes} min of the {format_span(needed_s)} unknown"
    return words
