"""What every kind of clause needs: the last event before a moment, the age of data, a comparison, the words for it."""

from __future__ import annotations

import numpy as np

from slackwater.protocol.facts import Facts, Times
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.status import Codes, Status

UNITS = {
    "flow": "mL/min", "volume": "mL", "pressure": "cmH2O", "share": "%", "rate": "/min", "temperature": "Cel",
    "time": "s", "plain": "",
}  # fmt: skip

NEVER = np.int64(-(1 << 62))


def latest_before(times: Times, ends: Times) -> Times:
    """The last of `times` (sorted) at or before each end; NEVER where there is none."""
    if not len(times):
        return np.full(len(ends), NEVER, dtype=np.int64)
    at = np.searchsorted(times, ends, side="right") - 1
    return np.where(at >= 0, times[np.maximum(at, 0)], NEVER)


def fresh(protocol: Protocol, clause: Clause, facts: Facts) -> bool:
    """Data are not older than the rule allows."""
    allowed = clause.data_age_s if clause.data_age_s is not None else protocol.data_age_s
    until = facts.data_until_ms
    return until is not None and facts.now_ms - until <= allowed * 1000


def untold(facts: Facts) -> Codes:
    return np.full(facts.length, Status.CANNOT_TELL, dtype=np.int8)


def number_codes(low: np.ndarray, high: np.ndarray, clause: Clause) -> Codes:
    """Compare exact amounts; amounts are what was read off, so both bounds can be reached."""
    limit = clause.limit
    assert limit is not None
    low, high = np.round(low, 6), np.round(high, 6)
    passes, fails = {
        "below": (high < limit, low >= limit),
        "at_most": (high <= limit, low > limit),
        "above": (low > limit, high <= limit),
        "at_least": (low >= limit, high < limit),
    }[clause.comparison]
    codes = np.full(low.shape, Status.CANNOT_TELL, dtype=np.int8)
    codes[fails] = Status.NOT_MET
    codes[passes] = Status.MET
    return codes


def said(clause: Clause) -> str:
    return f"{clause.comparison.replace('_', ' ')} {clause.limit_text}"
