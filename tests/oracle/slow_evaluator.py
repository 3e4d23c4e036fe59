"""A second reading of docs/protocols.md, in plain slow loops, to hold the first one against.

One function a paragraph of that page. Nothing here is shared with the evaluator but the types. Bounds of
signals are counted in whole thousandths and limits are read from their text as fractions, so that a bound
that meets a limit meets it exactly.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import inf, isinf
from typing import Any

import numpy as np

from slackwater.protocol.facts import Amounts, Facts, Signal
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.status import Status
from slackwater.quantities.spans import MINUTE_MS
from slackwater.quantities.units import parse_quantity

MET, GAPS, UNKNOWN, NOT, NONE = (
    Status.MET,
    Status.MET_WITH_GAPS,
    Status.CANNOT_TELL,
    Status.NOT_MET,
    Status.NOT_APPLICABLE,
)
PNEUMONECTOMY = "pneumonectomy"
BREATHING = ("own", "high_flow", "niv_cpap", "invasive")
Number = Fraction | int | float  # a float only where it is infinite


@dataclass(frozen=True)
class Moment:
    """When a rule is judged, and how many whole minutes of the grid have ended by then."""

    ms: int
    minutes: int


def judge(protocol: Protocol, facts: Facts) -> dict[str, Any]:
    """Every status that `evaluate` gives, by name: now, and at the end of each minute of the grid."""
    ends = [Moment(facts.grid_start_ms + MINUTE_MS * minutes, minutes) for minutes in range(1, facts.length + 1)]
    now = Moment(facts.now_ms, facts.length)
    whole = [answers(protocol, facts, moment) for moment in [*ends, now]]
    only_those_that_stand(whole)
    timeline = [answer["overall"] for answer in whole[:-1]]
    return {
        **whole[-1],
        "timeline": timeline,
        "timelines": {
            block: {id_: [answer[block][id_] for answer in whole[:-1]] for id_ in whole[-1][block]}
            for block in ("criteria", "guards", "step_down", "escalation")
        },
        "first_met_ms": first_met(ends, timeline),
        "met_since_ms": met_since(ends, timeline, whole[-1]["overall"]),
    }


def only_those_that_stand(whole: list[dict[str, Any]]) -> None:
    """A veto that no longer stands is not listed; the others keep their numbers."""
    for id_ in [id_ for id_ in whole[-1]["guards"] if id_.startswith("veto_")]:
        if whole[-1]["guards"][id_] is NONE:
            for answer in whole:
                del answer["guards"][id_]


def answers(protocol: Protocol, facts: Facts, moment: Moment) -> dict[str, Any]:
    """The whole rule at one moment. Guards, vetoes and the population stand beside the removal clauses."""
    fits = population(protocol, facts)
    criteria = {c.id: judged(protocol, facts, c, moment, "removal", fits) for c in protocol.removal}
    steps = {c.id: judged(protocol, facts, c, moment, "step_down", fits) for c in protocol.step_down}
    alerts = {c.id: judged(protocol, facts, c, moment, "escalation", fits) for c in protocol.escalation}
    guards = {} if fits is NONE or no_verdict(facts) else guards_and_vetoes(protocol, facts, moment)
    return {
        "overall": together(criteria.values(), guards.values(), fits, no_verdict(facts)),
        "criteria": criteria,
        "guards": guards if protocol.removal else {},
        "step_down": steps,
        "step_down_overall": together(
            steps.values(), [s for id_, s in guards.items() if id_.startswith("veto_")], fits, no_verdict(facts)
        )
        if steps
        else None,
        "escalation": alerts,
    }


def together(clauses: Iterable[Status], guards: Iterable[Status], fits: Status, silent: bool) -> Status:
    """'All of' takes the lowest and passes over `not_applicable`."""
    clauses = list(clauses)
    if fits is NONE or silent or lowest(clauses) is NONE:
        return NONE
    return lowest([*clauses, *guards, fits])


def lowest(statuses: Iterable[Status]) -> Status:
    found = NONE
    for status in statuses:
        if status < found:
            found = status
    return found


def first_met(ends: Sequence[Moment], timeline: Sequence[Status]) -> int | None:
    """The end of the first minute at which the whole is met."""
    for moment, status in zip(ends, timeline, strict=True):
        if status is MET:
            return moment.ms
    return None


def met_since(ends: Sequence[Moment], timeline: Sequence[Status], overall: Status) -> int | None:
    """Where the whole is met (with gaps or without): the first minute's end of the stretch as good as now.

    None where the grid does not show it: the whole became met after the grid's last minute.
    """
    since = None
    if overall in (MET, GAPS):
        for moment, status in zip(reversed(ends), reversed(timeline), strict=True):
            if status not in (MET, overall):
                break
            since = moment.ms
    return since


# Whom it is for


def population(protocol: Protocol, facts: Facts) -> Status:
    """Outside `[applies]`: not_applicable. Something it asks about and nobody recorded: cannot_tell."""
    asks = protocol.applies
    about = facts.about
    inside = []
    if asks.indication:
        inside.append(word_in(about.get("indication"), asks.indication))
    if asks.spaces:
        inside.append(word_in(about.get("drain.space"), asks.spaces))
    age = about.get("patient.age_years")
    if asks.min_age_years is not None:
        inside.append(UNKNOWN if age is None else MET if float(age) >= asks.min_age_years else NOT)
    if asks.max_age_years is not None:
        inside.append(UNKNOWN if age is None else MET if float(age) <= asks.max_age_years else NOT)
    for word in asks.excludes:
        seen = about.get("breathing" if word in BREATHING else "operation.kind")
        inside.append(UNKNOWN if seen is None else NOT if seen == word else MET)
    for need in asks.needs:
        inside.append(UNKNOWN if about.get(need) is None else MET)
    found = lowest([MET, *inside])
    return NONE if found is NOT else found


def word_in(word: Any, listed: Sequence[str]) -> Status:
    return UNKNOWN if word is None else MET if word in listed else NOT


def no_verdict(facts: Facts) -> bool:
    """After pneumonectomy there is no air, removal or step-down verdict; escalation goes on."""
    return facts.about.get("operation.kind") == PNEUMONECTOMY


# How a clause is judged


def judged(protocol: Protocol, facts: Facts, clause: Clause, moment: Moment, block: str, fits: Status) -> Status:
    """One clause of one block at one moment. Escalation goes on, for whomever.

    `only_until`: afterwards the clause is not_applicable; while nobody recorded the event, nothing is met.
    """
    fires = block == "escalation"
    if not fires and (fits is NONE or no_verdict(facts)):
        return NONE
    answer = by_kind(protocol, facts, clause, moment, fires)
    if clause.only_until is not None:
        event, plus_s = clause.only_until
        last = last_event(facts, event, moment)
        if last is None:
            return answer if fires else lowest([answer, UNKNOWN])
        if moment.ms - last > plus_s * 1000:
            return NONE
    return answer


def by_kind(protocol: Protocol, facts: Facts, clause: Clause, moment: Moment, fires: bool) -> Status:
    kind = clause.measure.kind
    if kind == "signal":
        return aged(protocol, facts, clause, moment, signal(protocol, facts, clause, moment, fires), fires)
    if kind == "amount":
        return amount(protocol, facts, clause, moment, fires)
    if kind == "since":
        return hours_since(facts, clause, moment)
    return charted(protocol, facts, clause, moment, fires)


def last_event(facts: Facts, name: str, moment: Moment) -> int | None:
    found = None
    for instant in facts.events.get(name, ()):
        if instant <= moment.ms and (found is None or instant > found):
            found = instant
    return found


def data_age_ms(protocol: Protocol, clause: Clause) -> float:
    return 1000 * (protocol.data_age_s if clause.data_age_s is None else clause.data_age_s)


# Cells


def compare(
    how: str, low: Number, high: Number, limit: Number, top_open: bool = False, bottom_open: bool = False
) -> Status:
    """Met only if every true value in the cell passes, not_met only if none does."""
    if how == "below":
        every = high < limit or (high == limit and top_open)
        none = low >= limit
    elif how == "at_most":
        every = high <= limit
        none = low > limit or (low == limit and bottom_open)
    elif how == "at_least":
        every = low >= limit
        none = high < limit or (high == limit and top_open)
    else:
        every = low > limit or (low == limit and bottom_open)
        none = high <= limit
    return MET if every else NOT if none else UNKNOWN


def exact_limit(clause: Clause) -> Fraction:
    """The limit as written, in the internal unit."""
    dimension = clause.measure.dimension
    if clause.per_kg and "kg" in clause.limit_text:
        dimension = f"{dimension} per mass"
    return parse_quantity(clause.limit_text, dimension).value


def exact(value: float) -> Number:
    """The whole thousandths that a bound stands for."""
    return value if isinf(value) else Fraction(round(value * 1000), 1000)


# A signal


def signal(protocol: Protocol, facts: Facts, clause: Clause, moment: Moment, fires: bool) -> Status:
    recorded = facts.signals.get((clause.measure_name, clause.scope))
    if recorded is None:
        return heard(facts, clause, moment, spot(facts, clause, moment), None) if fires else spot(facts, clause, moment)
    if not fires and moment.ms == facts.now_ms and (read_since(facts, clause) or logged_since(facts, clause, recorded)):
        return NOT
    if clause.lasting_s is not None:
        answer = lasting(protocol, facts, clause, recorded, moment, fires)
        if fires and answer is NOT and moment.ms == facts.now_ms and may_have_lasted(protocol, facts, clause, recorded):
            return UNKNOWN
        return answer
    answer = within(protocol, facts, clause, recorded, moment, fires)
    if not fires:
        return answer
    window_ms = MINUTE_MS * (moment.minutes - (clause.bin_min or 1)) + facts.grid_start_ms
    return heard(facts, clause, moment, answer, window_ms)


def heard(facts: Facts, clause: Clause, moment: Moment, answer: Status, window_ms: int | None) -> Status:
    """An escalation by the latest value, with the readings charted: one fires it unless something since denies it."""
    read = spot_readings(facts, clause, moment.ms - looks_back_ms(clause), moment.ms)
    firing = [ms for ms, told in read if told is MET]
    if clause.lasting_s is not None or not firing or answer is MET:
        return answer
    log_since = answer is NOT and window_ms is not None and max(firing) < window_ms
    if clause.bin_min is not None or log_since or read[-1][0] > max(firing):
        return UNKNOWN
    return MET


def may_have_lasted(protocol: Protocol, facts: Facts, clause: Clause, recorded: Signal) -> bool:
    """It may have begun `lasting` ago: neither a window that denies it nor a connection or restart lies since."""
    assert clause.lasting_s is not None
    log_end = facts.grid_start_ms + facts.length * MINUTE_MS
    begin = facts.grid_start_ms - 400 * 24 * 60 * MINUTE_MS
    instants = [instant for name in protocol.restart_on for instant in facts.events.get(name, ()) if instant <= log_end]
    if facts.connected_ms is not None:
        instants.append(facts.connected_ms)
    for instant in instants:  # from the next whole minute on
        begin = max(begin, facts.grid_start_ms - (facts.grid_start_ms - instant) // MINUTE_MS * MINUTE_MS)
    begin = min(begin, log_end)
    for first in range(facts.length - (clause.bin_min or 1) + 1):
        start = facts.grid_start_ms + first * MINUTE_MS
        if start >= begin and remembered(clause, recorded, first) is NOT:
            begin = start + MINUTE_MS
    return facts.now_ms - begin >= clause.lasting_s * 1000


def spot_readings(facts: Facts, clause: Clause, from_ms: int, until_ms: int) -> list[tuple[int, Status]]:
    """What staff read off the unit in (from, until], each held against the limit."""
    seen = facts.sightings.get(("air_leak_read", clause.scope), ())
    seen = tuple(one for one in seen if from_ms < one.time_ms <= until_ms and not one.conflict)
    limit = exact_limit(clause) if seen else 0
    return [(one.time_ms, compare(clause.comparison, exact(one.low), exact(one.high), limit)) for one in seen]


def looks_back_ms(clause: Clause) -> int:
    back_s = clause.within_s if clause.lasting_s is None else clause.lasting_s
    assert back_s is not None
    return round(back_s * 1000)


def spot(facts: Facts, clause: Clause, moment: Moment) -> Status:
    """Without a log: a reading outside the limit, as long as the clause looks back; for `within` only the last."""
    read = spot_readings(facts, clause, moment.ms - looks_back_ms(clause), moment.ms)
    if clause.lasting_s is None:
        read = [one for one in read if one[0] == read[-1][0]]
    return NOT if any(told is NOT for _, told in read) else UNKNOWN


def read_since(facts: Facts, clause: Clause) -> bool:
    """A reading outside the limit after the log's last minute, in the time asked about."""
    log_end = facts.grid_start_ms + facts.length * MINUTE_MS
    read = spot_readings(facts, clause, max(log_end, facts.now_ms - looks_back_ms(clause)), facts.now_ms)
    return any(told is NOT for _, told in read)


def logged_since(facts: Facts, clause: Clause, recorded: Signal) -> bool:
    """Where every reading counts: one outside the limit in the minute that the log has begun."""
    seen = facts.unfinished.get((clause.measure_name, clause.scope))
    if seen is None or clause.bin_min is not None or facts.data_until_ms is None:
        return False
    if clause.within_s is not None and facts.data_until_ms <= facts.now_ms - round(clause.within_s * 1000):
        return False
    largest, smallest = exact(seen[0]), exact(seen[1])
    low, high = (largest, inf) if clause.comparison in ("below", "at_most") else (Fraction(0), smallest)
    limit = exact_limit(clause)
    return compare(clause.comparison, low, high, limit, recorded.top_open, recorded.bottom_open) is NOT


def read_outside(facts: Facts, clause: Clause, minute: int) -> bool:
    """A reading outside the limit was charted in this minute."""
    begin = facts.grid_start_ms + minute * MINUTE_MS
    return any(told is NOT for _, told in spot_readings(facts, clause, begin - 1, begin + MINUTE_MS - 1))


def window_answer(clause: Clause, recorded: Signal, first: int, leave_out: Facts | None = None) -> Status:
    """The window that begins with minute `first`, by its minutes' bounds; with `leave_out`, less its gaps."""
    size = clause.bin_min or 1
    low: Number = 0
    high: Number = 0
    held = 0
    for minute in range(first, first + size):
        known = bool(recorded.known[minute])
        may_go = not known and bool(recorded.tolerable[minute]) and not exceeds(clause, recorded, minute)
        if leave_out is not None and may_go and not read_outside(leave_out, clause, minute):
            continue
        minute_low, minute_high = bounds(clause, recorded, minute)
        low = low + thousandths(minute_low)
        high = high + (thousandths(minute_high) if known else inf)
        held += 1
    if not held:
        return MET
    limit = exact_limit(clause) * 1000 * held
    plain = limit.numerator if limit.denominator == 1 else limit
    return compare(clause.comparison, low, high, plain, recorded.top_open, recorded.bottom_open)


def exceeds(clause: Clause, recorded: Signal, minute: int) -> bool:
    """Something recorded in the minute lies on the wrong side of the limit for certain."""
    limit = exact_limit(clause)
    if clause.comparison in ("below", "at_most"):
        return float(recorded.peak_low[minute]) >= float(limit)
    top = float(recorded.trough_high[minute])
    return not isinf(top) and top <= float(limit)


def thousandths(value: float) -> Number:
    return value if isinf(value) else round(value * 1000)


def bounds(clause: Clause, recorded: Signal, minute: int) -> tuple[float, float]:
    """With a bin: the mean. Without: the largest reading for `below` and `at_most`, else the smallest."""
    if clause.bin_min is not None:
        return float(recorded.mean_low[minute]), float(recorded.mean_high[minute])
    if clause.comparison in ("below", "at_most"):
        return float(recorded.peak_low[minute]), float(recorded.peak_high[minute])
    return float(recorded.trough_low[minute]), float(recorded.trough_high[minute])


_ANSWERS: dict[tuple[int, int, int, bool], tuple[Any, Any, Status]] = {}


def remembered(clause: Clause, recorded: Signal, first: int, leave_out: Facts | None = None) -> Status:
    """`window_answer`, worked out once a window: it does not depend on when one asks."""
    key = (id(clause), id(recorded), first, leave_out is not None)
    found = _ANSWERS.get(key)
    if found is None or found[0] is not clause or found[1] is not recorded:
        if len(_ANSWERS) > 20_000:
            _ANSWERS.clear()
        found = (clause, recorded, window_answer(clause, recorded, first, leave_out))
        _ANSWERS[key] = found
    return found[2]


def lasting(protocol: Protocol, facts: Facts, clause: Clause, recorded: Signal, moment: Moment, fires: bool) -> Status:
    """Judged on all windows that lie wholly inside the last `lasting`."""
    assert clause.lasting_s is not None
    needed = round(clause.lasting_s / 60)
    end_ms = facts.grid_start_ms + moment.minutes * MINUTE_MS
    if broken(protocol, facts, end_ms, needed * MINUTE_MS):
        return NOT
    if not fires and moment.ms == facts.now_ms and restarted_since(protocol, facts):
        return NOT
    size = clause.bin_min or 1
    begin = moment.minutes - needed  # below zero: earlier than the record
    windows = range(max(begin, 0), moment.minutes - size + 1)
    seen = [remembered(clause, recorded, first) for first in windows]
    if NOT in seen:
        return NOT
    too_coarse = coarse(protocol, clause, recorded) and not fires
    long_enough = begin >= 0 and len(seen) > 0
    if not long_enough or too_coarse:
        return UNKNOWN
    if UNKNOWN not in seen:
        return MET
    return with_gaps(protocol, facts, clause, recorded, begin, windows, fires)


def broken(protocol: Protocol, facts: Facts, end_ms: int, needed_ms: int) -> bool:
    """Connected, or restarted, less than `lasting` ago."""
    if facts.connected_ms is not None and end_ms - facts.connected_ms < needed_ms:
        return True
    for name in protocol.restart_on:
        for instant in facts.events.get(name, ()):
            if instant <= end_ms and end_ms - instant < needed_ms:
                return True
    return False


def restarted_since(protocol: Protocol, facts: Facts) -> bool:
    """A restart after the log's end, by now."""
    end_ms = facts.grid_start_ms + facts.length * MINUTE_MS
    return any(end_ms < t <= facts.now_ms for name in protocol.restart_on for t in facts.events.get(name, ()))


def coarse(protocol: Protocol, clause: Clause, recorded: Signal) -> bool:
    """A reading that stands for more than the clause looks at: a minute, or the bin."""
    if clause.bin_min is None:
        return recorded.reading_s > 60 and not protocol.coarse_means
    return recorded.reading_s > 60 * clause.bin_min


def with_gaps(
    protocol: Protocol, facts: Facts, clause: Clause, recorded: Signal, begin: int, windows: range, fires: bool
) -> Status:
    """Judged again with the missing minutes left out of every mean; gaps never quiet an escalation."""
    if protocol.gaps_s <= 0 or fires:
        return UNKNOWN
    assert clause.lasting_s is not None
    unknown = 0
    for minute in range(begin, begin + round(clause.lasting_s / 60)):
        if not recorded.known[minute]:
            unknown += 1
    if unknown * 60 > protocol.gaps_s:
        return UNKNOWN
    for first in windows:
        if remembered(clause, recorded, first, facts) is not MET:
            return UNKNOWN
    return GAPS


def within(protocol: Protocol, facts: Facts, clause: Clause, recorded: Signal, moment: Moment, fires: bool) -> Status:
    """The last window decides, if it began after the last restart and ended less than `within` ago."""
    assert clause.within_s is not None
    size = clause.bin_min or 1
    ended_ms = facts.grid_start_ms + moment.minutes * MINUTE_MS
    if moment.minutes < size or moment.ms - ended_ms >= clause.within_s * 1000:
        return UNKNOWN
    answer = remembered(clause, recorded, moment.minutes - size)
    if fires or answer is not MET:
        return answer
    if moment.ms == facts.now_ms and restarted_since(protocol, facts):
        return UNKNOWN
    return UNKNOWN if broken(protocol, facts, ended_ms, size * MINUTE_MS) or coarse(protocol, clause, recorded) else MET


def aged(protocol: Protocol, facts: Facts, clause: Clause, moment: Moment, status: Status, fires: bool) -> Status:
    """Where the log's last row is older than `data_age`, nothing is met; escalation is never quieted."""
    if fires or status not in (MET, GAPS):
        return status
    if facts.data_until_ms is None:
        return UNKNOWN
    return UNKNOWN if moment.ms - facts.data_until_ms > data_age_ms(protocol, clause) else status


# An amount


def amount(
    protocol: Protocol, facts: Facts, clause: Clause, moment: Moment, fires: bool, at_entry: bool = False
) -> Status:
    """Summed over `within`, that many windows in a row, each of which must pass."""
    assert clause.within_s is not None
    amounts = facts.amounts.get((clause.measure_name, clause.scope))
    if amounts is None:
        return UNKNOWN
    limit: Fraction = exact_limit(clause)
    if clause.per_kg:
        if facts.weight_kg is None:
            return UNKNOWN
        limit = limit * Fraction(str(facts.weight_kg))
    window_ms = round(clause.within_s * 1000)
    if fires and not at_entry:  # what fired at an entry goes on for as long as its own window
        for instant in amounts.entry_ends_ms.tolist():
            if instant <= moment.ms <= instant + window_ms:
                then = replace(moment, ms=instant)
                if amount(protocol, facts, clause, then, True, at_entry=True) is MET:
                    return MET
    fresh_ms = max(window_ms if fires else 0, data_age_ms(protocol, clause))
    last = last_entry(amounts, moment)
    end = last if last is not None and moment.ms - last <= fresh_ms else moment.ms
    times = 1 if clause.lasting_s is None else round(clause.lasting_s / clause.within_s)
    seen = []
    for back in range(times):
        until = end - back * window_ms
        low, high = amounts.totals(np.array([until], dtype=np.int64), window_ms)
        covered = last is not None and until <= last  # looking backwards only: later entries are not known yet
        seen.append(compare(clause.comparison, exact(float(low[0])), exact(float(high[0])) if covered else inf, limit))
    return lowest(seen)


def last_entry(amounts: Amounts, moment: Moment) -> int | None:
    found = None
    for instant in amounts.entry_ends_ms.tolist():
        if instant <= moment.ms:
            found = instant
    return found


# A number or word charted at moments


def charted(protocol: Protocol, facts: Facts, clause: Clause, moment: Moment, fires: bool) -> Status:
    """The latest entry not older than `within` and, with `after`, not before the last such event, decides."""
    oldest_ms = data_age_ms(protocol, clause) if clause.within_s is None else clause.within_s * 1000
    not_before = None if clause.after is None else last_event(facts, clause.after, moment)
    known = [e for e in facts.sightings.get((clause.measure_name, clause.scope), ()) if e.time_ms <= moment.ms]
    if not_before is not None:
        known = [entry for entry in known if entry.time_ms >= not_before]
    if known and clause.comparison == "none_of" and not fires and moment.ms - known[-1].time_ms <= oldest_ms:
        looked_from = known[-1].time_ms  # looking back from the latest entry
    else:
        looked_from = moment.ms
    entries = [entry for entry in known if looked_from - entry.time_ms <= oldest_ms]
    listed = any(entry.word in clause.words for entry in entries if entry.word is not None)
    if clause.comparison == "none_of" and listed:
        return NOT
    if clause.comparison == "one_of" and fires and listed:
        return MET
    searched = clause.comparison == "none_of" or (clause.comparison == "one_of" and fires)
    if not entries or (searched and any(entry.conflict for entry in entries)):
        return UNKNOWN
    latest = entries[-1]
    if latest.conflict or latest.word in clause.measure.pending:
        return UNKNOWN
    if clause.comparison == "none_of":
        return MET
    if clause.comparison in ("one_of", "shown"):
        return MET if latest.word in clause.words else NOT
    return compare(clause.comparison, exact(latest.low), exact(latest.high), exact_limit(clause))


def hours_since(facts: Facts, clause: Clause, moment: Moment) -> Status:
    """Counted from the last event named by `of`; an event not recorded cannot be told."""
    assert clause.of is not None
    last = last_event(facts, clause.of, moment)
    if last is None:
        return UNKNOWN
    passed = Fraction(moment.ms - last, 1000)
    return compare(clause.comparison, passed, passed, exact_limit(clause))


# The guards


def guards_and_vetoes(protocol: Protocol, facts: Facts, moment: Moment) -> dict[str, Status]:
    found = {}
    if protocol.tube_open is not None:
        found["tube_open"] = tube_open(protocol, facts, moment)
    if protocol.effort_seen is not None:
        found["effort_seen"] = effort_seen(protocol, facts, moment)
    for number, veto in enumerate(facts.vetoes, start=1):
        stands = veto.from_ms <= moment.ms and (veto.until_ms is None or moment.ms < veto.until_ms)
        found[f"veto_{number}"] = UNKNOWN if stands else NONE
    return found


def tube_open(protocol: Protocol, facts: Facts, moment: Moment) -> Status:
    """Shown open near the end of the data and, if the rule asks, near the start of the run."""
    guard = protocol.tube_open
    assert guard is not None
    shown = []
    for way in guard.by:
        for instant in facts.shown_open.get(way, ()):
            if int(instant) <= moment.ms:
                shown.append(int(instant))
    shut = [int(instant) for instant in facts.shown_shut if int(instant) <= moment.ms]
    if shut and (not shown or max(shut) > max(shown)):
        return NOT
    end = facts.grid_start_ms + moment.minutes * MINUTE_MS  # the end of the data as known at that moment
    if facts.data_until_ms is None:  # without a log: then
        end = moment.ms
    elif moment.ms == facts.now_ms:  # the last row may lie in a minute that is not whole
        end = min(facts.data_until_ms, facts.now_ms)
    reach = guard.within_s * 1000
    at_end = any(end - reach < instant for instant in shown)  # charted after the log's end counts too
    at_start = True
    runs = [c.lasting_s for c in protocol.removal if c.measure_name == "air_leak" and c.lasting_s is not None]
    if guard.also_at_start and runs:
        begin = end - max(runs) * 1000
        at_start = any(begin < instant <= begin + reach for instant in shown)
    return MET if at_end and at_start else UNKNOWN


def shut_at(protocol: Protocol, facts: Facts, ms: int) -> bool:
    """Shown shut by then, and not shown open since by a way that counts: a cough tells nothing."""
    if protocol.tube_open is None:
        return False
    shut = max((int(at) for at in facts.shown_shut if int(at) <= ms), default=None)
    if shut is None:
        return False
    return all(not shut <= int(at) <= ms for way in protocol.tube_open.by for at in facts.shown_open.get(way, ()))


def effort_seen(protocol: Protocol, facts: Facts, moment: Moment) -> Status:
    """A leak once seen with effort must have been tried again, and not seen."""
    guard = protocol.effort_seen
    assert guard is not None
    tries = [effort for effort in facts.tries if effort.time_ms <= moment.ms]
    leaks = [effort.time_ms for effort in tries if effort.seen is True]
    clears = [
        effort.time_ms for effort in tries if effort.seen is False and not shut_at(protocol, facts, effort.time_ms)
    ]
    untold = [effort.time_ms for effort in tries if effort.seen is None]
    if not leaks and not untold:
        return NONE
    reach = guard.within_s * 1000
    if leaks and max(leaks) >= max(clears, default=max(leaks)) and moment.ms - max(leaks) <= reach:
        return NOT
    if clears and max(clears) > max(leaks + untold) and moment.ms - max(clears) <= reach:
        return MET
    return UNKNOWN
