"""Spot readings of air flow that staff charted: where no log speaks they can break the air clause, never meet it."""

from __future__ import annotations

import numpy as np

from slackwater.protocol.evaluation import Judged, Need, Span, Value
from slackwater.protocol.facts import Facts, Sighting, Times
from slackwater.protocol.moments import UNITS, latest_before, number_codes
from slackwater.protocol.rule import Clause
from slackwater.protocol.status import Status

SPOT = {"air_leak": "air_leak_read"}  # a measure recorded all the time, and what is charted of it at moments


def readings(clause: Clause, facts: Facts) -> tuple[Sighting, ...]:
    """The charted readings of what this clause measures, in order of time; disputed and blank ones tell nothing."""
    seen = facts.sightings.get((SPOT.get(clause.measure_name, ""), clause.scope), ())
    return tuple(one for one in seen if not one.conflict)


def breaking(clause: Clause, facts: Facts) -> Times:
    """When a reading lay on the wrong side of the limit for certain."""
    seen = readings(clause, facts)
    low, high = np.array([one.low for one in seen]), np.array([one.high for one in seen])
    times = np.array([one.time_ms for one in seen], dtype=np.int64)
    return np.asarray(times[number_codes(low, high, clause) == Status.NOT_MET])


def judge_spot(clause: Clause, facts: Facts, need: Need) -> Judged:
    """Without a log: not met if a reading broke the limit in the time asked about (or the last one did, where only
    the latest counts); else it cannot be told what came between the readings."""
    seen = readings(clause, facts)
    ends = np.append(facts.ends_ms(), facts.now_ms)
    times = np.array([one.time_ms for one in seen], dtype=np.int64)
    broke = breaking(clause, facts)
    hit = latest_before(broke, ends)
    window_s = clause.lasting_s if clause.lasting_s is not None else clause.within_s
    assert window_s is not None
    stands = hit > ends - round(window_s * 1000)
    if clause.lasting_s is None:
        stands &= hit == latest_before(times, ends)
    codes = np.where(stands, Status.NOT_MET, Status.CANNOT_TELL).astype(np.int8)
    now = Status(int(codes[-1]))
    shown = [one for one in seen if one.time_ms == (hit[-1] if stands[-1] else latest_before(times, ends)[-1])]
    if not shown:
        return Judged(clause.id, now, codes[:-1], clause, needs=(need,), note="no log holds this measure")
    one = shown[-1]
    note = "a reading charted; no log" if stands[-1] else "no log: readings at moments do not show what came between"
    evidence = (Span(one.time_ms, one.time_ms, "charted", (one.line,) if one.line else ()),)
    value = Value(one.low, one.high, UNITS[clause.measure.dimension])
    return Judged(clause.id, now, codes[:-1], clause, value, needs=(need,), evidence=evidence, note=note)
