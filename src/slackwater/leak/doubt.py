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
from slackwater.leak.shut import SMALL_FLOW_ML_PER_MIN, charted_shut, tube_blocked
from slackwater.leak.stopped import stopped
from slackwater.leak.stretches import Flags, laid, long_enough, running_median, stretches
from slackwater.leak.stuck import LARGE_FLOW_ML_PER_MIN, sensor_stuck
from slackwater.leak.words import (
    BLOCKED,
    CLAMPED,
    CLOCK,
    CONFLICT,
    DISCONNECTED,
    MISSING,
    NO_REASON,
    OFF,
    SENSOR,
    SHARED,
)
from slackwater.quantities.spans import MINUTE_MS
from slackwater.reading.log import NONE, STATES
from slackwater.trace.minutes import cells
from slackwater.trace.types import Minutes, Trace

ENOUGH_COVERED = 0.8  # of a minute, to speak of its state
SUCTION_LOST_CMH2O = 1.5  # nearer to zero than this is no suction
REAL_SUCTION_CMH2O = 4.0  # suction that can be told from none
POSITIVE_CMH2O = 1.0
SUCTION_KEPT = 0.5  # of the suction due
LONGEST_FALL_MIN = 240  # of a suction that is lost little by little
BELOW_ML_PER_MIN = 1.0  # nearer to zero than this is no shift of it
EASY_FLOW_ML_PER_MIN = 200.0  # any pump holds its suction against this

_UNIT_OFF = tuple(STATES.index(word) for word in ("off", "standby", "charging", "self_test", "fault"))
_NOT_APPLIED = tuple(STATES.index(word) for word in ("suction_not_reached", "container_full", "tilted"))
_UNIT_BLOCKED = STATES.index("line_blocked")
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


def doubts(
    trace: Trace, minutes: Minutes, breath: Breathing, handled: Handling, *, shared: bool, against: Flags | None = None
) -> Doubts:
    """Every minute's doubt. Where several apply, the one that explains most is kept: see the order below.

    `against`: minutes that the chart contradicts (`contradicted`).
    """
    n, start = len(minutes), minutes.start_ms
    level = due_suction(minutes, handled)
    moved = suction_moved(level)
    off = unit_off(minutes, level) | suction_lost(minutes, level, moved) | laid(handled.off, start, n)
    disconnected = circuit_open(trace, minutes, level) | laid(handled.apart, start, n)
    clamped = laid(handled.clamped, start, n) | (minutes.state == _UNIT_CLAMPED)
    blocked = tube_blocked(minutes, breath, handled, off, moved) | charted_shut(handled, breath, minutes)
    with np.errstate(invalid="ignore"):
        blocked |= (minutes.state == _UNIT_BLOCKED) & ~(minutes.flow >= EASY_FLOW_ML_PER_MIN)
    positive = positive_pressure(minutes)
    sensor = sensor_stuck(trace, minutes, breath) | below_zero(trace, minutes)
    shut, dead = stopped(trace, minutes, breath, handled, moved, off | disconnected | clamped | blocked | sensor)
    blocked |= shut
    sensor |= dead
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
    if against is not None:  # what else is known of the minute explains it better
        reason[against & np.isin(reason, (NO_REASON, SHARED, MISSING))] = CONFLICT
    reason[minutes.clock] = CLOCK
    return Doubts(reason, off, disconnected, clamped, blocked, sensor, positive)


def due_suction(minutes: Minutes, handled: Handling) -> NDArray[np.float64]:
    """The suction that ought to be there, cmH2O (negative), per minute: as set, else as ordered, else as it lately was.

    NaN where it cannot be said.
    """
    if np.isfinite(minutes.set_suction).any():
        return minutes.set_suction
    if handled.ordered:
        times = np.array([time for time, _ in handled.ordered], dtype=np.int64)
        levels = np.array([level for _, level in handled.ordered])
        at = np.searchsorted(times, minutes.start_ms + MINUTE_MS * np.arange(len(minutes)), side="right") - 1
        return np.where(at >= 0, levels[np.maximum(at, 0)], np.nan)
    lately = running_median(minutes.pressure, 61)
    real = np.flatnonzero(lately <= -REAL_SUCTION_CMH2O)  # a level that was real suction stands until another does
    if not len(real):
        return np.full(len(minutes), np.nan)
    at = np.searchsorted(real, np.arange(len(minutes)), side="right") - 1
    return np.where(at >= 0, lately[real[np.maximum(at, 0)]], np.nan)


def unit_off(minutes: Minutes, level: NDArray[np.float64]) -> Flags:
    """The unit says so, or that suction is not applied; or no flow, no suction where it is due, and nothing moves."""
    said = np.isin(minutes.state, _UNIT_OFF)
    with np.errstate(invalid="ignore"):
        # it still runs: what flows is air, and a large leak is one reason why the suction is not reached
        said |= np.isin(minutes.state, _NOT_APPLIED) & ~(minutes.flow >= EASY_FLOW_ML_PER_MIN)
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


def suction_lost(minutes: Minutes, level: NDArray[np.float64], moved: Flags) -> Flags:
    """Less than half the suction due, for ten minutes, at a flow that no pump gives way to: it is not being applied.

    The fall from what was held before belongs to it, while no air comes. A large leak pulls suction down too; that is
    a leak, and stays one.
    """
    with np.errstate(invalid="ignore"):
        short = (level <= -REAL_SUCTION_CMH2O) & (minutes.pressure > SUCTION_KEPT * level)
        lost = long_enough(short & (minutes.flow < EASY_FLOW_ML_PER_MIN), 10)
        air = minutes.flow > SMALL_FLOW_ML_PER_MIN
    for first, _ in stretches(lost):
        changed = np.flatnonzero(moved[:first])
        since = max(first - LONGEST_FALL_MIN, int(changed[-1]) + 1 if len(changed) else 0)
        earlier = minutes.pressure[since:first]
        if np.isfinite(earlier).sum() < 30:
            continue
        held = float(np.nanpercentile(earlier, 20))
        with np.errstate(invalid="ignore"):
            up = np.flatnonzero((earlier <= held + max(0.5, 0.05 * abs(held))) | air[since:first])
        lost[since + (int(up[-1]) + 1 if len(up) else 0) : first] = True
    return lost


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


def suction_moved(level: NDArray[np.float64]) -> Flags:
    """Within five minutes of a change of suction a swing may change too."""
    moved = np.zeros(len(level), dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        steps = np.flatnonzero(np.abs(np.diff(level)) > 1.5)
    for step in steps:
        moved[max(step - 5, 0) : step + 7] = True
    return moved


def positive_pressure(minutes: Minutes) -> Flags:
    """Pressure above the room's for five minutes on end: the way out is shut."""
    with np.errstate(invalid="ignore"):
        return long_enough(minutes.pressure > POSITIVE_CMH2O, 5)


def below_zero(trace: Trace, minutes: Minutes) -> Flags:
    """Flow that reads below zero for minutes on end: the zero has moved, or the sign is turned, and a leak may hide.

    By its whole cell, for a floor prints -10 for the least below zero; `flow_high` cannot say it, being never below
    zero. By a millilitre a minute at least, for around zero a fine display strays to either side.
    """
    reach = max(BELOW_ML_PER_MIN, float(cells(trace.logs)[1].max(initial=0)) / 2000)
    with np.errstate(invalid="ignore"):
        return long_enough(minutes.flow + reach < 0, 10)
