"""Did the leak last? Prolonged by a stated definition, from the end of the operation, never from the first record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.audit.case import Case
from slackwater.audit.replay import minutes_in
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS

DAY_H = 24
HALF_MIN = 30  # minutes of the last hour: more air than that, and it was still leaking. Ours
YES, NO, CENSORED, CANNOT_TELL = "yes", "no", "followed no further", "cannot tell"
ENDED_BY_STAFF = ("planned", "in_theatre")  # the drain came out because somebody took it out for good


@dataclass(frozen=True)
class LeakAsked:
    """What is called a prolonged leak: minute means at or above the limit, for `least_min` in all, within a day after
    so many days from the end of the operation (or until the drain came out, if that was sooner).

    least_min is ours: one lost minute must not make or unmake a prolonged leak.
    """

    limit_ml_per_min: float
    days: int
    least_min: int = 60

    @property
    def told(self) -> str:
        return (
            f"minute means of {self.limit_ml_per_min:g} mL/min or more, for {self.least_min} min in all, within "
            f"the day that begins {self.days} d ({self.days * DAY_H} h) after the end of the operation, or within as "
            "much of it as the drain was in"
        )


@dataclass(frozen=True)
class LeakLasted:
    """outcome: YES, NO, CENSORED or CANNOT_TELL. last_h: from the end of the operation to the last minute with a leak
    for certain, a lower bound; None: none was recorded, or that end is not known. to_end: it was still there at last.
    """

    outcome: str
    last_h: float | None
    to_end: bool


def lasted(case: Case, asked: LeakAsked) -> LeakLasted:
    """Yes and no are certain: whatever was not recorded could not change them.

    A drain taken out before that day, quiet in its last hour: no. Taken out while air was recorded, or no longer
    followed (death, transfer, exchange, slipped out, still in): followed no further, whatever came before.
    """
    end = case.facts.about.get("operation.end")
    signal = next(iter(case.facts.signals.values()), None)
    m, start = minutes_in(case), case.facts.grid_start_ms
    if not isinstance(end, int | float) or signal is None or not m:
        return LeakLasted(CANNOT_TELL, None, False)
    leak = signal.mean_low[:m] >= asked.limit_ml_per_min
    quiet = signal.mean_high[:m] < asked.limit_ml_per_min
    if signal.top_open:
        quiet |= signal.mean_high[:m] <= asked.limit_ml_per_min
    quiet &= ~leak
    seen = np.flatnonzero(leak)
    last = None if not len(seen) else (start + (int(seen[-1]) + 1) * MINUTE_MS - end) / HOUR_MS
    hour = _counted(leak, quiet, case.until_ms - HOUR_MS, case.until_ms, start)
    to_end = hour.leak >= HALF_MIN
    day = round(end) + asked.days * DAY_H * HOUR_MS
    if case.until_ms > day:
        found = _counted(leak, quiet, day, min(case.until_ms, day + DAY_H * HOUR_MS), start)
        least = min(float(asked.least_min), found.all)
        if found.leak >= least:
            return LeakLasted(YES, last, to_end)
        if found.leak + found.untold < least:
            return LeakLasted(NO, last, to_end)
        return LeakLasted(CANNOT_TELL, last, to_end)
    if case.outcome.removed_ms is None or case.outcome.removal not in (*ENDED_BY_STAFF, None):
        return LeakLasted(CENSORED, last, to_end)
    if case.outcome.removal is None:
        return LeakLasted(CANNOT_TELL, last, to_end)
    if to_end:
        return LeakLasted(CENSORED, last, True)
    return LeakLasted(NO if hour.leak + hour.untold < HALF_MIN else CANNOT_TELL, last, False)


@dataclass(frozen=True)
class _Minutes:
    leak: float
    untold: float
    all: float


def _counted(leak: NDArray[np.bool_], quiet: NDArray[np.bool_], from_ms: int, to_ms: int, start_ms: int) -> _Minutes:
    """Minutes of the span with a leak for certain, and that cannot be told; what lies off the grid cannot."""
    begin, end = ((at - start_ms) / MINUTE_MS for at in (from_ms, to_ms))
    k = np.arange(len(leak))
    share = np.clip(np.minimum(k + 1, end) - np.maximum(k, begin), 0.0, 1.0)
    with_leak, without = float(share[leak].sum()), float(share[quiet].sum())
    return _Minutes(with_leak, end - begin - with_leak - without, end - begin)
