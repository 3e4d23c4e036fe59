"""What a past drain's log says of the tube and the suction: blocked stretches, suction as ordered, time off suction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.suction import against, counted, ordered_levels
from slackwater.audit.case import Case
from slackwater.audit.replay import minutes_in
from slackwater.leak.words import BLOCKED, CLAMPED, DISCONNECTED, MISSING, OFF, REASONS

APART_MIN = 60  # minutes: blocked stretches with less between them are one. Ours
OFF_SUCTION = (OFF, DISCONNECTED, CLAMPED)


@dataclass(frozen=True)
class Suction:
    """Minutes in which suction was ordered: delivered within the tolerance, not within it, and not known."""

    within: int
    outside: int
    untold: int


def blocked_stretches(case: Case) -> int:
    """How often the tube was found blocked or kinked, by the log alone."""
    at = np.flatnonzero(case.reason[: minutes_in(case)] == BLOCKED)
    return 0 if not len(at) else 1 + int((np.diff(at) > APART_MIN).sum())


def logged_min(case: Case) -> int:
    """Minutes of which the log says anything."""
    return int((case.reason[: minutes_in(case)] != MISSING).sum())


def suction_kept(case: Case, within_cmh2o: float) -> Suction | None:
    """Each minute's mean pressure against the order in force. None: no suction was ordered, as far as is told.

    A minute off or disconnected delivers nothing and is outside. A minute clamped, unrecorded, or with a sensor or
    clock in doubt is not known.
    """
    level = ordered(case)
    m = len(level)
    found = counted(against(level, case.pressure[:m], case.reason[:m], within_cmh2o))
    if not found.ordered:
        return None
    return Suction(found.kept, found.told - found.kept, found.untold + found.clamped)


def off_suction(case: Case) -> dict[str, int]:
    """Minutes off suction while it was ordered, by what the log or the chart shows."""
    level = ordered(case)
    asked, reason = np.nan_to_num(level) < 0, case.reason[: len(level)]
    found = {REASONS[code]: int((asked & (reason == code)).sum()) for code in OFF_SUCTION}
    return {word: minutes for word, minutes in found.items() if minutes}


def ordered(case: Case) -> NDArray[np.float64]:
    """Suction ordered in each minute the drain was in, cmH2O; NaN: no order is known."""
    return ordered_levels(case.ordered, case.facts.grid_start_ms, minutes_in(case))
