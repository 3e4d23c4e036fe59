"""What came after the log's last whole minute, by now, and ends what held until then.

The minutes of the grid are whole; a rule that looked no further would call met what a reading of the last
seconds denies.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slackwater.protocol.evaluation import Span, Value
from slackwater.protocol.facts import Facts, Signal
from slackwater.protocol.moments import UNITS
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.spot import breaking, looks_back_ms, readings, told_by
from slackwater.protocol.status import Status
from slackwater.protocol.windows import SCALE, compare, thousandths
from slackwater.quantities.spans import MINUTE_MS


@dataclass(frozen=True)
class Undone:
    """What ended it, when, and what shows that."""

    at_ms: int
    note: str
    evidence: tuple[Span, ...]
    value: Value | None = None

    @property
    def next_minute_ms(self) -> int:
        """The first whole minute after it, with which a run may begin anew."""
        return -(-self.at_ms // MINUTE_MS) * MINUTE_MS


def restarted(protocol: Protocol, facts: Facts) -> Undone | None:
    """A restart event, the last of them."""
    end = facts.grid_start_ms + facts.length * MINUTE_MS
    events = [
        (t, event) for event in protocol.restart_on for t in facts.events.get(event, ()) if end < t <= facts.now_ms
    ]
    if not events:
        return None
    at, event = max(events)
    shown = (Span(at, at, event.replace("_", " "), facts.lines.get((event, at), ())),)
    return Undone(at, "a run starts anew after what was charted since the log ended", shown)


def broken(clause: Clause, facts: Facts, signal: Signal) -> Undone | None:
    """A reading outside the limit in the time asked about: charted, or logged in the minute that is not whole yet."""
    charted, logged = _charted(clause, facts), _logged(clause, facts, signal)
    if charted is None or (logged is not None and logged.at_ms > charted.at_ms):
        return logged
    return charted


def _charted(clause: Clause, facts: Facts) -> Undone | None:
    begin = max(facts.grid_start_ms + facts.length * MINUTE_MS, facts.now_ms - looks_back_ms(clause))
    hits = [t for t in breaking(clause, facts).tolist() if begin < t <= facts.now_ms]
    if not hits:
        return None
    one = [seen for seen in readings(clause, facts) if seen.time_ms == hits[-1]][-1]
    value, evidence = told_by(one, clause)
    return Undone(hits[-1], "a reading charted since the log ended lies outside the limit", evidence, value)


def _logged(clause: Clause, facts: Facts, signal: Signal) -> Undone | None:
    """Only where every reading counts: a mean over minutes has not ended."""
    seen = facts.unfinished.get((clause.measure_name, clause.scope))
    if clause.bin_min is not None or seen is None or facts.data_until_ms is None:
        return None
    assert clause.limit is not None
    largest_low, smallest_high = seen
    upward = clause.comparison in ("below", "at_most")
    low = thousandths(np.array([largest_low if upward else 0.0]), up=False)
    high = thousandths(np.array([np.inf if upward else smallest_high]), up=True)
    limit = np.array([round(clause.limit * SCALE)])
    unbounded = np.array([upward or not np.isfinite(smallest_high)])
    code = compare(low, high, unbounded, clause.comparison, limit, signal.top_open, signal.bottom_open)[0]
    if code != Status.NOT_MET:
        return None
    end = facts.grid_start_ms + facts.length * MINUTE_MS
    until = min(facts.data_until_ms, facts.now_ms)
    if clause.within_s is not None and facts.now_ms - until >= clause.within_s * 1000:
        return None
    value = Value(largest_low, None, UNITS[clause.measure.dimension]) if upward else None
    shown = (Span(end, until, "not within the limit", traced=True),)
    return Undone(until, "a reading of the minute not yet whole lies outside the limit", shown, value)
