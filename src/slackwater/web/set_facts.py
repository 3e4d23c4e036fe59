"""What a charting page shows beside its questions, worked out by the judges: what the unit measured, sums, score, due.

Each function here runs in a judge's process: `await judges.ask(function, asked)`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import tzinfo

import numpy as np

from slackwater.assessment.assessment import Assessment, last_minute
from slackwater.assessment.due import score_sets
from slackwater.episode.chart import chart_of
from slackwater.episode.fluid import FluidRecord, fluid_intervals, total_over_drains
from slackwater.episode.fluid.record import Instilled
from slackwater.episode.instants import read_zone
from slackwater.episode.space import drains_known, drains_of_space, entries_for, this_drain
from slackwater.episode.typed import Typed, entry_of
from slackwater.episode.types import Chart, Entry, Episode
from slackwater.quantities.spans import DAY_MS, HOUR_MS, MINUTE_MS, format_span
from slackwater.report.fluid import fluid_record
from slackwater.report.round_facts import charge, fluid_lines, suction, when
from slackwater.report.sentences import flow_words
from slackwater.report.words import REASON_WORDS, bounds
from slackwater.risk.early_warning import CAUTION, SOURCE, VERIFIED
from slackwater.store.course import Course
from slackwater.store.read_out import episode_of
from slackwater.web.judges import Asked

LEAKED_MS = 30 * MINUTE_MS  # how far back a leak is told of before a clamp (ours, as in warnings.py)
HOURS = (1, 2, 4, 24)  # the sums that a ward asks for (common practice, no source)
EYES = ("swing", "tube_open", "tubing", "bubbling", "site", "air_leak_read", "length_at_skin")


@dataclass(frozen=True)
class Told(Asked):
    """Rows as typed, not yet recorded: they count in what is shown."""

    rows: tuple[Typed, ...] = ()
    at_ms: int = 0


@dataclass(frozen=True)
class Measured:
    """One thing that the unit measured, with when."""

    what: str
    value: str
    when: str


@dataclass(frozen=True)
class SetFacts:
    """live: the log is fresh. counted: the unit counts the fluid. leaked: air leaked lately, in words (else '')."""

    measured: tuple[Measured, ...] = ()
    old: str = ""
    live: bool = False
    counted: bool = False
    ordered: str = "not recorded"
    delivered_cmh2o: float | None = None
    leaked: str = ""


@dataclass(frozen=True)
class Sum:
    span: str
    amount: str


@dataclass(frozen=True)
class Sums:
    """What drained by space in the hours that end with what is typed."""

    whose: str
    until: str
    lines: tuple[Sum, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Score:
    """The early-warning score by its paper. `caution`: empty once its weights were checked."""

    answer: str
    parts: tuple[tuple[str, int], ...]
    when: str
    source: str = SOURCE
    caution: str = "" if VERIFIED else CAUTION


# --- what the unit measured -----------------------------------------------------------------------


def set_facts(course: Course, found: Assessment | None, asked: Asked) -> SetFacts:
    """What the log says now, and since the last set."""
    if found is None:
        return SetFacts()
    zone = read_zone(asked.zone_name)
    level = suction(found, zone)
    counted = fluid_record(found).source == "counter"
    leak, last = found.leak_trace, last_minute(found.leak_trace, found.facts.length)
    if leak is None or last is None or found.leak.at_ms is None:
        return SetFacts(ordered=level.ordered, counted=counted)
    at_ms = found.leak.at_ms
    when_ = when(at_ms, asked.now_ms, zone)
    if found.leak.out_of_date:
        old = f"The unit's log ends at {when_}, {format_span((asked.now_ms - at_ms) / 1000)} ago."
        return SetFacts(old=old, ordered=level.ordered, counted=counted)
    measured = [Measured("Air flow", _flow(found), when_), *_largest(course, found, zone)]
    measured.append(Measured("Suction delivered", level.delivered, when_))
    if counted:
        measured.append(Measured("Fluid by its counter", "; ".join(fluid_lines(found, zone)[:-1]), when_))
    power = charge(found, zone)
    if power != "not recorded":
        measured.append(Measured("Battery and mains", power, ""))
    if level.note:
        measured.append(Measured("Setting", level.note, when_))
    pressure = float(leak.minutes.pressure[last])
    return SetFacts(
        tuple(measured), live=True, counted=counted, ordered=level.ordered,
        delivered_cmh2o=pressure if math.isfinite(pressure) else None, leaked=_leaked(found, asked.now_ms, zone),
    )  # fmt: skip


def _flow(found: Assessment) -> str:
    """Bounds of the recorded flow, and why it may not be believed."""
    leak = found.leak
    if leak.low is None or leak.high is None:
        why = REASON_WORDS[leak.reason]
        return f"cannot tell: {why}" if why else "cannot tell"
    text = flow_words(leak)
    return f"{text}; cannot be relied on: {REASON_WORDS[leak.reason]}" if leak.reason else text


def _largest(course: Course, found: Assessment, zone: tzinfo) -> list[Measured]:
    """The largest reading since the last set; without one, of the last day."""
    leak, last = found.leak_trace, last_minute(found.leak_trace, found.facts.length)
    assert leak is not None and last is not None
    sets = [one["time_ms"] for one in course.entries if one["item"] in EYES and one["drain"] == course.drain["number"]]
    sets = [ms for ms in sets if ms <= found.as_of_ms]
    since = max(sets) if sets else found.as_of_ms - DAY_MS
    first = max(0, (since - leak.minutes.start_ms) // MINUTE_MS)
    part = leak.minutes.flow_max[first : last + 1]
    what = "Largest since the last set" if sets else "Largest of the last day"
    if not np.isfinite(part).any():
        return [Measured(what, "nothing recorded, which is not zero", "")]
    at = int(np.nanargmax(part))
    at_ms = leak.minutes.start_ms + (first + at) * MINUTE_MS
    missing = int((~np.isfinite(part)).sum())
    gap = f" ({missing} min not recorded)" if missing else ""
    return [Measured(what, f"{math.ceil(float(part[at]))} mL/min{gap}", when(at_ms, found.as_of_ms, zone))]


def _leaked(found: Assessment, now_ms: int, zone: tzinfo) -> str:
    """The last recorded flow, where air leaked in the last half hour or that cannot be told."""
    leak = found.leak_trace
    assert leak is not None and found.leak.at_ms is not None
    since = max(0, (now_ms - LEAKED_MS - leak.minutes.start_ms) // MINUTE_MS)
    part = leak.minutes.flow_max[since : found.facts.length]
    if not np.isfinite(part).any():
        return ""
    most = float(np.nanmax(part))
    if most <= 0:
        return ""
    at = when(found.leak.at_ms, now_ms, zone)
    return f"Air flowed in the last half hour: up to {math.ceil(most)} mL/min, recorded until {at}."


# --- what is typed, counted in --------------------------------------------------------------------


def whole_chart(course: Course, found: Assessment | None, asked: Asked) -> tuple[Chart, Episode]:
    """The chart with the rows that were typed, and the episode that they speak of."""
    chart, episode = (found.chart, found.episode) if found is not None else (Chart(), episode_of(course))
    if not isinstance(asked, Told) or not asked.rows:
        return chart, episode
    own = this_drain(episode, chart)
    typed = [_entry(row, asked, own, -place) for place, row in enumerate(asked.rows, start=1)]
    return chart_of([*chart.entries, *chart.repeats, *typed], name=chart.name), episode


def _entry(row: Typed, asked: Told, drain: str | None, line: int) -> Entry:
    return entry_of(row, asked.at_ms, max(asked.now_ms, asked.at_ms), "", drain, line)


def sums(course: Course, found: Assessment | None, asked: Asked) -> Sums:
    """Fluid by the drain's space over the last hours until the moment typed."""
    zone = read_zone(asked.zone_name)
    chart, episode = whole_chart(course, found, asked)
    end = asked.at_ms if isinstance(asked, Told) else asked.now_ms
    space, known = drains_of_space(episode, chart), drains_known(episode, chart)
    own = fluid_record(replace(found, chart=chart)) if found is not None else (
        fluid_intervals(chart, this_drain(episode, chart), episode.connected_at, known)
    )  # fmt: skip
    records = [own, *(fluid_intervals(chart, drain, None, known) for drain in space[1:])]
    whose = f"drains {', '.join(str(drain) for drain in space)}, one space" if len(space) > 1 else "this drain"
    lines = tuple(Sum(f"last {hours} h", _sum(records, end, hours)) for hours in HOURS)
    return Sums(whose, when(end, asked.now_ms, zone), lines, _fluid_notes(records, asked, zone))


def _sum(records: list[FluidRecord], end: int, hours: int) -> str:
    found = total_over_drains(records, end - hours * HOUR_MS, end)
    if found.low_ml <= 0 and math.isinf(found.high_ml):
        return "cannot tell: not told for all of it"
    return bounds(found.low_ml, None if math.isinf(found.high_ml) else found.high_ml, "mL")


def _fluid_notes(records: list[FluidRecord], asked: Asked, zone: tzinfo) -> tuple[str, ...]:
    own = records[0]
    notes = [f"{_instilled(one, asked.now_ms, zone)}: shown, never subtracted." for one in own.instilled[-3:]]
    silent = [record for record in records if record.source == "none"]
    if silent and len(records) > 1:
        notes.append("A drain of this space was never charted: the sum cannot be told.")
    return (*notes, *own.notes)


def _instilled(one: Instilled, now_ms: int, zone: tzinfo) -> str:
    amount = "an amount not written" if one.ml is None else f"{one.ml:g} mL"
    return f"{amount} put in at {when(one.time, now_ms, zone)}"


def score(course: Course, found: Assessment | None, asked: Asked) -> Score | None:
    """The early-warning score of the latest set of readings, those typed counted in; None without a reading."""
    chart, episode = whole_chart(course, found, asked)
    sets = score_sets(entries_for(chart, "drain", episode), episode)
    if not sets:
        return None
    at_ms, of = sets[-1]
    parts = tuple((name.replace("_", " "), points) for name, points in of.parts)
    return Score(of.answer, parts, when(at_ms, asked.now_ms, read_zone(asked.zone_name)))
