"""The two guards over a removal rule: zero flow is not a healed lung."""

from __future__ import annotations

import numpy as np

from slackwater.protocol.evaluation import Judged, Need, Span
from slackwater.protocol.facts import Facts, Times
from slackwater.protocol.moments import NEVER, latest_before
from slackwater.protocol.rule import EffortSeen, Protocol, TubeOpen
from slackwater.protocol.status import Codes, Status
from slackwater.quantities.spans import MINUTE_MS

_HOW = {
    "swing": "a breathing swing in the trace",
    "air": "air flow that answers breathing or cough",
    "fluid": "fluid moving",
    "charted": "the tube charted open",
}


def judge_guards(protocol: Protocol, facts: Facts) -> tuple[Judged, ...]:
    """Both guards, judged now and at every minute; none if the rule waives them aloud."""
    guards = []
    if protocol.tube_open is not None:
        guards.append(_tube_open(protocol.tube_open, protocol, facts))
    if protocol.effort_seen is not None:
        guards.append(_effort_seen(protocol.effort_seen, protocol.tube_open, facts))
    return tuple(guards)


def _tube_open(guard: TubeOpen, protocol: Protocol, facts: Facts) -> Judged:
    """Shown open within `within` of the end, and, if asked, within `within` of the start of the run needed."""
    shown = _shown(guard, facts)
    within = round(guard.within_s * 1000)
    anchor = facts.now_ms if facts.data_until_ms is None else min(facts.now_ms, facts.data_until_ms)
    ends = np.append(facts.ends_ms(), anchor)
    known = np.append(facts.ends_ms(), facts.now_ms)  # what was charted after the log's end counts too
    at_end = _shown_in(shown, ends - within, known)
    ok = at_end.copy()
    run_s = protocol.longest_air_run_s
    lasting = 0 if run_s is None else round(run_s * 1000)
    if guard.also_at_start and lasting:
        starts = ends - lasting
        ok &= _shown_in(shown, starts, np.minimum(starts + within, known))
    codes = np.where(ok, Status.MET, Status.CANNOT_TELL).astype(np.int8)
    shut = latest_before(facts.shown_shut, known)
    codes[(shut > NEVER) & (shut > latest_before(shown, known))] = Status.NOT_MET
    now = Status(int(codes[-1]))
    last = int(latest_before(shown, known[-1:])[0])
    evidence = (_shown_at(_ways_at(guard, facts, last), facts, last),) if last > NEVER else ()
    return Judged(
        "tube_open", now, codes[:-1], needs=_tube_needs(guard, now, bool(at_end[-1]), facts, lasting), evidence=evidence
    )


def _shown(guard: TubeOpen, facts: Facts) -> Times:
    """When it was shown open by one of the ways that count."""
    columns = [facts.shown_open.get(how, np.empty(0, dtype=np.int64)) for how in guard.by]
    return np.sort(np.concatenate(columns)) if columns else np.empty(0, dtype=np.int64)


def _tube_needs(guard: TubeOpen, now: Status, at_end: bool, facts: Facts, lasting: int) -> tuple[Need, ...]:
    if now is Status.MET:
        return ()
    hours = f"{guard.within_s / 3600:g} h"
    ways = ", or ".join(_HOW[how] for how in guard.by)
    if not at_end or now is Status.NOT_MET:
        return (Need(f"the tube shown open within {hours}: {ways}"),)
    return (Need(f"the tube shown open within {hours} of the start of the run: {ways}", facts.now_ms + lasting),)


def _ways_at(guard: TubeOpen, facts: Facts, moment: int) -> list[str]:
    return [how for how in guard.by if moment in facts.shown_open.get(how, ())]


def _shown_at(ways: list[str], facts: Facts, moment: int) -> Span:
    """What showed it: chart lines, or the minute of the log that ends there."""
    traced = ways != ["charted"]
    lines = facts.lines.get(("charted", moment), ()) if "charted" in ways else ()
    return Span(moment - MINUTE_MS if traced else moment, moment, ", ".join(ways), lines, traced)


def _shown_in(shown: Times, starts: Times, ends: Times) -> np.ndarray:
    """Was it shown in (start, end]?"""
    if not len(shown):
        return np.zeros(len(starts), dtype=np.bool_)
    first = np.searchsorted(shown, starts, side="right")
    last = np.searchsorted(shown, ends, side="right")
    return np.asarray(last > first)


def _effort_seen(guard: EffortSeen, tube: TubeOpen | None, facts: Facts) -> Judged:
    """A leak once seen with effort must have been tried again within `within`, by an open tube, and not seen."""
    within = round(guard.within_s * 1000)
    ends = np.append(facts.ends_ms(), facts.now_ms)
    seen = np.array([t.time_ms for t in facts.tries if t.seen is True], dtype=np.int64)
    clear = np.array([t.time_ms for t in facts.tries if t.seen is False], dtype=np.int64)
    if tube is not None:  # behind a shut tube no cough can show a leak
        shut = latest_before(facts.shown_shut, clear)
        clear = clear[(shut == NEVER) | (shut <= latest_before(_shown(tube, facts), clear))]
    untold = np.array([t.time_ms for t in facts.tries if t.seen is None], dtype=np.int64)
    last_seen, last_clear = latest_before(seen, ends), latest_before(clear, ends)
    last_untold = latest_before(untold, ends)
    codes: Codes = np.full(len(ends), Status.CANNOT_TELL, dtype=np.int8)
    codes[(last_clear > np.maximum(last_seen, last_untold)) & (ends - last_clear <= within)] = Status.MET
    codes[(last_seen > NEVER) & (last_seen >= last_clear) & (ends - last_seen <= within)] = Status.NOT_MET
    # a try whose result nobody wrote down, or twice differently, may have shown one
    codes[(last_seen == NEVER) & (last_untold == NEVER)] = Status.NOT_APPLICABLE
    now = Status(int(codes[-1]))
    hours = f"{guard.within_s / 3600:g} h"
    if now is Status.NOT_APPLICABLE:
        note = "no leak was ever seen with effort" + (
            "" if facts.cough_visible else "; this log cannot show a single cough"
        )
        return Judged("effort_seen", now, codes[:-1], note=note)
    moment = int(last_clear[-1] if now is Status.MET else max(last_seen[-1], last_untold[-1]))
    why = "tried, no leak recorded"
    if now is not Status.MET:
        why = "leak seen with effort" if last_seen[-1] >= last_untold[-1] else "tried, but its result is not told"
    needs = () if now is Status.MET else (Need(f"a cough or walk tried within {hours} and no leak seen with it"),)
    last = [one for one in facts.tries if one.time_ms == moment]
    traced = any(one.source == "trace" for one in last)
    lines = tuple(one.line for one in last if one.line)
    evidence = (Span(moment - MINUTE_MS if traced else moment, moment, why, lines, traced),)
    return Judged("effort_seen", now, codes[:-1], needs=needs, evidence=evidence)
