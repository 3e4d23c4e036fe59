"""From a drain's episode, chart and trace to the facts a rule is judged on."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.events import events
from slackwater.assessment.fluid import amounts_of, fluid_records
from slackwater.assessment.spans import spans
from slackwater.assessment.vetoes import vetoes
from slackwater.episode.space import SCOPES, entries_for
from slackwater.episode.types import Chart, Entry, Episode
from slackwater.leak.handling import handling
from slackwater.leak.state import LeakTrace, known_minutes
from slackwater.leak.words import BY_AIR, BY_FLUID, BY_SWING, MISSING, NO_REASON, SHARED, TOLERABLE
from slackwater.protocol.facts import Facts, Sighting, Signal, Times, Try
from slackwater.protocol.measures import MEASURES
from slackwater.quantities.spans import MINUTE_MS
from slackwater.trace.types import Trace


def facts_of(
    episode: Episode, chart: Chart, trace: Trace | None, leak: LeakTrace | None, now_ms: int, *, guards_waived: bool
) -> Facts:
    """Everything known at `now_ms`; chart and trace hold nothing later (the caller saw to that)."""
    grid_start, length = _grid(episode, chart, trace, leak, now_ms)
    own, space = entries_for(chart, "drain", episode), entries_for(chart, "space", episode)
    tries = _tries(own, space, leak, length)
    data_until = None if trace is None else min(trace.data_until_ms, now_ms)
    return Facts(
        now_ms=now_ms,
        grid_start_ms=grid_start,
        length=length,
        data_until_ms=data_until,
        connected_ms=episode.connected_at,
        signals=_signals(leak, length, trace),
        amounts={
            ("fluid_output", scope): amounts_of(records)
            for scope in SCOPES
            if (records := fluid_records(episode, chart, trace, scope))
        },
        sightings=_sightings(episode, chart, leak, now_ms),
        events=events(episode, own, trace, leak),
        shown_open=_shown_open(own, leak, length),
        shown_shut=np.array(
            sorted(leak.handled.shown_shut_ms if leak else _times(own, "tube_open", "no")), dtype=np.int64
        ),
        tries=tries,
        cough_visible=leak is not None and leak.found.visible,
        vetoes=vetoes(space, handling(own), tries, data_until, now_ms, guards_waived=guards_waived),
        weight_kg=_weight(episode, chart),
        about=_about(episode, chart),
        lines=_lines(own),
        unfinished=_unfinished(leak, length),
    )


def _grid(episode: Episode, chart: Chart, trace: Trace | None, leak: LeakTrace | None, now_ms: int) -> tuple[int, int]:
    """Whole minutes from connection (or the first record) to the end of the data; without a log, to now."""
    if leak is not None and trace is not None:
        start = leak.minutes.start_ms
        end = min(trace.data_until_ms, now_ms)
    else:
        first = chart.entries[0].time if chart.entries else now_ms
        begin = episode.connected_at if episode.connected_at is not None else first
        start, end = begin // MINUTE_MS * MINUTE_MS, now_ms
    return start, max(0, (end - start) // MINUTE_MS)


_SAID_BY = {  # what charts an event, or the tube open
    "suction_change": ("suction_ordered", "suction_delivered"), "clamp_trial": ("clamp",), "clamp_on": ("clamp",),
    "clamp_off": ("clamp",), "reconnection": ("tubing",), "unit_exchange": ("suction_unit",),
    "tube_flushed": ("tubing",), "charted": ("tube_open", "swing"),
}  # fmt: skip


def _lines(chart: Chart) -> Mapping[tuple[str, int], tuple[int, ...]]:
    """The chart lines behind each event, at its moment."""
    found: dict[tuple[str, int], tuple[int, ...]] = {}
    for name, items in _SAID_BY.items():
        for entry in chart.of(*items):
            found[name, entry.time] = (*found.get((name, entry.time), ()), entry.line)
    return found


# --- air ------------------------------------------------------------------------------------------


def _signals(leak: LeakTrace | None, length: int, trace: Trace | None) -> Mapping[tuple[str, str], Signal]:
    if leak is None or trace is None:
        return {}
    return {("air_leak", scope): _signal(leak, length, trace) for scope in SCOPES}


def _signal(leak: LeakTrace, length: int, trace: Trace) -> Signal:
    minutes = leak.minutes
    known = known_minutes(leak)[:length]
    shared = (leak.doubt.reason == SHARED)[:length]
    doubtful = ((leak.doubt.reason != 0) & (leak.minutes.covered >= 0.8))[:length] & ~shared
    covered = minutes.covered[:length]

    def low(bound: NDArray[np.float64], share: NDArray[np.float64] | float = 1.0) -> NDArray[np.float64]:
        told = ~doubtful & np.isfinite(bound[:length]) & (covered > 0)
        return np.where(told, np.where(told, bound[:length], 0.0) * share, 0.0)

    def high(bound: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(known, bound[:length], np.inf)

    unit_logs = trace.logs
    return Signal(
        mean_low=low(minutes.flow_low, covered),
        mean_high=high(minutes.flow_high),
        peak_low=low(minutes.peak_low),
        peak_high=high(minutes.peak_high),
        trough_low=np.where(known, low(minutes.flow_min), 0.0),
        trough_high=high(np.maximum(minutes.flow_min, 0) + (minutes.peak_high - np.maximum(minutes.flow_max, 0))),
        known=known,
        tolerable=np.isin(leak.doubt.reason[:length], TOLERABLE) | ((leak.doubt.reason[:length] == 0) & ~known),
        top_open=leak.top_open,
        bottom_open=all(log.rounding == "ceil" and log.flow_step_ul_per_min > 0 for log in unit_logs),
        reading_s=trace.every_ms / 1000,
        means=any(log.statistic == "mean" for log in unit_logs),
    )


def _unfinished(leak: LeakTrace | None, length: int) -> Mapping[tuple[str, str], tuple[float, float]]:
    """What is recorded of the minute after the last whole one; what is in doubt tells nothing."""
    if leak is None or length >= len(leak.minutes) or leak.doubt.reason[length] not in (NO_REASON, MISSING, SHARED):
        return {}
    minutes = leak.minutes
    largest = float(minutes.peak_low[length])
    cell = float(minutes.peak_high[length] - max(minutes.flow_max[length], 0))
    smallest = float(max(minutes.flow_min[length], 0)) + cell
    if not np.isfinite(largest) or not np.isfinite(smallest):
        return {}
    return {("air_leak", scope): (largest, smallest) for scope in SCOPES}


def _shown_open(chart: Chart, leak: LeakTrace | None, length: int) -> Mapping[str, Times]:
    charted = [
        *_times(chart, "tube_open", "yes"),
        *_times(chart, "swing", "present"),
        *_times(chart, "swing", "reduced"),
    ]
    shown = {"charted": np.array(sorted(charted), dtype=np.int64)}
    if leak is None:
        return {
            **shown,
            "fluid": np.array(sorted(e.time for e in chart.of("fluid_output") if _positive(e)), dtype=np.int64),
        }
    ends = leak.minutes.start_ms + MINUTE_MS * np.arange(1, length + 1, dtype=np.int64)
    by = leak.open_shown[:length]
    shown["swing"] = ends[by == BY_SWING]
    shown["air"] = ends[(by == BY_AIR) | ((by == BY_SWING) & leak.breath.by_air[:length])]
    shown["fluid"] = ends[(by == BY_FLUID) | leak.by_fluid[:length]]
    return shown


def _tries(own: Chart, space: Chart, leak: LeakTrace | None, length: int) -> tuple[Try, ...]:
    """Every effort made: a leak seen anywhere in the space counts, no leak only where this drain was looked at."""
    found = []
    for entry in space.of("cough", "walk"):
        told = None if entry.conflict or entry.value is None else {"leak": True, "no_leak": False}.get(str(entry.value))
        if told is None and not entry.conflict and entry.value is not None:
            continue  # not looked: nothing was there to be told
        if told is not False or entry in own.entries:
            found.append(Try(entry.time, told, "charted", entry.line))
    for entry in space.of("bubbling"):
        if not entry.conflict and str(entry.value).startswith("FE"):
            found.append(Try(entry.time, True, "charted", entry.line))
    if leak is not None:
        ends = leak.minutes.start_ms + MINUTE_MS * (np.flatnonzero(leak.tried[:length]) + 1)
        for end, code in zip(ends.tolist(), leak.tried[:length][leak.tried[:length] != 0].tolist(), strict=True):
            found.append(Try(end, code > 0, "trace"))
    return tuple(sorted(found, key=lambda attempt: attempt.time_ms))


# --- what was charted at moments ------------------------------------------------------------------


def _sightings(
    episode: Episode, chart: Chart, leak: LeakTrace | None, now_ms: int
) -> Mapping[tuple[str, str], tuple[Sighting, ...]]:
    found: dict[tuple[str, str], tuple[Sighting, ...]] = {}
    for scope in SCOPES:
        narrowed = entries_for(chart, scope, episode)
        for name, measure in MEASURES.items():
            if measure.kind in ("number", "word") and name != "emphysema_rise":
                found[name, scope] = tuple(_sighting(entry) for entry in narrowed.of(name))
        found["emphysema_rise", scope] = _rises(narrowed.of("surgical_emphysema"))
    for name, sighting in spans(entries_for(chart, "drain", episode), leak, now_ms).items():
        for scope in SCOPES:
            found[name, scope] = (sighting,)
    return found


def _sighting(entry: Entry) -> Sighting:
    if entry.conflict or entry.value is None:
        return Sighting(entry.time, conflict=True, line=entry.line)
    if isinstance(entry.value, str):
        letters = entry.value.rstrip("1234567") if entry.item == "bubbling" else entry.value
        return Sighting(entry.time, word=letters, line=entry.line)
    return Sighting(entry.time, entry.value, entry.value, line=entry.line)


def _rises(entries: tuple[Entry, ...]) -> tuple[Sighting, ...]:
    """Grades by which emphysema stands above the last lower entry, at each entry."""
    found = []
    lowest: float | None = None
    for entry in entries:
        if entry.conflict or not isinstance(entry.value, float):
            found.append(Sighting(entry.time, conflict=True, line=entry.line))
            continue
        lowest = entry.value if lowest is None else min(lowest, entry.value)
        rise = entry.value - lowest
        found.append(Sighting(entry.time, rise, rise, line=entry.line))
    return tuple(found)


def _positive(entry: Entry) -> bool:
    return isinstance(entry.value, float) and entry.value > 0 and not entry.conflict


def _times(chart: Chart, item: str, value: str) -> list[int]:
    return [entry.time for entry in chart.of(item) if entry.value == value and not entry.conflict]


def _weight(episode: Episode, chart: Chart) -> float | None:
    charted = [e.value for e in chart.of("weight") if isinstance(e.value, float) and not e.conflict]
    return charted[-1] if charted else episode.weight_kg


def unit_notes(leak: LeakTrace | None) -> tuple[str, ...]:
    """A loud word where the logged set suction is not what was ordered at the time: a wrong unit looks so.

    Their ratio can be right by chance or wrong by a true change not charted, so it decides nothing.
    """
    if leak is None:
        return ()
    minutes, ratios = leak.minutes, []
    for time, level in leak.handled.ordered:
        k = (time - minutes.start_ms) // MINUTE_MS + 10  # some minutes to carry the order out
        if 0 <= k < len(minutes) and level <= -3 and np.isfinite(minutes.set_suction[k]):
            ratios.append(minutes.set_suction[k] / level)
    if not ratios or 0.8 <= float(np.median(ratios)) <= 1.25:
        return ()
    return (
        f"CHECK THE UNIT: the log's set suction is {float(np.median(ratios)):.3g} times what was ordered; "
        "is the pressure's unit in the layout right?",
    )


def contradiction_notes(leak: LeakTrace | None) -> tuple[str, ...]:
    """Where chart and log say opposite things of one moment, and what settles it."""
    notes = []
    for one in leak.contradicted if leak is not None else ():
        at = datetime.fromtimestamp(one.entry.time / 1000, UTC).strftime("%Y-%m-%dT%H:%MZ")
        notes.append(
            f"CHART AGAINST LOG: line {one.entry.line}, {one.entry.item} {one.entry.text} at {at}, where the log shows "
            f"at most {one.shown:g} mL/min: neither is used there; look at the drain, and is it this drain's log?"
        )
    return tuple(notes)


def _about(episode: Episode, chart: Chart) -> Mapping[str, str | float | None]:
    breathing = [str(e.value) for e in chart.of("breathing") if e.value is not None and not e.conflict]
    return {
        "indication": episode.indication,
        "operation.kind": episode.operation_kind,
        "operation.end": episode.operation_end,
        "drain.space": episode.space,
        "drain.connected_at": episode.connected_at,
        "patient.age_years": episode.age_years,
        "patient.weight_kg": _weight(episode, chart),
        "breathing": breathing[-1] if breathing else episode.breathing,
    }
