"""The one call: log, chart, episode, rule and moment in; everything concluded out. Pure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from slackwater.assessment import cautions
from slackwater.assessment.assessment import Assessment, LeakNow, last_minute
from slackwater.assessment.document import stamp
from slackwater.assessment.due import due_items
from slackwater.assessment.facts import contradiction_notes, facts_of, unit_notes
from slackwater.assessment.warnings import warnings
from slackwater.episode.chart import known_at
from slackwater.episode.space import drains_not_placed, entries_for, not_placed
from slackwater.episode.types import Chart, Episode
from slackwater.errors import UsageError
from slackwater.leak.filter.model import FilterModel
from slackwater.leak.state import LeakTrace, leak_trace
from slackwater.leak.words import REASONS, STATES
from slackwater.protocol.evaluate import evaluate
from slackwater.protocol.evaluation import Evaluation
from slackwater.protocol.facts import Facts
from slackwater.protocol.rule import Protocol
from slackwater.protocol.status import Status
from slackwater.quantities.spans import DAY_MS, MINUTE_MS
from slackwater.reading.log import Ledger, Log
from slackwater.trace.join import place
from slackwater.trace.minutes import minutes
from slackwater.trace.types import Trace

NOTHING = Ledger(0, 0, 0)
LONGEST_MS = 400 * DAY_MS
LATEST_S = 900.0  # where no rule says so: a reading older than this is not the leak now. Ours


def assess(
    logs: Sequence[Log] = (),
    *,
    chart: Chart | None = None,
    episode: Episode | None = None,
    protocol: Protocol | None = None,
    now_ms: int | None = None,
    zone: str = "UTC",
    model: FilterModel | None = None,
) -> Assessment:
    """Judge one drain at one moment, from what was known then.

    `logs`: one drain's logs in any order, overlapping or not. `now_ms`: UTC ms; None means the end of
    the last reading (or the last charted entry). Rows and entries later than that are left out, as if
    they had not been received. `model`: the leak filter's numbers, if a unit has learnt its own.
    Raises UsageError where there is nothing to judge.
    """
    episode = episode or Episode()
    given = logs
    logs = [since_connection(log, episode.connected_at) for log in logs]
    chart = chart or Chart()
    given_now = now_ms
    full = place(logs) if logs else None
    if now_ms is None:
        now_ms = full.data_until_ms if full is not None else max((e.recorded for e in chart.entries), default=None)
    if now_ms is None:
        raise UsageError("neither a log nor a chart: there is nothing to judge", mend="Give a log, or --chart FILE.")
    trace = full
    if full is not None and full.data_until_ms > now_ms:
        trace = _as_known(logs, now_ms)
    later = _later_entries(chart, now_ms, given_now is None)
    chart = known_at(chart, now_ms)
    leak = _leak(trace, chart, episode, protocol, now_ms, model)
    if leak is None and chart.entries and now_ms - chart.entries[0].time > LONGEST_MS:
        raise UsageError(
            "the chart spans more than 400 days", where=chart.name, mend="Mend the wrong year in its times, or --at."
        )
    facts = facts_of(episode, chart, trace, leak, now_ms, guards_waived=protocol is not None and protocol.guards_waived)
    evaluation = evaluate(protocol, facts) if protocol is not None else None
    return Assessment(
        as_of_ms=now_ms,
        as_of_last_reading=given_now is None,
        data_until_ms=facts.data_until_ms,
        episode=episode,
        chart=chart,
        trace=trace,
        leak_trace=leak,
        facts=facts,
        evaluation=evaluation,
        leak=_leak_now(None if episode.operation_kind == "pneumonectomy" else leak, facts, protocol),
        waiting_for=_waiting_for(evaluation),
        schedule=due_items(protocol, chart, episode, facts.events, now_ms),
        ledger=trace.ledger if trace is not None else NOTHING,
        cautions=_cautions(protocol, trace, facts, now_ms, given_now is None),
        zone=zone,
        model=model,
        later_entries=bool(later),
        warnings=warnings(episode, entries_for(chart, "drain", episode), leak),
        notes=(
            *later,
            *_about_episode(episode),
            *unit_notes(leak),
            *contradiction_notes(leak),
            *_sparse(trace),
            *_unplaced(chart, episode),
            *_left_out(logs, given),
            *_nothing_yet(full, trace),
            *_all_before(full, episode.connected_at),
        ),
    )


def _later_entries(whole: Chart, now_ms: int, last_reading: bool) -> tuple[str, ...]:
    """Where nobody named a time: what staff charted after the last reading is not in the answer, and is said."""
    later = [entry for entry in whole.entries if entry.recorded > now_ms]
    if not last_reading or not later:
        return ()
    first = later[0]
    rows = f"{len(later)} chart row{'s' if len(later) > 1 else ''}"
    what = f"line {first.line}: {first.item} {first.text}"
    return (f"{rows} after the last reading ({what}), not in this answer: ask with --at",)


def _about_episode(episode: Episode) -> tuple[str, ...]:
    """What nobody recorded of the drain, and an answer depends on."""
    if episode == Episode():
        return ("no episode was given: who the patient is and what was done are not known",)
    if not episode.shares_space_told:
        return ("whether another drain shares this space or unit is not recorded: taken as alone",)
    return ()


def _sparse(trace: Trace | None) -> tuple[str, ...]:
    """Rows that cover little of their own span: day and month exchanged look so."""
    if trace is None:
        return ()
    span = int(trace.end_ms[-1] - trace.start_ms[0])
    covered = int((trace.end_ms - trace.start_ms).sum())
    if span < 2 * DAY_MS or covered > 0.25 * span:
        return ()
    return (f"CHECK THE DATES: the rows cover {covered / DAY_MS:.1f} of {span / DAY_MS:.1f} days",)


def _nothing_yet(full: Trace | None, trace: Trace | None) -> tuple[str, ...]:
    if full is None or trace is not None:
        return ()
    return (f"the log begins at {stamp(int(full.start_ms[0]))}, after the time asked about: none of its rows is used",)


def _all_before(full: Trace | None, connected_ms: int | None) -> tuple[str, ...]:
    if full is None or connected_ms is None or full.data_until_ms > connected_ms:
        return ()
    return (f"the log ends at {stamp(full.data_until_ms)}, before the drain was connected: none of its rows is used",)


def since_connection(log: Log, connected_ms: int | None) -> Log:
    """The rows of this drain: none that had ended when it was connected, which may be the last patient's."""
    if connected_ms is None:
        return log
    ends = log.time_ms if log.marks == "end" else log.time_ms + log.every_ms
    keep = ends > connected_ms
    return log if bool(keep.all()) or not bool(keep.any()) else log.only(keep)


def _left_out(logs: Sequence[Log], given: Sequence[Log]) -> tuple[str, ...]:
    rows = sum(len(log.time_ms) for log in given) - sum(len(log.time_ms) for log in logs)
    return (f"{rows} row{'s' if rows > 1 else ''} from before the connection left out",) if rows else ()


def _unplaced(chart: Chart, episode: Episode) -> tuple[str, ...]:
    """Rows that name no drain while several are known: shown, counted for none."""
    rows = not_placed(chart, episode)
    if not rows:
        return ()
    lines = ", ".join(str(entry.line) for entry in rows[:8]) + (" ..." if len(rows) > 8 else "")
    return (f"chart lines {lines} name no drain while several are known: counted for none",)


def _as_known(logs: Sequence[Log], now_ms: int) -> Trace | None:
    """The trace as it stood at `now_ms`; None if no row had ended by then."""
    if all(int(log.time_ms.min()) > now_ms for log in logs if len(log.time_ms)):
        return None
    trace = place(logs, until_ms=now_ms)
    return trace if len(trace.start_ms) else None


def _leak(
    trace: Trace | None,
    chart: Chart,
    episode: Episode,
    protocol: Protocol | None,
    now_ms: int,
    model: FilterModel | None,
) -> LeakTrace | None:
    if trace is None:
        return None
    first = int(trace.start_ms[0])
    start = episode.connected_at if episode.connected_at is not None else first
    end = max(now_ms, start + MINUTE_MS)
    air = protocol.air_clause if protocol is not None else None
    others = drains_not_placed(episode, chart)
    if end - start > LONGEST_MS:  # a wrong year would ask for more minutes than there is memory
        raise UsageError(
            f"from {stamp(start)} to {stamp(end)} are {(end - start) // DAY_MS} days: no drain stays so long",
            where="the log's stamps, drain.connected_at or --at",
            mend="Mend the wrong year, or leave the row out.",
        )
    return leak_trace(
        trace, minutes(trace, start, end), entries_for(chart, "drain", episode), episode,
        air.limit if air is not None else None, other_drains=bool(others), model=model,
    )  # fmt: skip


def _leak_now(leak: LeakTrace | None, facts: Facts, protocol: Protocol | None) -> LeakNow:
    k = last_minute(leak, facts.length)
    if leak is None or k is None:
        return LeakNow("cannot_tell", None, None, None, None, None, None, "missing", None)
    end = leak.minutes.start_ms + (k + 1) * MINUTE_MS

    def number(value: float) -> float | None:
        return float(value) if np.isfinite(value) else None

    if facts.now_ms - end > 1000 * (LATEST_S if protocol is None else protocol.air_age_s):
        return LeakNow("cannot_tell", None, leak.limit_ml_per_min, None, None, None, leak.pattern.word, "missing", end,
                       leak.pattern.sentence, out_of_date=True)  # fmt: skip
    told = number(leak.p_leaking[k]) is not None
    low, high = float(leak.minutes.flow_low[k]), float(leak.minutes.flow_high[k])
    mid = min(max(float(leak.minutes.flow[k]), low), high)  # the mean as printed may lie below zero, no leak does
    return LeakNow(
        STATES[leak.state[k]], number(leak.p_leaking[k]), leak.limit_ml_per_min,
        number(low) if told else None, number(mid) if told else None,
        number(high) if told else None, leak.pattern.word, REASONS[leak.reason[k]], end,
        leak.pattern.sentence,
    )  # fmt: skip


def _waiting_for(evaluation: Evaluation | None) -> tuple[str, ...]:
    """What the rule still waits for, in the order of the file; guards after clauses."""
    if evaluation is None or not evaluation.protocol.removal:
        return ()
    if evaluation.population.status is Status.NOT_APPLICABLE:
        return ()
    wanted = list(evaluation.population.reasons)
    for part in (*evaluation.criteria, *evaluation.guards):
        if part.status in (Status.NOT_MET, Status.CANNOT_TELL):
            wanted += [need.what for need in part.needs[:1]] or [part.note or part.id]
    return tuple(dict.fromkeys(wanted))


def _cautions(
    protocol: Protocol | None, trace: Trace | None, facts: Facts, now_ms: int, last_reading: bool
) -> tuple[cautions.Caution, ...]:
    found = [
        cautions.RIGHT_DRAIN,
        cautions.OTHER_CAUSES,
        cautions.SUPPORT_ONLY,
        cautions.NOT_AN_ALARM,
        cautions.ABSENCE,
    ]
    found.append(cautions.freshness(facts.data_until_ms, now_ms, last_reading))
    if protocol is not None:
        found.append(
            cautions.rule_in_force(
                protocol.name,
                protocol.version,
                protocol.sha256,
                protocol.status,
                protocol.approved_by,
                protocol.guards_waived,
            )
        )
    if trace is not None:
        coarsest = max(trace.logs, key=lambda log: log.flow_step_ul_per_min)
        found.append(
            cautions.measurement(coarsest.flow_step_ul_per_min / 1000, coarsest.flow_step_declared, coarsest.rounding)
        )
    if protocol is not None and protocol.removal and trace is not None:
        found.append(cautions.FORECAST)
    return (*found, cautions.OUT_OF_SCOPE, cautions.STATUS)
