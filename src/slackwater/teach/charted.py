"""What the chart of an invented stay holds at a moment: of the rows as they were made, not of what we read in them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from slackwater.errors import UsageError
from slackwater.protocol.rule import Clause, Protocol
from slackwater.simulate.chart import ChartEntry

OWN = "1"  # as simulate/chart.py numbers the drain


def rows_at(entries: Sequence[ChartEntry], at_s: float) -> tuple[ChartEntry, ...]:
    """Those written by then, in order of time. Seconds are counted from connection."""
    known = (one for one in entries if max(one.at_s, one.recorded_s or 0.0) <= at_s)
    return tuple(sorted(known, key=lambda one: one.at_s))


def clause_on(protocol: Protocol | None, measure: str) -> Clause:
    """The removal clause on it."""
    for clause in () if protocol is None else protocol.removal:
        if clause.measure_name == measure and clause.within_s is not None:
            return clause
    raise UsageError(f"no rule is named with a clause on {measure}", where="truth", mend="Name a protocol that has it.")


def amount(rows: Sequence[ChartEntry], at_s: float, clause: Clause, drains: Sequence[str]) -> str:
    """Fluid over the clause's hours: 'over' its limit, 'under' it, or 'unknown'.

    Amounts are of their own hours alone. The hours end with the last row that every drain of the space has; hours
    before connection, or of a drain that nobody charted, hold an amount that is not known.
    """
    assert clause.within_s is not None and clause.limit is not None
    limit = clause.limit
    if clause.per_kg:
        weights = [one.value for one in rows if one.item == "weight" and one.value is not None]
        if not weights:
            return "unknown"
        limit *= float(weights[-1])
    told = [[one for one in rows if one.item == "fluid_output" and one.drain == drain] for drain in drains]
    common = set.intersection(*({one.at_s for one in some} for some in told))
    if not common:
        return "unknown"
    end_s = max(common)
    low = high = 0.0
    for drain, some in zip(drains, told, strict=True):
        start_s, begun_s = end_s - clause.within_s, 0.0 if drain == OWN else -math.inf
        for before, one in pairwise([None, *some]):
            assert one is not None
            from_s = begun_s if before is None else before.at_s
            if one.at_s <= start_s or one.at_s > end_s:
                continue
            if one.value is None or from_s == -math.inf:
                high = math.inf
                continue
            high += float(one.value)
            low += float(one.value) if from_s >= start_s else 0.0
        if drain == OWN and start_s < 0.0:
            high = math.inf
    if at_s - end_s > (clause.data_age_s or math.inf):
        high = math.inf
    return "over" if low >= limit else "under" if high < limit else "unknown"


def film(rows: Sequence[ChartEntry], at_s: float, clause: Clause, changed_s: float | None) -> str:
    """The last film: 'none', 'old', from 'before' the last change of suction where the clause asks, or 'current'."""
    films = [one.at_s for one in rows if one.item == "chest_xray" and one.value not in (None, "not_reviewed")]
    if not films:
        return "none"
    if clause.within_s is not None and at_s - films[-1] > clause.within_s:
        return "old"
    if clause.after == "suction_change" and changed_s is not None and films[-1] < changed_s:
        return "before"
    return "current"


def recent(rows: Sequence[ChartEntry], at_s: float, clause: Clause) -> bool:
    """Charted within the clause's hours."""
    assert clause.within_s is not None
    last = max((one.at_s for one in rows if one.item == clause.measure_name), default=-math.inf)
    return at_s - last <= clause.within_s
