"""Judge what is charted at moments: numbers, words, lengths of time that run, and the time since an event."""

from __future__ import annotations

import numpy as np

from slackwater.protocol.evaluation import Judged, Need, Span, Value
from slackwater.protocol.facts import Facts, Sighting, Times
from slackwater.protocol.moments import NEVER, UNITS, latest_before, number_codes, said
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.status import Codes, Status
from slackwater.quantities.spans import MINUTE_MS


def judge_charted(clause: Clause, protocol: Protocol, facts: Facts, escalating: bool) -> Judged:
    seen = facts.sightings.get((clause.measure_name, clause.scope), ())
    ends = np.append(facts.ends_ms(), facts.now_ms)
    times = np.array([sighting.time_ms for sighting in seen], dtype=np.int64)
    own = np.array([_sighting_code(sighting, clause) for sighting in seen], dtype=np.int8)
    within = clause.within_s
    if within is None:
        within = clause.data_age_s if clause.data_age_s is not None else protocol.data_age_s
    at = np.searchsorted(times, ends, side="right") - 1
    last = np.where(at >= 0, times[np.maximum(at, 0)] if len(times) else 0, NEVER)
    after = latest_before(np.array(facts.events.get(clause.after or "", ()), dtype=np.int64), ends)
    since = np.maximum(ends - round(within * 1000), after)
    usable = (at >= 0) & (last >= since)
    codes = np.where(usable, own[np.maximum(at, 0)] if len(own) else 0, Status.CANNOT_TELL).astype(np.int8)
    searched = clause.comparison == "none_of" or (escalating and clause.comparison == "one_of")
    if searched:
        if clause.comparison == "none_of" and not escalating:
            # looking back from the latest entry: time alone must not turn a listed word into 'met'
            since = np.where(usable, np.maximum(since - (ends - last), after), since)
        disputed = times[[sighting.conflict for sighting in seen]] if seen else times
        _any_in_window(codes, clause, times, own, disputed, ends, since)
    now = Status(int(codes[-1]))
    latest = seen[int(at[-1])] if len(seen) and at[-1] >= 0 else None
    begin = int(since[-1])
    inside = [one for one in seen if begin <= one.time_ms <= facts.now_ms] if searched else []
    deciding = [one for one, code in zip(seen, own.tolist(), strict=True) if one in inside and code == now]
    shown = deciding[-1] if deciding else latest
    value = None
    if shown is not None:
        unit = UNITS.get(clause.measure.dimension, "")
        value = Value(shown.low, shown.high, unit) if clause.measure.dimension else Value(word=shown.word)
    evidence: tuple[Span, ...]
    if latest is None:
        evidence = (Span(max(begin, min(facts.grid_start_ms, facts.now_ms)), facts.now_ms, "nothing charted"),)
    elif inside and len(deciding) == len(inside):  # none of them says otherwise: the whole window decides
        evidence = (Span(begin, latest.time_ms, lines=_lines(inside)),)
    else:
        evidence = tuple(_moment(one, clause) for one in (deciding[::-1] or [latest]))
    needs = () if now in (Status.MET, Status.NOT_APPLICABLE) or escalating else (Need(_wanted(clause, latest)),)
    note = "an entry is too old or stands before the last change" if latest and not usable[-1] else ""
    return Judged(clause.id, now, codes[:-1], clause, value, needs=needs, evidence=evidence, note=note)


def _lines(seen: list[Sighting]) -> tuple[int, ...]:
    return tuple(one.line for one in seen if one.line)


def _moment(one: Sighting, clause: Clause) -> Span:
    """When it was charted; of a length of time, the stretch it has run (or may have)."""
    if clause.measure.kind != "span":
        return Span(one.time_ms, one.time_ms, lines=_lines([one]))
    seconds = one.high if np.isfinite(one.high) else one.low
    ran = max(round(seconds * 1000) if np.isfinite(seconds) else 0, MINUTE_MS if one.traced else 0)
    return Span(one.time_ms - ran, one.time_ms, lines=_lines([one]), traced=one.traced)


def _any_in_window(
    codes: Codes, clause: Clause, times: Times, own: Codes, disputed: Times, ends: Times, since: Times
) -> None:
    """A listed word anywhere in the window decides, however the latest entry reads; two entries that
    disagree might have held one, and leave it open."""
    decisive = Status.NOT_MET if clause.comparison == "none_of" else Status.MET
    doubtful = latest_before(disputed, ends)
    codes[(doubtful > NEVER) & (doubtful >= since)] = Status.CANNOT_TELL
    hit = latest_before(times[own == decisive], ends)
    codes[(hit > NEVER) & (hit >= since)] = decisive


def _wanted(clause: Clause, latest: Sighting | None) -> str:
    name = clause.measure_name.replace("_", " ")
    if clause.comparison == "shown":
        text = f"{name} shown"
    elif clause.words:
        text = f"{name} {clause.comparison.replace('_', ' ')} {clause.limit_text}"
    else:
        text = f"{name} {said(clause)}"
    if clause.after:
        text += f", after the last {clause.after.replace('_', ' ')}"
    if clause.within_s:
        text += f", charted within {clause.within_s / 3600:g} h"
    return text if latest is None or latest.word not in clause.measure.pending else f"{text} (done, but not reviewed)"


def _sighting_code(sighting: Sighting, clause: Clause) -> Status:
    if sighting.conflict:
        return Status.CANNOT_TELL
    if clause.words or clause.comparison == "shown":
        if sighting.word is None or sighting.word in clause.measure.pending:
            return Status.CANNOT_TELL
        listed = sighting.word in clause.words
        return Status.MET if listed != (clause.comparison == "none_of") else Status.NOT_MET
    low, high = np.array([sighting.low]), np.array([sighting.high])
    if not (np.isfinite(low[0]) or np.isfinite(high[0])):
        return Status.CANNOT_TELL
    return Status(int(number_codes(low, high, clause)[0]))


def judge_since(clause: Clause, protocol: Protocol, facts: Facts, escalating: bool) -> Judged:
    assert clause.of is not None and clause.limit is not None
    times = np.array(facts.events.get(clause.of, ()), dtype=np.int64)
    ends = np.append(facts.ends_ms(), facts.now_ms)
    last = latest_before(times, ends)
    elapsed = (ends - last) / 1000
    codes = np.where(last > NEVER, number_codes(elapsed, elapsed, clause), Status.CANNOT_TELL).astype(np.int8)
    now = Status(int(codes[-1]))
    known = bool(last[-1] > NEVER)
    value = Value(float(elapsed[-1]), float(elapsed[-1]), "s") if known else None
    by = int(last[-1] + clause.limit * 1000) if known and clause.comparison in ("at_least", "above") else None
    at = int(last[-1])
    evidence: tuple[Span, ...] = ()
    if known:
        evidence = (Span(at, facts.now_ms, f"since {_told(clause.of)}", facts.lines.get((clause.of, at), ())),)
    needs: tuple[Need, ...] = ()
    if now is not Status.MET:
        needs = (Need(f"{clause.of} {said(clause)} ago" if known else f"{clause.of} recorded", by),)
    return Judged(clause.id, now, codes[:-1], clause, value, needs=needs, evidence=evidence)


def _told(event: str) -> str:
    return event.replace("_", " ").replace(".", " ")
