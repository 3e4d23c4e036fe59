"""Spot readings of air flow that staff charted: where no log speaks they can break the air clause, never meet it.

An item that the unit wants to hear of they can fire: a charted reading is recorded flow.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from slackwater.protocol.evaluation import Judged, Need, Span, Value
from slackwater.protocol.facts import Facts, Sighting, Times
from slackwater.protocol.moments import NEVER, UNITS, latest_before, number_codes
from slackwater.protocol.rule import Clause
from slackwater.protocol.status import Status

SPOT = {"air_leak": "air_leak_read"}  # a measure recorded all the time, and what is charted of it at moments


def readings(clause: Clause, facts: Facts) -> tuple[Sighting, ...]:
    """The charted readings of what this clause measures, in order of time; disputed and blank ones tell nothing."""
    seen = facts.sightings.get((SPOT.get(clause.measure_name, ""), clause.scope), ())
    return tuple(one for one in seen if not one.conflict)


def breaking(clause: Clause, facts: Facts) -> Times:
    """When a reading lay on the wrong side of the limit for certain."""
    return _read(clause, facts, Status.NOT_MET)


def firing(clause: Clause, facts: Facts, ends: Times) -> Times:
    """At each end: when a reading that fires the clause was last charted, if no longer ago than it looks back."""
    hit = latest_before(_read(clause, facts, Status.MET), ends)
    return np.where(hit > ends - looks_back_ms(clause), hit, NEVER)


def _read(clause: Clause, facts: Facts, status: Status) -> Times:
    seen = readings(clause, facts)
    low, high = np.array([one.low for one in seen]), np.array([one.high for one in seen])
    times = np.array([one.time_ms for one in seen], dtype=np.int64)
    return np.asarray(times[number_codes(low, high, clause) == status])


def looks_back_ms(clause: Clause) -> int:
    """How long ago a reading may be and still speak of what is asked."""
    window_s = clause.lasting_s if clause.lasting_s is not None else clause.within_s
    assert window_s is not None
    return round(window_s * 1000)


def judge_spot(clause: Clause, facts: Facts, need: Need) -> Judged:
    """Without a log: not met if a reading broke the limit in the time asked about (or the last one did, where only
    the latest counts); else it cannot be told what came between the readings."""
    seen = readings(clause, facts)
    ends = np.append(facts.ends_ms(), facts.now_ms)
    times = np.array([one.time_ms for one in seen], dtype=np.int64)
    broke = breaking(clause, facts)
    hit = latest_before(broke, ends)
    stands = hit > ends - looks_back_ms(clause)
    if clause.lasting_s is None:
        stands &= hit == latest_before(times, ends)
    codes = np.where(stands, Status.NOT_MET, Status.CANNOT_TELL).astype(np.int8)
    now = Status(int(codes[-1]))
    shown = [one for one in seen if one.time_ms == (hit[-1] if stands[-1] else latest_before(times, ends)[-1])]
    if not shown:
        return Judged(clause.id, now, codes[:-1], clause, needs=(need,), note="no log holds this measure")
    note = "a reading charted; no log" if stands[-1] else "no log: readings at moments do not show what came between"
    return showing(Judged(clause.id, now, codes[:-1], clause, needs=(need,), note=note), shown[-1], clause)


def fired(judged: Judged, clause: Clause, facts: Facts, windows_from: Times) -> Judged:
    """An item that asks for the latest value, with what was charted.

    A reading fires it for as long as it looks back; where a whole window of the log, or another reading, has since
    said otherwise it cannot be told. What a mean over minutes was cannot be told from one reading. `windows_from`:
    where the log's last window begins, at each end and now.
    """
    ends = np.append(facts.ends_ms(), facts.now_ms)
    hit = firing(clause, facts, ends)
    codes = np.append(judged.timeline, judged.status).astype(np.int8)
    seen = readings(clause, facts)
    later = latest_before(np.array([one.time_ms for one in seen], dtype=np.int64), ends) > hit
    doubted = later | ((codes == Status.NOT_MET) & (hit < windows_from)) | (clause.bin_min is not None)
    codes[(hit > NEVER) & doubted & (codes == Status.NOT_MET)] = Status.CANNOT_TELL
    codes[(hit > NEVER) & ~doubted] = Status.MET
    if hit[-1] == NEVER or judged.status is Status.MET:
        return replace(judged, timeline=codes[:-1])
    note = "a reading charted"
    if doubted[-1]:
        note += "; it is no mean over minutes" if clause.bin_min is not None else "; what came since says otherwise"
    judged = replace(judged, timeline=codes[:-1], status=Status(int(codes[-1])), note=note)
    return showing(judged, next(one for one in seen[::-1] if one.time_ms == hit[-1] and _fires(one, clause)), clause)


def _fires(one: Sighting, clause: Clause) -> bool:
    return bool(number_codes(np.array([one.low]), np.array([one.high]), clause)[0] == Status.MET)


def showing(judged: Judged, one: Sighting, clause: Clause) -> Judged:
    """With this reading as its value."""
    value, evidence = told_by(one, clause)
    return replace(judged, value=value, evidence=evidence)


def told_by(one: Sighting, clause: Clause) -> tuple[Value, tuple[Span, ...]]:
    """What a reading says, and where it is charted."""
    where = Span(one.time_ms, one.time_ms, "charted", (one.line,) if one.line else ())
    return Value(one.low, one.high, UNITS[clause.measure.dimension]), (where,)
