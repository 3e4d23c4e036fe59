"""The round's line for one drain, made from course and assessment: everything in words. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import tzinfo

from slackwater.assessment.assessment import Assessment
from slackwater.assessment.warnings import NO_AIR_VERDICT
from slackwater.protocol.evaluation import Evaluation, Judged
from slackwater.protocol.status import Status
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS, format_span
from slackwater.report.extent import limit_words, not_judged
from slackwater.report.line import NOTHING, Below, RoundLine, Said, tube_of
from slackwater.report.orders import ALLOWED, ASK, NO_SUCTION, NONE_KNOWN, off_words, standing, suction_order
from slackwater.report.round_facts import (
    Suction,
    canister,
    charge,
    fluid_lines,
    off_mains,
    pain_on_cough,
    suction,
    when,
)
from slackwater.report.sentences import GOOD, flow_words, value_words
from slackwater.report.trend import trend
from slackwater.report.words import LEAK_SHAPES, REASON_WORDS, SHAPES
from slackwater.store.course import Course
from slackwater.store.rows import Thing

WAITS = "waiting for people"  # behind the rule's own word, where only people are waited for
AHEAD_MS = 5 * MINUTE_MS  # rows so far after now are another clock's (ours)

_GUARDS = {"tube_open": "the tube shown open", "effort_seen": "a cough or a walk"}  # people settle these too
_BY_PEOPLE = ("word", "number")  # kinds of measure that somebody looks at and charts


def judged_at(course: Course, at_ms: int) -> int:
    """A drain that was out by then is judged as of its removal: nothing was recorded since."""
    out = course.removed_ms
    return at_ms if out is None or out > at_ms else out // MINUTE_MS * MINUTE_MS


def line_of(course: Course, found: Assessment | None, now_ms: int, zone: tzinfo) -> RoundLine:
    """The line of one drain at `now_ms`; `found` is None where there is neither log nor chart."""
    line = _recorded(course, now_ms, zone)
    out_ms = course.removed_ms
    if out_ms is not None and out_ms // MINUTE_MS * MINUTE_MS <= now_ms:
        return _tagged(_after_removal(line, course, now_ms, zone))
    if found is None:
        return _tagged(replace(line, rule_name="nothing is recorded yet: no log, no chart"))
    return _tagged(_ended(judged_line(line, found, zone), course, now_ms))


def _ended(line: RoundLine, course: Course, now_ms: int) -> RoundLine:
    """The chart does not know that an order has ended; the record does."""
    ordered = line.suction.ordered
    if ordered == NOTHING.ordered or suction_order(course, now_ms) is not None:
        return line
    return replace(line, suction=replace(line.suction, ordered=f"none stands; the last, {ordered}, has ended"))


# --- what is entered ------------------------------------------------------------------------------


def _recorded(course: Course, now_ms: int, zone: tzinfo) -> RoundLine:
    """Holds, tasks, orders: what people entered beside the chart."""
    tube = tube_of(course.patient, course.episode, course.space, course.drain)
    holds = [
        one for one in course.holds if one["from_ms"] <= now_ms and (one["to_ms"] is None or one["to_ms"] > now_ms)
    ]
    tasks = _not_done(course.tasks, now_ms)
    late, due = _due(tasks, now_ms, zone)
    late += [
        f"{one['kind'].replace('_', ' ')} order, review due {when(one['review_ms'], now_ms, zone)}"
        for one in standing(course, now_ms)
        if one["review_ms"] is not None and one["review_ms"] < now_ms
    ]
    mine = [one["time_ms"] for one in course.entries if one["drain"] in (None, course.drain["number"])]
    last = course.last_ms
    return RoundLine(
        tube, now_ms,
        holds=tuple(_hold(one, now_ms, zone) for one in holds),
        overdue=tuple(late), tasks=tuple(due),
        may_be_off=off_words(suction_order(course, now_ms)),
        charted_ms=max((ms for ms in mine if ms <= now_ms), default=None),
        ahead="" if last is None or last <= now_ms + AHEAD_MS else (
            f"the log's stamps run to {format_span((last - now_ms) / 1000)} after now; later rows are not used: "
            "is the unit's clock right?"
        ),
    )  # fmt: skip


def _walks(by_order: str, sucked: Suction) -> str:
    """The same, where files were given and the order stands in the chart alone."""
    if sucked.none_ordered:
        return NO_SUCTION
    return ASK if by_order == NONE_KNOWN and sucked.ordered != NOTHING.ordered else by_order


def _not_done(things: Iterable[Thing], now_ms: int) -> list[Thing]:
    """What was not done by then, even if it was done later."""
    return [one for one in things if one["done_ms"] is None or one["done_ms"] > now_ms]


def _due(things: list[Thing], now_ms: int, zone: tzinfo) -> tuple[list[str], list[str]]:
    """What is late, and what is still to come or has no time."""
    late: list[str] = []
    open_: list[str] = []
    for one in things:
        what = str(one["what"]).replace("_", " ").replace("xray", "X-ray")
        if one["due_ms"] is None:
            open_.append(what)
            continue
        text = f"{what}, due {when(one['due_ms'], now_ms, zone)}"
        (late if one["due_ms"] < now_ms else open_).append(text)
    return late, open_


def _hold(one: Thing, now_ms: int, zone: tzinfo) -> str:
    until = f" until {when(one['to_ms'], now_ms, zone)}" if one["to_ms"] is not None else ""
    note = f": {one['note']}" if one["note"] else ""
    return f"{one['reason'].replace('_', ' ')} since {when(one['from_ms'], now_ms, zone)}{until}{note}"


def _after_removal(line: RoundLine, course: Course, now_ms: int, zone: tzinfo) -> RoundLine:
    assert course.removal is not None
    late, due = _due(_not_done(course.checks, now_ms), now_ms, zone)
    gone = course.removal
    return replace(
        line, overdue=(*line.overdue, *late), tasks=(*line.tasks, *due), ahead="",
        removed=f"removed {when(gone['time_ms'], now_ms, zone)} ({gone['kind'].replace('_', ' ')})",
    )  # fmt: skip


# --- what is concluded ----------------------------------------------------------------------------


def judged_line(line: RoundLine, found: Assessment, zone: tzinfo) -> RoundLine:
    """The line with everything that the assessment says."""
    fired, unseen = escalation(found.evaluation)
    now = found.as_of_ms
    waiting, rule = _rule(found, zone)
    sucked = suction(found, zone)
    overdue = [
        f"{due.item.replace('_', ' ')}, due {when(due.due_ms, now, zone)}"
        for due in found.schedule
        if due.overdue and due.due_ms is not None
    ]
    return replace(
        line,
        data_until_ms=found.data_until_ms,
        live_until_ms=_live_until(found),
        items=(*(text for text in found.warnings if text != NO_AIR_VERDICT), *fired),
        unseen=unseen,
        overdue=(*line.overdue, *overdue),
        notes=found.notes,
        leak=_leak(found, zone),
        rule=rule,
        rule_name=_rule_name(found.evaluation),
        judged_by=_judged_by(found.evaluation),
        overall=None if found.overall is None else found.overall.word,
        below=_below(found, zone),
        waiting=waiting,
        estimate=_estimate(found, zone),
        fluid=fluid_lines(found, zone),
        suction=sucked,
        may_be_off=_walks(line.may_be_off, sucked),
        canister=canister(found, zone),
        charge=charge(found, zone),
        lasted=off_mains(found, zone),
        pain=pain_on_cough(found, zone),
        trend=trend(found, zone),
    )


def escalation(judged: Evaluation | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """To act on: what a recorded value fired, and what could be told before and no longer can. And what never could."""
    items, unseen = [], []
    for part in judged.escalation if judged is not None else ():
        name = part.id.replace("_", " ").replace("-", " ")
        if part.status is Status.MET:
            say = part.clause.say if part.clause is not None else ""
            items.append(f"{name}: {value_words(part)}. {say}".rstrip())
        elif part.status is Status.CANNOT_TELL and (part.timeline != Status.CANNOT_TELL).any():
            items.append(f"{name}: cannot tell any more, to be looked at")
        elif part.status is Status.CANNOT_TELL:
            unseen.append(name)
    return tuple(items), tuple(unseen)


def _live_until(found: Assessment) -> int | None:
    """When the last reading is older than the rule takes; None without a rule or a reading."""
    if found.evaluation is None or found.leak.at_ms is None:
        return None
    return found.leak.at_ms + round(1000 * found.evaluation.protocol.air_age_s)


def _leak(found: Assessment, zone: tzinfo) -> Said:
    leak = found.leak
    if found.leak_trace is None:
        return Said("▨", "cannot tell", "no log of air flow")
    if not_judged(found) is not None:
        return Said("–", "not judged", "air after pneumonectomy is shown and not judged")
    if leak.at_ms is None:
        return Said("▨", "cannot tell", "nothing recorded in the log")
    at = when(leak.at_ms, found.as_of_ms, zone)
    flow = flow_words(leak)
    if leak.state == "leaking":
        return Said(LEAK_SHAPES["leaking"], "leaking", f"{flow} at {at}")
    limit = limit_words(found, leak.limit)
    if leak.state == "quiet":
        said = f"recorded flow {flow} against {limit} at {at}"
        return Said(LEAK_SHAPES["quiet"], "below limit", said)
    if leak.out_of_date:
        return Said(LEAK_SHAPES["cannot_tell"], "cannot tell", f"nothing was recorded since {at}")
    why = REASON_WORDS[leak.reason] or f"{flow} straddles {limit}"
    return Said(LEAK_SHAPES["cannot_tell"], "cannot tell", f"{why}, at {at}")


def _below(found: Assessment, zone: tzinfo) -> Below | None:
    judged = found.evaluation
    if judged is None or judged.protocol.air_clause is None:
        return None
    run = next((part.run for part in judged.criteria if part.clause is judged.protocol.air_clause), None)
    if run is None:
        return None
    words = f"{format_span(run.seconds) if run.seconds else 'none'} of {format_span(run.needed_seconds)} below limit"
    if run.seconds > run.needed_seconds:
        words = f"{format_span(run.seconds)} below limit, past the {format_span(run.needed_seconds)} asked for"
    if run.seconds > 0:
        words += f", from {when(run.since_ms, found.as_of_ms, zone)}"
    if run.missing_minutes:
        words += f"; {format_span(60.0 * run.missing_minutes)} unknown in the span asked for"
    return Below(min(100, int(100 * run.seconds / run.needed_seconds)), words)


def _judged_by(judged: Evaluation | None) -> tuple[str, str, str] | None:
    return None if judged is None else (judged.protocol.name, judged.protocol.version, judged.protocol.sha256)


def _rule_name(judged: Evaluation | None) -> str:
    if judged is None:
        return "no rule is pinned to this drain"
    rule = judged.protocol
    return f"{rule.name} {rule.version}" + ("" if rule.status == "approved" else f" ({rule.status}, NOT APPROVED)")


def _rule(found: Assessment, zone: tzinfo) -> tuple[tuple[str, ...], Said]:
    """What it waits for, and its status in words; where only people are waited for, since when."""
    judged = found.evaluation
    if judged is None or found.overall is None:
        return (), Said("–", "none", "" if judged is None else "it has no removal clauses")
    shape, word = SHAPES[found.overall], found.overall.said
    if found.overall is Status.NOT_APPLICABLE:
        return (), Said(shape, word, "; ".join(judged.population.reasons))
    if found.overall in (Status.MET, Status.MET_WITH_GAPS):
        since = when(judged.met_since_ms, found.as_of_ms, zone) if judged.met_since_ms is not None else "not known when"
        return (), Said(shape, word, f"criteria {word} on recorded data since {since}")
    since_ms = _recorded_since(judged)
    if since_ms is None:
        return found.waiting_for, Said(shape, word)
    since = when(since_ms, found.as_of_ms, zone)
    people = f"{_people(judged)}; what the record settles has held since {since}"
    return found.waiting_for, Said(shape, f"{word}, {WAITS}", people)


def _is_peoples(part: Judged) -> bool:
    return part.id in _GUARDS or (part.clause is not None and part.clause.measure.kind in _BY_PEOPLE)


def _recorded_since(judged: Evaluation) -> int | None:
    """Since when all clauses but those that people look at have been met; None where one is not."""
    if judged.population.status is not Status.MET:
        return None
    parts = (*judged.criteria, *judged.guards)
    others = [part for part in parts if not _is_peoples(part)]
    since = [part.since_ms for part in others if part.status in (Status.MET, Status.MET_WITH_GAPS)]
    if any(part.status not in GOOD for part in others) or not since or None in since:
        return None
    return max(ms for ms in since if ms is not None)


def _people(judged: Evaluation) -> str:
    """The parts that people look at and that are not met, by name."""
    names = [
        _GUARDS.get(part.id) or (part.clause.measure_name.replace("_", " ") if part.clause is not None else part.id)
        for part in (*judged.criteria, *judged.guards)
        if _is_peoples(part) and part.status not in GOOD
    ]
    return ", ".join(dict.fromkeys(names)).replace("xray", "X-ray")


def _estimate(found: Assessment, zone: tzinfo) -> str:
    """When the recorded clauses are likely to hold, by the clock, or why that is withheld."""
    estimate = found.forecast
    if estimate is None or found.data_until_ms is None or found.overall in (Status.MET, Status.MET_WITH_GAPS):
        return ""
    whole = estimate.whole
    if whole.quantiles is None:
        return f"withheld: {whole.withheld_because}"
    first, last = whole.quantiles["q10"], whole.quantiles["q90"]
    if first is None:
        return f"not likely within {estimate.horizon_h:.0f} h"
    if last == 0:
        return "recorded clauses hold now"
    begins = when(found.data_until_ms + round(first * HOUR_MS), found.as_of_ms, zone)
    if last is None:
        return f"likely after {begins}, or over {estimate.horizon_h:.0f} h"
    return f"likely between {begins} and {when(found.data_until_ms + round(last * HOUR_MS), found.as_of_ms, zone)}"


def _tagged(line: RoundLine) -> RoundLine:
    """With the words that the round is filtered by."""
    leak = {"leaking": "leaking", "below limit": "below", "cannot tell": "cannot_tell", "not judged": "not_judged"}
    said = {
        "removed": bool(line.removed),
        "act": bool(line.items or line.ahead),
        "overdue": bool(line.overdue),
        "held": bool(line.holds),
        "walk": not line.removed and line.may_be_off.startswith(ALLOWED),
        "waiting": line.live and (line.rule.word in ("met", "met with gaps") or line.rule.word.endswith(WAITS)),
    }
    found = {word for word, so in said.items() if so}
    if not line.removed:
        stale = line.live_until_ms is not None and not line.live
        found.add("cannot_tell" if stale else leak[line.leak.word])
    return replace(line, statuses=frozenset(found))
