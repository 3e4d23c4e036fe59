"""Why a minute of flow may not mean what it says: doubt comes before inference.

Physics tells the causes of a zero apart. Each function below answers for one cause and every minute;
`doubts` puts them together. A doubt can only ever take a minute out of the evidence; it never makes one.

The thresholds are ours, argued in docs/definitions.md; they decide what is distrusted, not what is safe.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.breathing import Breathing
from slackwater.leak.handling import Handling
from slackwater.leak.stretches import Flags, laid, long_enough, running_median, stretches
from slackwater.leak.words import (
    BLOCKED,
    CLAMPED,
    CLOCK,
    CONFLICT,
    DISCONNECTED,
    MISSING,
    OFF,
    SENSOR,
    SHARED,
)
from slackwater.reading.log import NONE, STATES
from slackwater.trace.types import MINUTE_MS, Interval, Minutes, Trace

ENOUGH_COVERED = 0.8  # of a minute, to speak of its state
SUCTION_LOST_CMH2O = 1.5  # nearer to zero than this is no suction
REAL_SUCTION_CMH2O = 4.0  # suction that can be told from none
SWING_KEPT = 0.35  # of the swing before: less, all at once, is a swing lost
STUCK_MIN = 30
LARGE_FLOW_ML_PER_MIN = 1_000.0  # where no ceiling is declared
POSITIVE_CMH2O = 1.0

_UNIT_OFF = tuple(STATES.index(word) for word in ("off", "standby", "charging", "self_test", "fault"))
_UNIT_CLAMPED = STATES.index("clamped")


@dataclass(frozen=True, eq=False)
class Doubts:
    """Reason code per minute (words.REASONS), and the same causes as flags for whoever needs one alone."""

    reason: NDArray[np.int8]
    off: Flags
    disconnected: Flags
    clamped: Flags
    blocked: Flags
    sensor: Flags
    positive: Flags


def doubts(trace: Trace, minutes: Minutes, breath: Breathing, handled: Handling, *, shared: bool) -> Doubts:
    """Every minute's doubt. Where several apply, the one that explains most is kept: see the order below."""
    n, start = len(minutes), minutes.start_ms
    level = usual_suction(minutes)
    off = unit_off(minutes, breath, level) | laid(handled.off, start, n)
    disconnected = circuit_open(trace, minutes, level) | laid(handled.apart, start, n)
    clamped = laid(handled.clamped, start, n) | (minutes.state == _UNIT_CLAMPED)
    blocked = tube_blocked(minutes, breath, off, level) | _charted_shut(handled, breath, start, n)
    positive = positive_pressure(minutes)
    sensor = sensor_stuck(trace, minutes) | below_zero(minutes)
    reason = np.zeros(n, dtype=np.int8)
    if shared:  # quiet here may be air leaving by the other drain or limb
        reason[:] = SHARED
    # later lines overrule earlier ones: what is known of the tube explains what the sensor shows
    reason[sensor] = SENSOR
    reason[blocked | positive] = BLOCKED
    reason[off] = OFF
    reason[disconnected] = DISCONNECTED
    reason[clamped] = CLAMPED
    reason[minutes.covered < ENOUGH_COVERED] = MISSING
    reason[laid(handled.off, start, n) & (minutes.covered < ENOUGH_COVERED)] = OFF
    reason[minutes.conflict] = CONFLICT
    reason[minutes.clock] = CLOCK
    return Doubts(reason, off, disconnected, clamped, blocked, sensor, positive)


def usual_suction(minutes: Minutes) -> NDArray[np.float64]:
    """The suction that ought to be there, cmH2O (negative), per minute: set if logged, else what lately was.

    NaN where it cannot be said.
    """
    if np.isfinite(minutes.set_suction).any():
        return minutes.set_suction
    lately = running_median(minutes.pressure, 61)
    level = np.full(len(minutes), np.nan)
    held = np.nan
    for k, value in enumerate(lately):  # the last level that was real suction stands until another does
        if value <= -REAL_SUCTION_CMH2O:
            held = value
        level[k] = held
    return level


def unit_off(minutes: Minutes, breath: Breathing, level: NDArray[np.float64]) -> Flags:
    """The unit says so; or no flow at all, no suction where there should be some, and nothing moves."""
    said = np.isin(minutes.state, _UNIT_OFF)
    with np.errstate(invalid="ignore"):
        no_flow = minutes.flow_max <= 0
        no_suction = np.abs(minutes.pressure) < SUCTION_LOST_CMH2O
        still = ~(minutes.pressure_max - minutes.pressure_min >= 1.0)
        due = level <= -REAL_SUCTION_CMH2O
        dead = (
            (minutes.flow_max == 0)
            & (minutes.flow_min == 0)
            & (minutes.pressure_max == 0)
            & (minutes.pressure_min == 0)
        )
    return said | long_enough(no_flow & no_suction & still & due, 2) | long_enough(dead, 2)


def circuit_open(trace: Trace, minutes: Minutes, level: NDArray[np.float64]) -> Flags:
    """Flow at the most the unit can move, and suction lost: apart, or a very large leak. Never quiet.

    In gravity drainage a circuit that has come apart reads zero: there, no flow and a still pressure
    at that of the room is the same doubt.
    """
    declared = [log.flow_ceiling_ul_per_min for log in trace.logs if log.flow_ceiling_ul_per_min != NONE]
    with np.errstate(invalid="ignore"):
        if declared:
            near_top = minutes.flow_max >= 0.95 * max(declared) / 1000
        else:
            top = np.nanmax(minutes.flow_max) if np.isfinite(minutes.flow_max).any() else np.nan
            near_top = (minutes.flow >= 0.8 * top) & (minutes.flow >= LARGE_FLOW_ML_PER_MIN)
        lost = np.abs(minutes.pressure) < 0.5 * np.abs(level)
        lost |= ~np.isfinite(minutes.pressure) | ~np.isfinite(level)
        gravity = level > -REAL_SUCTION_CMH2O
        room = (
            (np.abs(minutes.pressure) < 0.3)
            & (minutes.pressure_max - minutes.pressure_min < 0.5)
            & (minutes.flow_max <= 0)
        )
    return (near_top & lost) | long_enough(gravity & room, 5)


def tube_blocked(minutes: Minutes, breath: Breathing, off: Flags, level: NDArray[np.float64]) -> Flags:
    """No flow, and a swing that was there is gone all at once, or a pressure that moved moves no more.

    A lung that comes up loses its swing slowly; a clot, a kink or a hidden clamp does not. It holds until
    swing or flow is back.
    """
    n = len(minutes)
    out = np.zeros(n, dtype=np.bool_)
    if not breath.fast_enough:
        return out
    swing = np.where(minutes.covered > 0.5, breath.swing, np.nan)
    before = running_median(swing, 15)
    after = running_median(swing, 5, ahead=True)
    still = _no_flow(minutes)
    with np.errstate(invalid="ignore"):
        had = np.concatenate(([np.nan], before[:-1]))
        sudden = (had >= 1.0) & (after <= SWING_KEPT * had) & still & ~off
    stepped = _suction_moved(level)
    k = 0
    while k < n:
        if not sudden[k] or stepped[k]:
            k += 1
            continue
        end = k
        reference = had[k]
        quiet_back = 0
        while end < n:
            with np.errstate(invalid="ignore"):
                moving = swing[end] >= 0.5 * reference or (
                    np.isfinite(minutes.flow_min[end]) and minutes.flow_min[end] > 0
                )
            quiet_back = quiet_back + 1 if moving else 0
            if quiet_back >= 2:
                end -= 1
                break
            end += 1
        out[k:end] = True
        k = max(end, k + 1)
    return out & ~off


def _no_flow(minutes: Minutes) -> Flags:
    """At most one printed step of flow, taken over the minute."""
    with np.errstate(invalid="ignore"):
        return minutes.flow_low <= 0


def _suction_moved(level: NDArray[np.float64]) -> Flags:
    """Within five minutes of a change of suction a swing may change too."""
    moved = np.zeros(len(level), dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        steps = np.flatnonzero(np.abs(np.diff(level)) > 1.5)
    for step in steps:
        moved[max(step - 5, 0) : step + 7] = True
    return moved


def _charted_shut(handled: Handling, breath: Breathing, start_ms: int, n: int) -> Flags:
    """A kink is charted when it is found: the doubt reaches back to when the tube was last shown open."""
    out = np.zeros(n, dtype=np.bool_)
    open_at = np.flatnonzero(breath.by_swing | breath.by_air)
    for interval in handled.shut:
        found = (interval.start_ms - start_ms) // MINUTE_MS
        earlier = open_at[open_at < found]
        first = int(earlier[-1]) + 1 if len(earlier) else 0
        charted = [t for t in handled.shown_open_ms if t < interval.start_ms]
        if charted:
            first = max(first, (charted[-1] - start_ms) // MINUTE_MS + 1)
        out |= laid((Interval(start_ms + max(first, 0) * MINUTE_MS, interval.end_ms),), start_ms, n)
    return out


def positive_pressure(minutes: Minutes) -> Flags:
    """Pressure above the room's for five minutes on end: the way out is shut."""
    with np.errstate(invalid="ignore"):
        return long_enough(minutes.pressure > POSITIVE_CMH2O, 5)


def sensor_stuck(trace: Trace, minutes: Minutes) -> Flags:
    """The same printed value for half an hour where breathing must show. A gap never ends a stuck run.

    A flow of exactly zero is not stuck by itself: that is how a healed lung reads. A steady small
    flow may print one value for long, so the value must be several steps of the display.
    """
    step = max((log.flow_step_ul_per_min for log in trace.logs), default=0) / 1000
    with np.errstate(invalid="ignore"):
        one_value = (minutes.flow_min == minutes.flow_max) & (minutes.covered > 0)
        worth = minutes.flow >= max(5 * step, 1e-9)
    flow = _held(minutes.flow, one_value & worth, minutes.covered > 0)
    with np.errstate(invalid="ignore"):
        still = (minutes.pressure_min == minutes.pressure_max) & (minutes.pressure_readings >= 10)
        suction = np.abs(minutes.pressure) >= SUCTION_LOST_CMH2O
    pressure = _held(minutes.pressure, still & suction, minutes.pressure_readings > 0)
    return flow | pressure


def _held(values: NDArray[np.float64], same_within: Flags, recorded: Flags) -> Flags:
    """Minutes of a run of one value that lasts, passing over minutes with no record."""
    out = np.zeros(len(values), dtype=np.bool_)
    known = np.flatnonzero(recorded)
    if not len(known):
        return out
    alike = same_within[known]
    joined = alike[1:] & alike[:-1] & (values[known[1:]] == values[known[:-1]])
    for first, end in stretches(np.asarray(joined)):
        span = known[first : end + 1]
        if len(span) >= STUCK_MIN:
            out[span[0] : span[-1] + 1] = True
    return out


def below_zero(minutes: Minutes) -> Flags:
    """Flow that reads below zero for minutes on end: the zero has moved, and a leak may hide under it."""
    with np.errstate(invalid="ignore"):
        return long_enough(minutes.flow < 0, 10)
