"""Is suction back? After a canister was changed, or a trip: read from the log, minute by minute."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.quantities.spans import MINUTE_MS

BACK_SHARE = 0.8  # a minute whose mean suction reaches so much of what it should be counts as back (ours)

BACK, LATE, NOT_BACK, WAITING, UNKNOWN = "back", "late", "not back", "waiting", "cannot tell"


@dataclass(frozen=True)
class Back:
    """How it stands: back, late (it came after the time allowed), not back, waiting (still within it), cannot tell.

    at_ms: the end of the first minute that shows it. Where the time allowed holds no whole minute that could have shown
    it, nobody can tell whether it was back in time.
    """

    standing: str
    at_ms: int | None = None


def suction_back(
    ends_ms: NDArray[np.int64], pressure: NDArray[np.float64], wanted_cmh2o: NDArray[np.float64], since_ms: int,
    within_s: float, now_ms: int,
) -> Back:  # fmt: skip
    """One element a minute of the log: its end, its mean pressure (suction negative, NaN: not recorded) and how much
    suction it should have (cmH2O, positive; NaN: not known). Nothing after `now_ms` is looked at.

    A minute that is missing never shows suction, and never shows that there was none. One that begins within the time
    allowed is in time.
    """
    due_ms = since_ms + round(within_s * 1000)
    asked = max(due_ms // MINUTE_MS - -(-since_ms // MINUTE_MS) + 1, 0)  # whole minutes that begin in [since, due]
    last_ms = (due_ms // MINUTE_MS + 1) * MINUTE_MS if asked else due_ms  # when the last of them is over
    here = (ends_ms > since_ms) & (ends_ms - MINUTE_MS >= since_ms) & (ends_ms <= now_ms)
    known = here & np.isfinite(pressure) & np.isfinite(wanted_cmh2o)
    with np.errstate(invalid="ignore"):
        there = np.flatnonzero(known & (wanted_cmh2o > 0) & (-pressure >= BACK_SHARE * wanted_cmh2o))
    if len(there):
        at = int(ends_ms[there[0]])
        if at <= last_ms:
            return Back(BACK, at)
    # were all minutes seen in which it should have come? One that was not may have been the one in which it did
    told = bool(asked) and int(np.count_nonzero(known & (ends_ms <= last_ms))) >= asked
    if len(there):
        return Back(LATE if told else UNKNOWN, at)
    if now_ms < last_ms:
        return Back(WAITING)
    return Back(NOT_BACK if told else UNKNOWN)
