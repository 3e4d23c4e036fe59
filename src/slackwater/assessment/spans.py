"""Lengths of time that have run up to now: what an escalation clause may ask about.

Each is a sighting at now with a lower and an upper bound in seconds; where nothing is known the
bounds are open, and the clause says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from slackwater.episode.types import Chart
from slackwater.leak.doubt import POSITIVE_CMH2O
from slackwater.leak.handling import handling
from slackwater.leak.state import LeakTrace
from slackwater.leak.stretches import Flags
from slackwater.protocol.facts import Sighting
from slackwater.quantities.spans import MINUTE_MS

SHORT_SHARE = 0.8  # of the ordered suction: less, while it is not reached, is short of the order
STALE_MIN = 10  # a span judged on a trace that ended longer ago than this is not known


def spans(chart: Chart, leak: LeakTrace | None, now_ms: int) -> Mapping[str, Sighting]:
    """Every measure of kind `span`."""
    found = {"clamped_for": _clamped(chart, now_ms), "output_stopped_for": _output_stopped(chart, now_ms)}
    for name, (flags, told) in _flags(leak).items():
        found[name] = _run_to_now(flags, told, leak, now_ms)
    apart = [i for i in handling(chart).apart if i.end_ms > now_ms]
    if apart:  # charted apart and not reconnected: open for at least so long, whatever the trace shows
        seconds = (now_ms - apart[-1].start_ms) / 1000
        seen = found.get("open_circuit_for", Sighting(now_ms, 0.0, math.inf))
        low, high = max(seconds, seen.low), max(seconds, seen.high)
        found["open_circuit_for"] = replace(seen, low=low, high=high, line=_line(chart, "tubing", apart[-1].start_ms))
    for name in ("suction_short_for", "positive_pressure_for", "open_circuit_for"):
        found.setdefault(name, Sighting(now_ms, 0.0, math.inf))
    return found


def _flags(leak: LeakTrace | None) -> Mapping[str, tuple[Flags, Flags]]:
    """For each measure: minutes in which it stands, and minutes in which that could be told."""
    if leak is None:
        return {}
    minutes = leak.minutes
    flags = {"open_circuit_for": (leak.doubt.disconnected, minutes.covered > 0)}
    told = np.isfinite(minutes.pressure)
    if told.any():
        with np.errstate(invalid="ignore"):
            flags["positive_pressure_for"] = (minutes.pressure > POSITIVE_CMH2O, told)
        if np.isfinite(minutes.set_suction).any():
            with np.errstate(invalid="ignore"):
                due = minutes.set_suction < -1
                short = due & (minutes.pressure > SHORT_SHARE * minutes.set_suction)
            flags["suction_short_for"] = (short, told & np.isfinite(minutes.set_suction))
    return flags


def _run_to_now(flags: Flags, told: Flags, leak: LeakTrace | None, now_ms: int) -> Sighting:
    """How long the flag has stood up to the last minute that tells; minutes that tell nothing, then and since,
    may have been part of it."""
    assert leak is not None
    known = np.flatnonzero(told)
    if not len(known):
        return Sighting(now_ms, 0.0, math.inf)
    last = int(known[-1])
    broken = np.flatnonzero(~(flags & told)[: last + 1])
    certain = last - (int(broken[-1]) if len(broken) else -1)
    ended = np.flatnonzero((~flags & told)[: last + 1])
    possible = last - (int(ended[-1]) if len(ended) else -1)
    silent = now_ms - (leak.minutes.start_ms + (last + 1) * MINUTE_MS)
    high = possible * 60.0 + (0 if silent <= STALE_MIN * MINUTE_MS else silent / 1000)
    return Sighting(now_ms, certain * 60.0, max(certain * 60.0, high), traced=True)


def _clamped(chart: Chart, now_ms: int) -> Sighting:
    standing = [i for i in handling(chart).clamped if i.end_ms > now_ms]
    if not standing:
        return Sighting(now_ms, 0.0, 0.0)
    seconds = (now_ms - standing[-1].start_ms) / 1000
    return Sighting(now_ms, seconds, seconds, line=_line(chart, "clamp", standing[-1].start_ms))


def _line(chart: Chart, item: str, time_ms: int) -> int:
    """Where it is charted."""
    return next((entry.line for entry in chart.of(item) if entry.time == time_ms), 0)


def _output_stopped(chart: Chart, now_ms: int) -> Sighting:
    """Time over which charted amounts have been zero, after some that were not."""
    amounts = [e for e in chart.of("fluid_output") if not e.conflict]
    if not amounts:
        return Sighting(now_ms, 0.0, math.inf)
    stopped_at: int | None = None
    ran = False
    blank = False
    for entry in amounts:
        if not isinstance(entry.value, float):
            blank = True
        elif entry.value > 0:
            ran, stopped_at, blank = True, entry.time, False
    if not ran or stopped_at is None:
        return Sighting(now_ms, 0.0, 0.0)
    last = amounts[-1]
    certain = 0.0 if blank else (last.time - stopped_at) / 1000
    return Sighting(now_ms, certain, (now_ms - stopped_at) / 1000, line=last.line)
