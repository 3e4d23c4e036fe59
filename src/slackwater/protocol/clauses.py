"""Judge one clause: now, and at the end of every minute of the grid, by the kind of its measure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from slackwater.protocol.amounts import judge_amount
from slackwater.protocol.charted import judge_charted, judge_since
from slackwater.protocol.evaluation import Judged
from slackwater.protocol.facts import Facts
from slackwater.protocol.moments import NEVER, latest_before
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.signals import judge_signal
from slackwater.protocol.status import Status
from slackwater.quantities.spans import MINUTE_MS


def judge_clause(clause: Clause, protocol: Protocol, facts: Facts, *, escalating: bool = False) -> Judged:
    """The clause's status over time; `escalating`: silence never quiets it, only recorded values decide."""
    judge = {
        "signal": judge_signal,
        "amount": judge_amount,
        "number": judge_charted,
        "word": judge_charted,
        "span": judge_charted,
        "since": judge_since,
    }[clause.measure.kind]
    judged = judge(clause, protocol, facts, escalating)
    if clause.only_until is not None:
        judged = _only_until(judged, clause, facts, escalating)
    return replace(judged, since_ms=_since(judged, facts))


def _since(judged: Judged, facts: Facts) -> int | None:
    codes = judged.timeline
    if not len(codes) or Status(int(codes[-1])) is not judged.status:
        return None
    changed = np.flatnonzero(codes != codes[-1])
    start = int(changed[-1]) + 1 if len(changed) else 0
    # a status reached at the end of minute k stands from that end; one that never changed, from the start
    return facts.grid_start_ms + (start + 1) * MINUTE_MS if len(changed) else facts.grid_start_ms


def _only_until(judged: Judged, clause: Clause, facts: Facts, escalating: bool) -> Judged:
    """After its time the clause does not apply; while its event is not recorded it cannot be met."""
    assert clause.only_until is not None
    event, seconds = clause.only_until
    ends = np.append(facts.ends_ms(), facts.now_ms)
    last = latest_before(np.array(facts.events.get(event, ()), dtype=np.int64), ends)
    codes = np.append(judged.timeline, judged.status).astype(np.int8)
    if not escalating:  # an escalation that fires is not quieted by what nobody wrote down
        codes[(last == NEVER) & (codes != Status.NOT_MET)] = Status.CANNOT_TELL
    codes[(last > NEVER) & (ends > last + round(seconds * 1000))] = Status.NOT_APPLICABLE
    note = judged.note if last[-1] > NEVER else f"{event} is not recorded"
    return replace(judged, timeline=codes[:-1], status=Status(int(codes[-1])), note=note)
