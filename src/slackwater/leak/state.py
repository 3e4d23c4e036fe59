"""What the trace says, minute by minute: state, reason, how the tube was shown open, how sure.

Decided on whole cells of recorded flow. This is the plain state; it is never surer than the cell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.episode.types import Chart, Episode
from slackwater.leak.breathing import Breathing, breathing
from slackwater.leak.contradicted import Contradicted, contradicted, touched
from slackwater.leak.doubt import ENOUGH_COVERED, Doubts, doubts
from slackwater.leak.effort import Effort, effort, tries
from slackwater.leak.filter.model import FilterModel
from slackwater.leak.filter.pattern import Pattern, pattern
from slackwater.leak.filter.run import Filtered, Seen, run_filter, seen
from slackwater.leak.handling import Handling, handling
from slackwater.leak.stretches import Flags, laid
from slackwater.leak.words import (
    BY_AIR,
    BY_CHART,
    BY_FLUID,
    BY_SWING,
    CANNOT_TELL,
    LEAKING,
    NO_REASON,
    NOT_SHOWN,
    QUIET,
    SHARED,
)
from slackwater.trace.types import Interval, Minutes, Trace

OPEN_LATELY_MIN = 240  # how long an open tube lends a quiet minute some certainty
SURE, UNSURE = 0.99, 0.6  # how far the chance goes towards none, with an open tube lately shown and without
LOOKED_AT_ML_PER_MIN = 8.0  # from which a pattern is looked for, where the display tells that apart


@dataclass(frozen=True, eq=False)
class LeakTrace:
    """The leak, for every minute of `minutes`; read-only arrays of the same length."""

    minutes: Minutes
    state: NDArray[np.int8]  # words.STATES
    reason: NDArray[np.int8]  # words.REASONS
    open_shown: NDArray[np.int8]  # words.WAYS_OPEN
    p_leaking: NDArray[np.float64]  # the filter's chance, as far as an open tube lets it go; NaN if not assessable
    low: NDArray[np.float64]  # mL/min, the filter's 90 % interval and middle; NaN where not assessable
    mid: NDArray[np.float64]
    high: NDArray[np.float64]
    conductance: NDArray[np.float64]  # mL/min per cmH2O; NaN where not assessable
    tried: NDArray[np.int8]  # +1 a leak seen with effort, -1 effort without one
    breath: Breathing
    doubt: Doubts
    found: Effort
    handled: Handling
    limit_ml_per_min: float
    by_fluid: Flags
    top_open: bool
    given: Seen  # what the filter was given
    filtered: Filtered
    pattern: Pattern
    contradicted: tuple[Contradicted, ...]  # by the chart


def leak_trace(
    trace: Trace,
    minutes: Minutes,
    chart: Chart,
    episode: Episode,
    limit_ml_per_min: float | None,
    *,
    other_drains: bool = False,
    model: FilterModel | None = None,
) -> LeakTrace:
    """Judge every minute. Without a limit the state is against one step of the display.

    `other_drains`: drains are known of which nobody said that they lie in another space. `model`: the filter's
    numbers, if not those that come with the program.
    """
    handled = handling(chart)
    breath = breathing(trace, minutes, ventilated=episode.breathing == "invasive")
    shared = bool(episode.shares_unit_with or episode.shares_space_with) or other_drains
    step = max((log.flow_step_ul_per_min for log in trace.logs), default=0) / 1000
    limit = limit_ml_per_min if limit_ml_per_min is not None else (step or 1.0)
    against = contradicted(minutes, chart, limit, step)
    doubt = doubts(trace, minutes, breath, handled, shared=shared, against=touched(against, len(minutes)))
    hard = (doubt.reason != NO_REASON) & (doubt.reason != SHARED)
    top_open = all(log.flow_step_ul_per_min > 0 and log.rounding != "ceil" for log in trace.logs)
    state = _states(minutes, doubt.reason, limit, top_open)
    by_fluid = fluid_moving(minutes, chart) & ~hard
    open_shown = _open_shown(minutes, breath, handled, by_fluid, hard, bool(episode.shares_unit_with))
    found = effort(trace, minutes, hard, limit)
    given = seen(minutes, ~hard & (minutes.covered >= ENOUGH_COVERED), step, bursts_visible=found.visible)
    filtered = run_filter(
        given, (limit, max(step, LOOKED_AT_ML_PER_MIN)), operation=episode.operation_kind, model=model
    )
    return LeakTrace(
        minutes, state, np.where(state == LEAKING, NO_REASON, doubt.reason).astype(np.int8), open_shown,
        _chance(filtered.p_at_least[:, 0], open_shown), filtered.low_ml_per_min, filtered.mid_ml_per_min,
        filtered.high_ml_per_min, filtered.conductance, tries(found, swing_nearby(open_shown)), breath, doubt,
        found, handled, limit, by_fluid, top_open, given, filtered, pattern(given, filtered, found.burst, limit=1),
        against,
    )  # fmt: skip


def _states(minutes: Minutes, reason: NDArray[np.int8], limit: float, top_open: bool) -> NDArray[np.int8]:
    with np.errstate(invalid="ignore"):
        leaking = minutes.flow_low >= limit
        quiet = (minutes.flow_high <= limit) if top_open else (minutes.flow_high < limit)
    state = np.full(len(minutes), CANNOT_TELL, dtype=np.int8)
    state[quiet & (reason == NO_REASON)] = QUIET
    # with two limbs or two drains a quiet one proves nothing, but a leaking one does
    state[leaking & ((reason == NO_REASON) | (reason == SHARED))] = LEAKING
    return state


def fluid_moving(minutes: Minutes, chart: Chart) -> Flags:
    """Minutes in which fluid is known to have moved: the counter rose, or an amount was charted."""
    n = len(minutes)
    with np.errstate(invalid="ignore"):
        rose = np.concatenate(([False], np.diff(minutes.fluid_ml) > 0)) if n else np.zeros(0, dtype=np.bool_)
    charted = [
        Interval(entry.time, entry.time)
        for entry in chart.of("fluid_output")
        if isinstance(entry.value, float) and entry.value > 0 and not entry.conflict
    ]
    return rose | laid(charted, minutes.start_ms, n)


def _open_shown(
    minutes: Minutes, breath: Breathing, handled: Handling, by_fluid: Flags, hard: Flags, two_limbs: bool
) -> NDArray[np.int8]:
    n = len(minutes)
    shown = np.full(n, NOT_SHOWN, dtype=np.int8)
    shown[by_fluid] = BY_FLUID
    # of two limbs on one unit the open one hides the other: only eyes at the bedside can tell
    if not two_limbs:
        shown[breath.by_air & ~hard] = BY_AIR
        shown[breath.by_swing & ~hard] = BY_SWING
    charted = laid([Interval(t, t) for t in handled.shown_open_ms], minutes.start_ms, n)
    shown[charted & (shown != BY_SWING) & (shown != BY_AIR)] = BY_CHART
    return shown


def swing_nearby(open_shown: NDArray[np.int8]) -> Flags:
    """Minutes with a breathing swing in them or within five minutes of them."""
    swing = np.asarray(open_shown == BY_SWING)
    out = swing.copy()
    for shift in range(1, 6):
        out[shift:] |= swing[:-shift]
        out[:-shift] |= swing[shift:]
    return out


def _chance(filtered: NDArray[np.float64], open_shown: NDArray[np.int8]) -> NDArray[np.float64]:
    """The filter's chance of leaking at or above the limit, never sure without grounds.

    A quiet minute is only as good as the last time the tube was shown open.
    """
    n = len(filtered)
    if not n:
        return filtered
    last_open = np.maximum.accumulate(np.where(open_shown != NOT_SHOWN, np.arange(n), -OPEN_LATELY_MIN - 1))
    lately = np.arange(n) - last_open <= OPEN_LATELY_MIN
    return np.clip(filtered, np.where(lately, 1 - SURE, 1 - UNSURE), SURE)


def known_minutes(leak: LeakTrace) -> Flags:
    """Recorded throughout (to a millisecond in a second) and free of doubt: what a strict rule may use."""
    return np.asarray((leak.minutes.covered > 0.9995) & (leak.doubt.reason == NO_REASON))
