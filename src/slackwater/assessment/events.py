"""Moments that restart a run or that time is counted from, from chart and trace together."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from slackwater.episode.types import Chart, Episode
from slackwater.leak.handling import FOREVER
from slackwater.leak.state import LeakTrace
from slackwater.leak.stretches import running_median, stretches
from slackwater.trace.types import MINUTE_MS, Trace

CHARTED_CHANGE_CMH2O = 0.25  # less is the same order written in another unit
LOGGED_CHANGE_CMH2O = 0.25
MEASURED_CHANGE_CMH2O = 4.0  # where no set value is logged: a level held before and after
DELIVERED_CHANGE_CMH2O = 3.0  # what staff read off wobbles


def events(
    episode: Episode, chart: Chart, trace: Trace | None, leak: LeakTrace | None
) -> Mapping[str, tuple[int, ...]]:
    """Every named event with its instants (UTC ms, sorted)."""
    found: dict[str, list[int]] = {
        "connected": [episode.connected_at] if episode.connected_at is not None else [],
        "operation.end": [episode.operation_end] if episode.operation_end is not None else [],
        "suction_change": _charted_suction(chart),
        "clamp_on": [e.time for e in chart.of("clamp") if e.value == "on" and not e.conflict],
        "clamp_off": [e.time for e in chart.of("clamp") if e.value == "off" and not e.conflict],
    }
    if leak is not None and trace is not None:
        handled = leak.handled
        trials = [i for i in handled.clamped if i.why.startswith(("trial", "ordered"))]
        found["clamp_trial"] = [t for i in trials for t in (i.start_ms, i.end_ms) if t < FOREVER]
        found["reconnection"] = [*handled.reconnected_ms, *_circuit_closed(leak)]
        found["unit_exchange"] = [*handled.exchanged_ms, *trace.exchanges]
        found["tube_flushed"] = list(handled.flushed_ms)
        found["suction_change"] += _measured_suction(leak)
    return {name: tuple(sorted(set(times))) for name, times in found.items()}


def _charted_suction(chart: Chart) -> list[int]:
    """Orders that differ from the one before, and delivered suction that has plainly moved."""
    times = []
    for item, least in (("suction_ordered", CHARTED_CHANGE_CMH2O), ("suction_delivered", DELIVERED_CHANGE_CMH2O)):
        last: float | None = None
        for entry in chart.of(item):
            if entry.conflict:
                times.append(entry.time)  # two orders at one moment: one of them is a change
                continue
            level = entry.value if isinstance(entry.value, float) else (0.0 if entry.value == "none_added" else None)
            if level is None:
                continue
            if last is not None and abs(level - last) > least:
                times.append(entry.time)
            last = level
    return times


def _circuit_closed(leak: LeakTrace) -> list[int]:
    """The ends of stretches in which the trace showed an open circuit."""
    start = leak.minutes.start_ms
    n = len(leak.minutes)
    return [start + end * MINUTE_MS for _, end in stretches(leak.doubt.disconnected) if end < n]


def _measured_suction(leak: LeakTrace) -> list[int]:
    """Changes of the logged set value; without one, a step in pressure between two levels that were held."""
    minutes = leak.minutes
    if np.isfinite(minutes.set_suction).any():
        known = np.flatnonzero(np.isfinite(minutes.set_suction))
        moved = np.flatnonzero(np.abs(np.diff(minutes.set_suction[known])) > LOGGED_CHANGE_CMH2O)
        return [minutes.start_ms + int(known[k + 1]) * MINUTE_MS for k in moved]
    doubtful = leak.doubt.off | leak.doubt.disconnected | leak.doubt.clamped
    level = np.where(doubtful, np.nan, minutes.pressure)
    before = np.concatenate(([np.nan], running_median(level, 15)[:-1]))
    after = running_median(level, 15, ahead=True)
    with np.errstate(invalid="ignore"):
        step = np.abs(after - before)
        moved_flags = step > np.fmax(MEASURED_CHANGE_CMH2O, 0.25 * np.abs(before))
    times = []
    for first, end in stretches(np.asarray(moved_flags)):
        sharpest = first + int(np.argmax(step[first:end]))
        times.append(minutes.start_ms + sharpest * MINUTE_MS)
    return times
