"""Judge one clause: now, and at the end of every minute of the grid."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from slackwater.protocol.evaluation import Judged, Need, Run, Span, Value
from slackwater.protocol.facts import MINUTE_MS, Amounts, Facts, Flags, Sighting, Signal, Times
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.status import Codes, Status
from slackwater.protocol.windows import SCALE, lasting_codes, window_bounds, window_codes, window_sums

_UNITS = {
    "flow": "mL/min", "volume": "mL", "pressure": "cmH2O", "share": "%", "rate": "/min", "temperature": "Cel",
    "time": "s", "plain": "",
}  # fmt: skip
NEVER = np.int64(-(1 << 62))


def judge_clause(clause: Clause, protocol: Protocol, facts: Facts, *, escalating: bool = False) -> Judged:
    """The clause's status over time; `escalating`: silence never quiets it, only recorded values decide."""
    judge = {
        "signal": _judge_signal,
        "amount": _judge_amount,
        "number": _judge_sightings,
        "word": _judge_sightings,
        "span": _judge_sightings,
        "since": _judge_since,
    }[clause.measure.kind]
    judged = judge(clause, protocol, facts, escalating)
    if clause.only_until is not None:
        judged = _only_until(judged, clause, facts, escalating)
    return replace(judged, since_ms=_since(judged, facts))


def latest_before(times: Times, ends: Times, *, inclusive: bool = True) -> Times:
    """The last of `times` (sorted) at or before each end; NEVER where there is none."""
    if not len(times):
        return np.full(len(ends), NEVER, dtype=np.int64)
    at = np.searchsorted(times, ends, side="right" if inclusive else "left") - 1
    return np.where(at >= 0, times[np.maximum(at, 0)], NEVER)


def first_minute(facts: Facts, protocol: Protocol) -> NDArray[np.int64]:
    """First minute that may count at each end: a run starts with the first whole minute after the event.

    Connection and every restart event put a floor under a run; without a known connection the
    record simply begins, and what came before is unknown.
    """
    ends = facts.ends_ms()
    restarts = [np.array(facts.events.get(event, ()), dtype=np.int64) for event in protocol.restart_on]
    events = np.sort(np.concatenate(restarts)) if restarts else np.empty(0, dtype=np.int64)
    last = latest_before(events, ends)
    if facts.connected_ms is not None:  # nothing before it can ever count
        last = np.maximum(last, facts.connected_ms)
    minute = -((facts.grid_start_ms - last) // MINUTE_MS)
    return np.minimum(minute, np.arange(1, len(ends) + 1))


def fresh(protocol: Protocol, clause: Clause, facts: Facts) -> bool:
    """Data are not older than the rule allows."""
    allowed = clause.data_age_s if clause.data_age_s is not None else protocol.data_age_s
    until = facts.data_until_ms
    return until is not None and facts.now_ms - until <= allowed * 1000


def _empty(facts: Facts) -> Codes:
    return np.full(facts.length, Status.CANNOT_TELL, dtype=np.int8)


def _now(timeline: Codes, otherwise: Status = Status.CANNOT_TELL) -> Status:
    return Status(int(timeline[-1])) if len(timeline) else otherwise


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


# --- signals: recorded all the time -------------------------------------------------------------


def _judge_signal(clause: Clause, protocol: Protocol, facts: Facts, escalating: bool) -> Judged:
    signal = facts.signals.get((clause.measure_name, clause.scope))
    assert clause.limit is not None
    if signal is None or not facts.length:
        return Judged(
            clause.id, Status.CANNOT_TELL, _empty(facts), clause,
            needs=(Need("a log of air flow"),), note="no log holds this measure",
        )  # fmt: skip
    width = clause.bin_min or 1
    codes = window_codes(signal, clause.bin_min, clause.comparison, clause.limit)
    too_coarse = not escalating and _too_coarse(signal, clause, protocol)
    if too_coarse:  # a mean over minutes hides what every reading would have shown
        codes = np.where(codes == Status.MET, Status.CANNOT_TELL, codes).astype(np.int8)
    note = "a reading stands for longer than the rule allows" if too_coarse else ""
    if clause.lasting_s is None:
        return _judge_latest(clause, protocol, facts, signal, codes, escalating, note)
    minutes = round(clause.lasting_s / 60)
    floor = first_minute(facts, protocol)
    status, certain, possible = lasting_codes(codes, width, minutes, floor)
    unknown = ~signal.known
    missing = window_sums(unknown.astype(np.int64), minutes)
    gaps_min = int(protocol.gaps_s // 60)
    if gaps_min and not escalating and not too_coarse:
        # a gap beside a reading that breaks the limit is no gap to pass over
        skip = unknown & signal.tolerable & ~_exceeds(signal, clause)
        patched = window_codes(signal, clause.bin_min, clause.comparison, clause.limit, skip)
        tolerant, _, _ = lasting_codes(patched, width, minutes, floor)
        bearable = (tolerant == Status.MET) & (missing <= gaps_min) & (status == Status.CANNOT_TELL)
        status[bearable] = Status.MET_WITH_GAPS
    now = Status(int(status[-1]))
    if not escalating and now in (Status.MET, Status.MET_WITH_GAPS) and not fresh(protocol, clause, facts):
        now, note = Status.CANNOT_TELL, "the last data are older than the rule allows"
    if not escalating and _restarted_since(facts, protocol):
        now, note = Status.NOT_MET, "a run starts anew after what was charted since the log ended"
    k = facts.length - 1
    first_needed = max(0, k + 1 - minutes)
    run_start = int(certain[k])
    run = Run(
        since_ms=facts.grid_start_ms + run_start * MINUTE_MS,
        seconds=float(k + 1 - run_start) * 60,
        possible_seconds=float(k + 1 - int(possible[k])) * 60,
        needed_seconds=clause.lasting_s,
        covered=float(1 - missing[k] / min(minutes, k + 1)),
        missing_minutes=int(missing[k]),
    )
    value = _worst(signal, clause, min(max(first_needed, int(floor[k])), k), k)
    return Judged(
        clause.id, now, status, clause, value, None, run,
        _signal_needs(clause, facts, now, codes, run, minutes, width, signal),
        _signal_evidence(clause, facts, codes, now, first_needed, width), note,
    )  # fmt: skip


def _restarted_since(facts: Facts, protocol: Protocol) -> bool:
    """A restart event after the grid's last minute, by now."""
    end = facts.grid_start_ms + facts.length * MINUTE_MS
    return any(end < t <= facts.now_ms for event in protocol.restart_on for t in facts.events.get(event, ()))


def _too_coarse(signal: Signal, clause: Clause, protocol: Protocol) -> bool:
    """One reading stands for more than the clause looks at: a mean hides what came in it, a sample knows only its
    own moment."""
    if clause.bin_min is None:
        return signal.reading_s > 60 and not protocol.coarse_means
    return signal.reading_s > 60 * clause.bin_min


def _exceeds(signal: Signal, clause: Clause) -> Flags:
    """Minutes in which something recorded lies on the wrong side of the limit for certain."""
    assert clause.limit is not None
    if clause.comparison in ("below", "at_most"):
        return np.asarray(signal.peak_low >= clause.limit)
    return np.asarray(np.isfinite(signal.trough_high) & (signal.trough_high <= clause.limit))


def _judge_latest(
    clause: Clause, protocol: Protocol, facts: Facts, signal: Signal, codes: Codes, escalating: bool, note: str
) -> Judged:
    """The last window decides, if it lies after the last restart and ended less than `within` ago.

    Never an earlier one: what came since, if it was not recorded, may have been worse.
    """
    assert clause.limit is not None and clause.within_s is not None
    width = clause.bin_min or 1
    index = np.arange(facts.length)
    status = codes.copy()
    if not escalating:
        status[(index - width + 1 < first_minute(facts, protocol)) & (codes != Status.NOT_MET)] = Status.CANNOT_TELL
    end = facts.grid_start_ms + facts.length * MINUTE_MS
    now = Status(int(status[-1]))
    if facts.now_ms - end >= clause.within_s * 1000:
        now, note = Status.CANNOT_TELL, "the last data are older than the clause allows"
    elif not escalating and now in (Status.MET, Status.MET_WITH_GAPS) and not fresh(protocol, clause, facts):
        now, note = Status.CANNOT_TELL, "the last data are older than the rule allows"
    k = facts.length - 1
    value = _worst(signal, clause, max(k - width + 1, 0), k)
    needs = () if now in (Status.MET, Status.MET_WITH_GAPS) else (Need(f"air leak {_said(clause)} on a fresh reading"),)
    evidence = (Span(end - width * MINUTE_MS, end),)
    return Judged(clause.id, now, status, clause, value, needs=needs, evidence=evidence, note=note)


def _worst(signal: Signal, clause: Clause, first: int, last: int) -> Value:
    """Bounds of the window inside [first, last] that comes nearest to failing (or fails by most)."""
    low, high, unbounded, _, divisor = window_bounds(signal, clause.bin_min, clause.comparison, None)
    start = min(first + (clause.bin_min or 1) - 1, last)
    span = slice(start, last + 1)
    scaled_low = low[span] / (divisor[span] * SCALE)
    scaled_high = np.where(unbounded[span], np.inf, high[span] / (divisor[span] * SCALE))
    if clause.comparison in ("below", "at_most"):
        worst_low, worst_high = float(scaled_low.max()), float(scaled_high.max())
    else:
        worst_low, worst_high = float(scaled_low.min()), float(scaled_high.min())
    return Value(worst_low, None if not np.isfinite(worst_high) else worst_high, _UNITS[clause.measure.dimension])


def _said(clause: Clause) -> str:
    return f"{clause.comparison.replace('_', ' ')} {clause.limit_text}"


def _signal_needs(
    clause: Clause, facts: Facts, now: Status, codes: Codes, run: Run, minutes: int, width: int, signal: Signal
) -> tuple[Need, ...]:
    if now in (Status.MET, Status.MET_WITH_GAPS):
        return ()
    k = facts.length - 1
    earliest = run.since_ms + max(minutes, width) * MINUTE_MS
    last = facts.grid_start_ms + (k + 1) * MINUTE_MS
    if earliest <= last:  # the run is long enough: only age or averaging stands in the way
        return (Need("data no older than the rule allows"),)
    hours = f"{minutes / 60:g} h"
    needs = [Need(f"{hours} on end of recorded air flow {_said(clause)}", earliest)]
    if now is Status.CANNOT_TELL and run.missing_minutes:
        needs.append(
            Need(
                f"{run.missing_minutes} min of the last {hours} were not recorded or are in doubt; only time mends that"
            )
        )
    elif now is Status.CANNOT_TELL:
        needs.append(Need("readings that lie wholly on one side of the limit: the unit's step straddles it"))
    return tuple(needs)


def _signal_evidence(
    clause: Clause, facts: Facts, codes: Codes, now: Status, first: int, width: int
) -> tuple[Span, ...]:
    """What decides: the whole span where met, else the stretches that broke or blurred it, latest first."""
    k = facts.length - 1
    at = facts.grid_start_ms
    if now in (Status.MET, Status.MET_WITH_GAPS):
        return (Span(at + first * MINUTE_MS, at + (k + 1) * MINUTE_MS, "held throughout"),)
    spans: list[Span] = []
    wanted = ((Status.NOT_MET, "not within the limit"), (Status.CANNOT_TELL, "cannot be told"))
    for code, why in wanted:
        bad = np.flatnonzero(codes[first:] == code) + first
        if not len(bad):
            continue
        breaks = np.flatnonzero(np.diff(bad) > 1)
        starts = bad[np.concatenate(([0], breaks + 1))]
        ends = bad[np.concatenate((breaks, [len(bad) - 1]))]
        spans += [
            Span(at + max(int(s) - width + 1, 0) * MINUTE_MS, at + (int(e) + 1) * MINUTE_MS, why)
            for s, e in zip(starts[::-1][:5], ends[::-1][:5], strict=True)
        ]
        if code == Status.NOT_MET and now is Status.NOT_MET:
            break
    return tuple(spans)


# --- amounts: sums over a window ----------------------------------------------------------------


def _judge_amount(clause: Clause, protocol: Protocol, facts: Facts, escalating: bool) -> Judged:
    assert clause.within_s is not None and clause.limit is not None
    amounts = facts.amounts.get((clause.measure_name, clause.scope))
    unit = "mL/kg" if clause.per_kg else "mL"
    if amounts is None:
        return Judged(clause.id, Status.CANNOT_TELL, _empty(facts), clause, needs=(Need("fluid charted"),))
    if clause.per_kg and facts.weight_kg is None:
        return Judged(clause.id, Status.CANNOT_TELL, _empty(facts), clause, needs=(Need("the patient's weight"),))
    ends = np.append(facts.ends_ms(), facts.now_ms)
    timeline, low, high, upto = _amount_codes(clause, protocol, facts, amounts, ends, escalating)
    if escalating:
        timeline[_still_firing(clause, protocol, facts, amounts, ends)] = Status.MET
    window = round(clause.within_s * 1000)
    now = Status(int(timeline[-1]))
    value = Value(float(low[-1]), float(high[-1]) if np.isfinite(high[-1]) else None, unit)
    evidence = (Span(int(upto[-1]) - window, int(upto[-1])),)
    needs: tuple[Need, ...] = ()
    if now is Status.CANNOT_TELL:
        needs = (Need(f"fluid charted over the whole of the last {clause.within_s / 3600:g} h, up to now"),)
    elif now is Status.NOT_MET and not escalating:
        needs = (Need(f"fluid {_said(clause)} over {clause.within_s / 3600:g} h"),)
    return Judged(clause.id, now, timeline[:-1], clause, value, needs=needs, evidence=evidence)


def _amount_codes(
    clause: Clause, protocol: Protocol, facts: Facts, amounts: Amounts, ends: Times, escalating: bool
) -> tuple[Codes, np.ndarray, np.ndarray, Times]:
    """Status, bounds and the end of the window used, at each moment.

    The window ends with the last entry if that is no older than the rule allows; what came after it
    is simply not charted yet. An older entry leaves the rest open, upwards without bound.
    """
    assert clause.within_s is not None and clause.limit is not None
    window = round(clause.within_s * 1000)
    allowed = round((clause.data_age_s if clause.data_age_s is not None else protocol.data_age_s) * 1000)
    if escalating:  # a sum once recorded goes on speaking for as long as its own window
        allowed = max(allowed, window)
    last = latest_before(amounts.entry_ends_ms, ends)
    upto = np.where(ends - last <= allowed, last, ends)
    per = facts.weight_kg if clause.per_kg and facts.weight_kg else 1.0
    windows = 1 if clause.lasting_s is None else round(clause.lasting_s / clause.within_s)
    status = np.full(len(ends), Status.NOT_APPLICABLE, dtype=np.int8)
    worst_low = worst_high = np.zeros(len(ends))
    for nth in range(windows):  # consecutive windows, the latest first: each must pass
        low, high = amounts.totals(upto - nth * window, window)
        # past the last entry known at that moment nothing bounds the amount
        high = np.where(upto - nth * window > last, np.inf, high)
        low, high = low / per, high / per
        np.minimum(status, _number_codes(low, high, clause), out=status)
        if nth == 0:
            worst_low, worst_high = low, high
    return status, worst_low, worst_high, upto


def _still_firing(clause: Clause, protocol: Protocol, facts: Facts, amounts: Amounts, ends: Times) -> Flags:
    """A sum that fired at any entry goes on firing for as long as its own window, whatever came after."""
    assert clause.within_s is not None
    entries = amounts.entry_ends_ms
    if not len(entries):
        return np.zeros(len(ends), dtype=np.bool_)
    codes, _, _, _ = _amount_codes(clause, protocol, facts, amounts, entries, True)
    fired = latest_before(entries[codes == Status.MET], ends)
    return np.asarray((fired > NEVER) & (ends - fired <= round(clause.within_s * 1000)))


def _number_codes(low: np.ndarray, high: np.ndarray, clause: Clause) -> Codes:
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


# --- numbers and words seen at moments ----------------------------------------------------------


def _judge_sightings(clause: Clause, protocol: Protocol, facts: Facts, escalating: bool) -> Judged:
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
    if clause.comparison == "none_of" or (escalating and clause.comparison == "one_of"):
        if clause.comparison == "none_of" and not escalating:
            # looking back from the latest entry: time alone must not turn a listed word into 'met'
            since = np.where(usable, np.maximum(since - (ends - last), after), since)
        disputed = times[[sighting.conflict for sighting in seen]] if seen else times
        _any_in_window(codes, clause, times, own, disputed, ends, since)
    now = Status(int(codes[-1]))
    latest = seen[int(at[-1])] if len(seen) and at[-1] >= 0 else None
    value = None
    if latest is not None:
        unit = _UNITS.get(clause.measure.dimension, "")
        value = Value(latest.low, latest.high, unit) if clause.measure.dimension else Value(word=latest.word)
    evidence = (Span(latest.time_ms, latest.time_ms, lines=(latest.line,) if latest.line else ()),) if latest else ()
    needs = () if now in (Status.MET, Status.NOT_APPLICABLE) or escalating else (Need(_wanted(clause, latest)),)
    note = "an entry is too old or stands before the last change" if latest and not usable[-1] else ""
    return Judged(clause.id, now, codes[:-1], clause, value, needs=needs, evidence=evidence, note=note)


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
        text = f"{name} {_said(clause)}"
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
    return Status(int(_number_codes(low, high, clause)[0]))


def _judge_since(clause: Clause, protocol: Protocol, facts: Facts, escalating: bool) -> Judged:
    assert clause.of is not None and clause.limit is not None
    times = np.array(facts.events.get(clause.of, ()), dtype=np.int64)
    ends = np.append(facts.ends_ms(), facts.now_ms)
    last = latest_before(times, ends)
    elapsed = (ends - last) / 1000
    codes = np.where(last > NEVER, _number_codes(elapsed, elapsed, clause), Status.CANNOT_TELL).astype(np.int8)
    now = Status(int(codes[-1]))
    known = bool(last[-1] > NEVER)
    value = Value(float(elapsed[-1]), float(elapsed[-1]), "s") if known else None
    by = int(last[-1] + clause.limit * 1000) if known and clause.comparison in ("at_least", "above") else None
    needs: tuple[Need, ...] = ()
    if now is not Status.MET:
        needs = (Need(f"{clause.of} {_said(clause)} ago" if known else f"{clause.of} recorded", by),)
    return Judged(clause.id, now, codes[:-1], clause, value, needs=needs)
