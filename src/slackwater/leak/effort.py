"""Leak that shows only with effort: bursts of flow over a quiet rest, and coughs that brought none.

A cough is seen in the pressure as a short push far outside breathing; the flow of the same minute
says whether air came with it. A log of minute means shows neither.

The thresholds are ours, argued in docs/definitions.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.stretches import Flags, running_median
from slackwater.trace.types import Minutes, Trace

BURST_STEPS = 3  # printed steps a burst must reach
REST_SHARE = 0.2  # of the burst: flow around it must be lower
COUGH_CMH2O = 2.5  # beyond the breathing range
COUGHS_FOR_A_TRY = 3


@dataclass(frozen=True, eq=False)
class Effort:
    """Per minute: a burst of flow over a quiet rest; a cough seen in the pressure."""

    burst: Flags
    cough: Flags
    visible: bool  # the log could show a single cough
    size: NDArray[np.float64]  # of each burst, whether it reaches the limit or not, mL/min; NaN where there is none


def effort(trace: Trace, minutes: Minutes, distrusted: Flags, limit_ml_per_min: float) -> Effort:
    """Bursts and coughs in the minutes that are not in doubt.

    A burst is a reading that reaches the limit: a cough also pushes a little air that no lung has leaked.
    """
    n = len(minutes)
    none = np.zeros(n, dtype=np.bool_)
    has_peak = trace.flow_max_ul_per_min is not None
    visible = trace.every_ms <= 10_000 or has_peak
    if not visible:
        return Effort(none, none, False, np.full(n, np.nan))
    step = max((log.flow_step_ul_per_min for log in trace.logs), default=0) / 1000
    trusted = ~distrusted & (minutes.covered > 0.5)
    level = np.where(trusted, minutes.flow, np.nan)
    rest = np.fmin(running_median(level, 11), running_median(level, 11, ahead=True))
    with np.errstate(invalid="ignore"):
        brief = minutes.flow <= 0.5 * minutes.flow_max
        quiet_rest = rest <= np.fmax(1.01 * step, REST_SHARE * minutes.flow_max)
        found = trusted & (minutes.flow_max >= BURST_STEPS * step) & brief & quiet_rest
        size = np.where(found, minutes.flow_max, np.nan)
        burst = size >= limit_ml_per_min
    return Effort(np.asarray(burst), _coughs(trace, minutes) & trusted, visible, size)


def _coughs(trace: Trace, minutes: Minutes) -> Flags:
    """A push well beyond what breathing in the same minute does."""
    if trace.pressure_mcmh2o is None or trace.every_ms > 5_000:
        return np.zeros(len(minutes), dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        swing = minutes.pressure_p95 - minutes.pressure_p05
        beyond = minutes.pressure_max - minutes.pressure_p95
        return np.asarray(beyond >= np.fmax(COUGH_CMH2O, swing))


def tries(found: Effort, open_nearby: Flags) -> NDArray[np.int8]:
    """+1 at the end of a minute in which effort showed a leak, -1 where coughs had brought none, else 0.

    A burst is a leak seen. Several coughs without one, with the tube shown open around them, since the
    last burst, are a try that showed none.
    """
    out = np.zeros(len(found.burst), dtype=np.int8)
    out[found.burst] = 1
    clear = np.flatnonzero(found.cough & ~found.burst & open_nearby)
    bursts = np.flatnonzero(found.burst)
    if not len(clear):
        return out
    last_burst = np.searchsorted(bursts, clear)  # bursts before each clear cough
    for count in np.unique(last_burst):
        group = clear[last_burst == count]
        out[group[COUGHS_FOR_A_TRY - 1 :]] = -1
    return out
