"""Moments that restart a run or that time is counted from, from chart and trace together."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from slackwater.episode.types import Chart, Episode
from slackwater.leak.handling import FOREVER, clamp_trials
from slackwater.leak.state import LeakTrace
from slackwater.leak.stretches import running_median, stretches
from slackwater.quantities.spans import MINUTE_MS
from slackwater.trace.types import Trace

CHARTED_CHANGE_CMH2O = 0.6  # less is the same order spoken in another unit: 20 cmH2O, 2 kPa, 15 mmHg
LOGGED_CHANGE_CMH2O = 0.25
MEASURED_CHANGE_CMH2O = 4.0  # where no set value is logged: from the level that the run began with
MEASURED_SHARE = 0.25  # and so much of that level
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
        trials = clamp_trials(handled)
        found["clamp_trial"] = [t for i in trials for t in (i.start_ms, i.end_ms) if t < FOREVER]
        found["reconnection"] = [*handled.reconnected_ms, *_circuit_closed(leak)]
        found["unit_exchange"] = [*handled.exchanged_ms, *trace.exchanges]
        found["tube_flushed"] = list(handled.flushed_ms)
        found["suction_change"] += _measured_suction(leak)
    return {name: tuple(sorted(set(times))) for name, times in found.items()}


def _charted_suction(chart: Chart) -> list[int]:
    """Orders that differ from the one that started the present run, and delivered suction that has plainly moved.

    Each value is held against the last change, not against its neighbour: small steps add up. An entry whose
    value was left blank, or given twice differently, may have been a change.
    """
    times = []
    held: float | None = None
    for entry in chart.of("suction_ordered", "suction_delivered"):
        ordered = entry.item == "suction_ordered"
        level = entry.value if isinstance(entry.value, float) else (0.0 if entry.value == "none_added" else None)
        if entry.conflict or level is None:
            times += [entry.time] if ordered else []
            continue
        least = CHARTED_CHANGE_CMH2O if ordered else DELIVERED_CHANGE_CMH2O
        if held is not None and abs(level - held) > least:
            times.append(entry.time)
            held = level
        elif held is None:
            held = level
    return times


def _circuit_closed(leak: LeakTrace) -> list[int]:
    """The ends of stretches in which the trace showed an open circuit."""
    start = leak.minutes.start_ms
    n = len(leak.minutes)
    return [start + end * MINUTE_MS for _, end in stretches(leak.doubt.disconnected) if end < n]


def _measured_suction(leak: LeakTrace) -> list[int]:
    """Changes of the logged set value; where none is logged, a level of pressure that has moved and stays moved.

    Each level is held against the one that the present run began with, so that a slow slide is found too.
    """
    minutes = leak.minutes
    logged = np.isfinite(minutes.set_suction)
    times = _moved(minutes.set_suction, np.flatnonzero(logged), LOGGED_CHANGE_CMH2O, 0.0)
    doubtful = leak.doubt.disconnected | leak.doubt.clamped | leak.doubt.blocked | logged
    level = np.where(doubtful, np.nan, minutes.pressure)
    steady = running_median(level, 15, ahead=True)
    told = np.flatnonzero(np.isfinite(steady))
    times += _moved(steady, told, MEASURED_CHANGE_CMH2O, MEASURED_SHARE)
    if logged.any() and not logged.all():  # where the set value begins or ends, another regime may have begun
        known = np.flatnonzero(logged[1:] != logged[:-1] & (minutes.covered[1:] > 0)) + 1
        times += [int(k) for k in known if minutes.covered[k] > 0 and minutes.covered[k - 1] > 0]
    return [minutes.start_ms + k * MINUTE_MS for k in sorted(set(times))]


def _moved(levels: NDArray[np.float64], told: NDArray[np.intp], least: float, share: float) -> list[int]:
    """Minutes at which the level has moved by more than `least` (and `share` of it) from that of the last move."""
    found: list[int] = []
    values = levels[told]
    at = 0
    while at < len(values):
        held = values[at]
        away = np.flatnonzero(np.abs(values[at:] - held) > max(least, share * abs(held)))
        if not len(away):
            break
        at += int(away[0])
        found.append(int(told[at]))
    return found
