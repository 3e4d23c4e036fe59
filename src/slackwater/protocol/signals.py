"""Judge a signal, which is recorded all the time: over sliding windows, lasting or latest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from slackwater.protocol.evaluation import Judged, Need, Run, Span, Value
from slackwater.protocol.facts import Facts, Flags, Signal
from slackwater.protocol.moments import NEVER, UNITS, fresh, latest_before, said
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.since_end import broken, restarted
from slackwater.protocol.spot import breaking, fired, judge_spot
from slackwater.protocol.status import Codes, Status
from slackwater.protocol.windows import SCALE, lasting_codes, window_bounds, window_codes, window_sums
from slackwater.quantities.spans import MINUTE_MS


def judge_signal(clause: Clause, protocol: Protocol, facts: Facts, escalating: bool) -> Judged:
    signal = facts.signals.get((clause.measure_name, clause.scope))
    assert clause.limit is not None
    if signal is None or not facts.length:
        alone = judge_spot(clause, facts, Need("a log of air flow"))
        if not escalating or clause.lasting_s is not None:
            return alone
        return fired(alone, clause, facts, np.full(facts.length + 1, NEVER))
    width = clause.bin_min or 1
    codes = window_codes(signal, clause.bin_min, clause.comparison, clause.limit)
    coarse = not escalating and too_coarse(signal, clause, protocol)
    if coarse:  # a mean over minutes hides what every reading would have shown
        codes = np.where(codes == Status.MET, Status.CANNOT_TELL, codes).astype(np.int8)
    note = "a reading stands for longer than the rule allows" if coarse else ""
    if clause.lasting_s is None:
        return _judge_latest(clause, protocol, facts, signal, codes, escalating, note)
    minutes = round(clause.lasting_s / 60)
    floor = first_minute(facts, protocol)
    status, certain, possible = lasting_codes(codes, width, minutes, floor)
    unknown = ~signal.known
    missing = window_sums(unknown.astype(np.int64), minutes)
    gaps_min = int(protocol.gaps_s // 60)
    if gaps_min and not escalating and not coarse:
        # a gap beside a reading that breaks the limit is no gap to pass over
        skip = unknown & signal.tolerable & ~_exceeds(signal, clause) & ~_charted_over(clause, facts)
        patched = window_codes(signal, clause.bin_min, clause.comparison, clause.limit, skip)
        tolerant, _, _ = lasting_codes(patched, width, minutes, floor)
        bearable = (tolerant == Status.MET) & (missing <= gaps_min) & (status == Status.CANNOT_TELL)
        status[bearable] = Status.MET_WITH_GAPS
    now = Status(int(status[-1]))
    if not escalating and now in (Status.MET, Status.MET_WITH_GAPS) and not fresh(protocol, clause, facts):
        now, note = Status.CANNOT_TELL, "the last data are older than the rule allows"
    since = None if escalating else restarted(protocol, facts) or broken(clause, facts, signal)
    if since is not None:
        now, note = Status.NOT_MET, since.note
    if escalating and now is Status.NOT_MET and _may_have_lasted(clause, facts, int(possible[-1])):
        now, note = Status.CANNOT_TELL, "it may have begun since the log ended, and lasted"
    k = facts.length - 1
    first_needed = max(0, k + 1 - minutes)
    run_start = int(certain[k])
    run = Run(
        since_ms=facts.grid_start_ms + run_start * MINUTE_MS,
        seconds=_ran_s(k, run_start, width),
        possible_seconds=_ran_s(k, int(possible[k]), width),
        needed_seconds=clause.lasting_s,
        covered=float(1 - missing[k] / min(minutes, k + 1)),
        missing_minutes=int(missing[k]),
    )
    value = _worst(signal, clause, min(max(first_needed, int(floor[k])), k), k)
    evidence = _signal_evidence(facts, codes, now, first_needed, width)
    if since is not None:
        run = replace(run, since_ms=since.next_minute_ms, seconds=0.0, possible_seconds=0.0)
        evidence = (*since.evidence, *evidence)
        if status[-1] != Status.NOT_MET:  # else what broke it before is what there is to see
            value = since.value or value
    needs = _signal_needs(clause, facts, now, run, max(minutes, width))
    return Judged(clause.id, now, status, clause, value, None, run, needs, evidence, note)


def _ran_s(k: int, start: int, width: int) -> float:
    """Length of a run up to minute k; none where no whole window has held since its start."""
    return float(k + 1 - start) * 60 if k + 1 - start >= width else 0.0


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


def _may_have_lasted(clause: Clause, facts: Facts, possible: int) -> bool:
    """With what came after the grid's last minute a run is long enough that begins with minute `possible`."""
    assert clause.lasting_s is not None
    return bool(facts.now_ms - facts.grid_start_ms - possible * MINUTE_MS >= clause.lasting_s * 1000)


def too_coarse(signal: Signal, clause: Clause, protocol: Protocol) -> bool:
    """One reading stands for more than the clause looks at: a mean hides what came in it, a sample knows only its
    own moment."""
    if clause.bin_min is None:
        return signal.reading_s > 60 and not protocol.coarse_means
    return signal.reading_s > 60 * clause.bin_min


def _charted_over(clause: Clause, facts: Facts) -> Flags:
    """Minutes in which a reading was charted that lies on the wrong side of the limit."""
    out = np.zeros(facts.length, dtype=np.bool_)
    at = (breaking(clause, facts) - facts.grid_start_ms) // MINUTE_MS
    out[at[(at >= 0) & (at < facts.length)]] = True
    return out


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
    evidence: tuple[Span, ...] = (Span(end - width * MINUTE_MS, end, traced=True),)
    anew, since = (None, None) if escalating else (restarted(protocol, facts), broken(clause, facts, signal))
    if since is not None:
        now, note, value, evidence = Status.NOT_MET, since.note, since.value or value, since.evidence
    elif anew is not None and now is not Status.NOT_MET:
        now, note = Status.CANNOT_TELL, anew.note
    needs = () if now in (Status.MET, Status.MET_WITH_GAPS) else (Need(f"air leak {said(clause)} on a fresh reading"),)
    judged = Judged(clause.id, now, status, clause, value, needs=needs, evidence=evidence, note=note)
    if not escalating:
        return judged
    return fired(judged, clause, facts, np.append(facts.ends_ms(), end) - width * MINUTE_MS)


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
    return Value(worst_low, None if not np.isfinite(worst_high) else worst_high, UNITS[clause.measure.dimension])


def _signal_needs(clause: Clause, facts: Facts, now: Status, run: Run, minutes: int) -> tuple[Need, ...]:
    if now in (Status.MET, Status.MET_WITH_GAPS):
        return ()
    k = facts.length - 1
    earliest = run.since_ms + minutes * MINUTE_MS
    last = facts.grid_start_ms + (k + 1) * MINUTE_MS
    if earliest <= last:  # the run is long enough: only age or averaging stands in the way
        return (Need("data no older than the rule allows"),)
    hours = f"{minutes / 60:g} h"
    needs = [Need(f"{hours} on end of recorded air flow {said(clause)}", earliest)]
    if now is Status.CANNOT_TELL and run.missing_minutes:
        needs.append(
            Need(
                f"{run.missing_minutes} min of the last {hours} were not recorded or are in doubt; only time mends that"
            )
        )
    elif now is Status.CANNOT_TELL:
        needs.append(Need("readings that lie wholly on one side of the limit: the unit's step straddles it"))
    return tuple(needs)


def _signal_evidence(facts: Facts, codes: Codes, now: Status, first: int, width: int) -> tuple[Span, ...]:
    """What decides: the whole span where met, else the stretches that broke or blurred it, latest first."""
    k = facts.length - 1
    at = facts.grid_start_ms
    if now in (Status.MET, Status.MET_WITH_GAPS):
        return (Span(at + first * MINUTE_MS, at + (k + 1) * MINUTE_MS, "held throughout", traced=True),)
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
            Span(at + max(int(s) - width + 1, 0) * MINUTE_MS, at + (int(e) + 1) * MINUTE_MS, why, traced=True)
            for s, e in zip(starts[::-1][:5], ends[::-1][:5], strict=True)
        ]
        if code == Status.NOT_MET and now is Status.NOT_MET:
            break
    return tuple(spans)
