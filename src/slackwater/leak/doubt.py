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
GAUGE_STEPS = 4  # of the pressure's print
SWING_KEPT = 0.35  # of the swing before: less, all at once, is a swing lost
STUCK_PRESSURE_MIN = 5
STUCK_READINGS = 30
LONGEST_USUAL = 100_000  # readings; a run longer than this is counted as so long
STUCK_FLOW_MIN = 30
UNMOVED_MIN = 60  # of one flow beside a breathing pressure
WINDOW = 60  # readings that chance does not repeat
LIVELY_STEPS = 4  # of the display: a flow so large must be seen to breathe
LARGE_FLOW_ML_PER_MIN = 1_000.0  # where no ceiling is declared
POSITIVE_CMH2O = 1.0
SUCTION_KEPT = 0.5  # of the suction due
EASY_FLOW_ML_PER_MIN = 200.0  # any pump holds its suction against this
SMALL_FLOW_ML_PER_MIN = 5.0  # a sensor's own wobble about zero
CHANCE_STUCK = 1e-9  # a run of one value less likely than this, by how often values repeat here, is stuck
STOP_ML_PER_MIN, STOP_STEPS = 30.0, 3  # a flow from which a stop within minutes is remarkable
STEADY = 0.5  # of the flow three hours before: it was not on its way down

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
    level = due_suction(minutes, handled)
    off = unit_off(minutes, level) | suction_lost(minutes, level) | laid(handled.off, start, n)
    disconnected = circuit_open(trace, minutes, level) | laid(handled.apart, start, n)
    clamped = laid(handled.clamped, start, n) | (minutes.state == _UNIT_CLAMPED)
    blocked = tube_blocked(minutes, breath, off, level) | _charted_shut(handled, breath, start, n)
    positive = positive_pressure(minutes)
    sensor = sensor_stuck(trace, minutes, breath) | below_zero(minutes)
    sensor |= stopped_at_once(trace, minutes, level, off | disconnected | clamped | blocked)
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


def suction_lost(minutes: Minutes, level: NDArray[np.float64]) -> Flags:
    """Less than half the suction due, for ten minutes, at a flow that no pump gives way to: it is not being applied.

    A large leak pulls suction down too; that is a leak, and stays one.
    """
    with np.errstate(invalid="ignore"):
        short = (level <= -REAL_SUCTION_CMH2O) & (minutes.pressure > SUCTION_KEPT * level)
        return long_enough(short & (minutes.flow < EASY_FLOW_ML_PER_MIN), 10)


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
    """Hardly any flow, and a swing that was there is gone: all at once, or between two stretches that had it.

    A lung that comes up loses its swing slowly and for good; a clot, a kink or a hidden clamp does not.
    It holds until swing or flow is back.
    """
    n = len(minutes)
    out = np.zeros(n, dtype=np.bool_)
    if not breath.fast_enough:
        return out
    swing = np.where(minutes.covered > 0.5, breath.swing, np.nan)
    before = np.concatenate(([np.nan], running_median(swing, 15)[:-1])) if n else swing
    after = running_median(swing, 5, ahead=True)
    flow = np.where(minutes.covered > 0.5, minutes.flow, np.nan)
    flowed = np.concatenate(([np.nan], running_median(flow, 15)[:-1])) if n else flow
    plain = plain_swing(breath)
    with np.errstate(invalid="ignore"):
        still = (minutes.flow_low <= 0) | (flow <= np.fmax(SMALL_FLOW_ML_PER_MIN, 0.3 * flowed))
        sudden = (before >= plain) & (after <= SWING_KEPT * before) & still & ~off & ~_suction_moved(level)
    k = 0
    for onset in np.flatnonzero(sudden).tolist():
        if onset < k:
            continue
        k = _until_back(onset, before[onset], swing, flow, max(SMALL_FLOW_ML_PER_MIN, 0.5 * flowed[onset]))
        out[onset:k] = True
    return (long_enough(out, 5) | _lost_between(swing, still, breath.usual_cmh2o, plain)) & ~off


def plain_swing(breath: Breathing) -> float:
    """The least swing whose loss can be seen, cmH2O: several steps of a gauge that prints coarsely."""
    return max(1.0, GAUGE_STEPS * breath.gauge_cmh2o) if np.isfinite(breath.gauge_cmh2o) else 1.0


def _until_back(
    onset: int, reference: float, swing: NDArray[np.float64], flow: NDArray[np.float64], real_flow: float
) -> int:
    """First minute after `onset` from which swing or flow is back for two minutes running."""
    with np.errstate(invalid="ignore"):
        moving = (swing[onset:] >= 0.5 * reference) | (flow[onset:] > real_flow)
    twice = np.flatnonzero(moving[1:] & moving[:-1])
    return onset + int(twice[0]) if len(twice) else len(swing)


def _lost_between(swing: NDArray[np.float64], still: Flags, usual: float, plain: float) -> Flags:
    """Ten minutes or more with hardly a swing, and a swing again later: the tube was shut in between."""
    out = np.zeros(len(swing), dtype=np.bool_)
    if not np.isfinite(usual) or usual < plain:
        return out
    level = running_median(swing, 9)
    with np.errstate(invalid="ignore"):
        good = np.flatnonzero(level >= 0.5 * usual)
        low = long_enough((level < 0.25 * usual) & still, 10)
    for first, end in stretches(low):
        if len(good) and good[0] < first and good[-1] >= end:
            out[first:end] = True
    return out


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


def sensor_stuck(trace: Trace, minutes: Minutes, breath: Breathing) -> Flags:
    """One printed value for so long that, by how often values repeat in this log, chance cannot explain it; or
    an hour of one flow while the pressure beside it breathes.

    Pressure must move with breathing, and a flow above zero with it. A flow of exactly zero is not stuck by
    itself: that is how a healed lung reads. A gap never ends a stuck run.
    """
    n = len(minutes)
    step = max((log.flow_step_ul_per_min for log in trace.logs), default=0)
    out = _stuck(trace.flow_ul_per_min, trace, minutes.start_ms, n, max(LIVELY_STEPS * step, 1), STUCK_FLOW_MIN)
    with np.errstate(invalid="ignore"):
        one_value = (minutes.flow_min == minutes.flow_max) & (minutes.flow * 1000 >= max(LIVELY_STEPS * step, 1))
        moving = breath.swing >= 1.0
    unmoved = one_value & moving & np.concatenate(([False], minutes.flow[1:] == minutes.flow[:-1]))
    out |= long_enough(unmoved, UNMOVED_MIN)
    if trace.pressure_mcmh2o is not None:
        out |= _stuck(trace.pressure_mcmh2o, trace, minutes.start_ms, n, None, STUCK_PRESSURE_MIN)
        out |= replayed(trace, minutes.start_ms, n)
    return out


def _stuck(values: NDArray[np.int32], trace: Trace, start_ms: int, n: int, least: int | None, minutes: int) -> Flags:
    """Runs of one value (of at least `least`, if given) that are too long for chance, and last `minutes`."""
    known = np.flatnonzero(values != NONE)
    none = np.zeros(n, dtype=np.bool_)
    if len(known) < 3:
        return none
    told = values if len(known) == len(values) else values[known]
    breaks = np.flatnonzero(told[1:] != told[:-1]) + 1
    firsts = np.concatenate(([0], breaks))
    lengths = np.diff(np.concatenate((firsts, [len(told)])))
    worth = told[firsts] >= least if least is not None else np.ones(len(firsts), dtype=np.bool_)
    # how often the next reading repeats the last, by the run that a typical reading stands in: long runs,
    # the suspects, must not vouch for themselves
    usual = lengths[worth]
    if len(usual) < 20:
        return none
    reached = np.cumsum(np.bincount(np.minimum(usual, LONGEST_USUAL)))  # a count, as sorting them all takes longer
    middle, spread = (float(np.searchsorted(reached, share * len(usual))) for share in (0.5, 0.98))
    repeats = 1 - 1 / max(middle, spread / 2, 1.05)
    needed = max(np.log(CHANCE_STUCK) / np.log(repeats), STUCK_READINGS)
    long = np.flatnonzero(worth & (lengths >= needed))
    begins, ends = trace.start_ms[known[firsts[long]]], trace.end_ms[known[firsts[long] + lengths[long] - 1]]
    lasted = ends - begins >= minutes * MINUTE_MS
    return laid((Interval(int(a), int(b)) for a, b in zip(begins[lasted], ends[lasted], strict=True)), start_ms, n)


def replayed(trace: Trace, start_ms: int, n: int) -> Flags:
    """The same lively stretch of pressure twice, reading for reading: a store that plays back what it held.

    Windows are looked at where the values themselves say so, whatever the distance between the copies.
    """
    out = np.zeros(n, dtype=np.bool_)
    values = trace.pressure_mcmh2o
    if values is None or trace.every_ms > 10_000 or len(values) < 4 * WINDOW:
        return out
    anchors = np.flatnonzero((values[:-WINDOW] * np.int32(40503) >> 4) & 63 == 0)
    if len(anchors) < 2:
        return out
    windows = np.lib.stride_tricks.sliding_window_view(values, WINDOW)[anchors]
    lively = (np.diff(windows, axis=1) != 0).sum(axis=1) >= WINDOW // 2
    anchors, windows = anchors[lively], windows[lively]
    weights = np.arange(1, WINDOW + 1, dtype=np.int64) * np.int64(6364136223846793005)
    marks = (windows.astype(np.int64) * weights * (windows + weights)).sum(axis=1)  # wraps round on purpose
    order = np.argsort(marks, kind="stable")
    again = order[1:][marks[order][1:] == marks[order][:-1]]  # every copy but the first
    spans = [
        Interval(int(trace.start_ms[anchors[k]]), int(trace.end_ms[anchors[k] + WINDOW - 1]), "replayed")
        for k in np.sort(again)
    ]
    return long_enough(laid(spans, start_ms, n), STUCK_PRESSURE_MIN)


def stopped_at_once(trace: Trace, minutes: Minutes, level: NDArray[np.float64], explained: Flags) -> Flags:
    """A steady leak that is gone from one minute to the next, while nothing else changed: a sensor that sticks
    at zero, or a zero taken while air flowed, looks just so. It stands until small readings show the sensor alive.

    A lung that seals takes minutes about it. Where the flow later comes back as it was, the leak comes and goes;
    then it was no sensor.
    """
    out = np.zeros(len(minutes), dtype=np.bool_)
    step = max((log.flow_step_ul_per_min for log in trace.logs), default=0) / 1000
    at = np.flatnonzero((minutes.covered > 0.5) & ~explained)  # a gap does not hide the stop
    flow = minutes.flow[at]
    if len(flow) < 60:
        return out
    before = np.concatenate(([np.nan], running_median(flow, 15)[:-1]))
    hours_before = (
        np.concatenate((np.full(181, np.nan), running_median(flow, 31)[:-181])) if len(flow) > 181 else before
    )
    after = running_median(flow, 15, ahead=True)
    last, following = np.roll(flow, 1), np.roll(flow, -1)
    with np.errstate(invalid="ignore"):
        remarkable = before >= max(STOP_ML_PER_MIN, STOP_STEPS * step)
        gone = np.fmax(step / 2, 0.1 * before)
        at_once = (last >= 0.6 * before) & (following <= gone) & (after <= gone)
        steady = ~(hours_before * STEADY > before)
        # a leak that breathes, for half an hour: its readings differ, within the minute or from one to the next
        lively = (minutes.flow_max - minutes.flow_min)[at] > 1.5 * step
        lively |= np.abs(flow - last) > 0
        breathed = np.concatenate(([0.0], np.cumsum(lively)[:-1]))
        breathed = breathed - np.concatenate((np.zeros(30), breathed[:-30])) >= 20
        stop = remarkable & at_once & steady & breathed & ~_suction_moved(level)[at]
    k = 0
    for onset in np.flatnonzero(stop).tolist():
        if onset < k:
            continue
        with np.errstate(invalid="ignore"):
            back = np.flatnonzero(running_median(flow[onset:], 5) >= 0.5 * before[onset])
        k = onset + int(back[0]) if len(back) else len(flow)
        if not len(back):
            first = int(at[onset])
            out[first : _alive(minutes, first, len(minutes), step, float(before[onset]))] = True
    return out


def _alive(minutes: Minutes, onset: int, end: int, step: float, before: float) -> int:
    """First minute by which small readings in three different minutes have shown that the sensor lives at zero."""
    with np.errstate(invalid="ignore"):
        wobble = (minutes.flow_max[onset + 15 : end] >= max(step, 0.1)) & (
            minutes.flow[onset + 15 : end] <= 0.05 * before
        )
    seen = np.flatnonzero(wobble)
    return onset + 15 + int(seen[2]) + 1 if len(seen) >= 3 else end


def below_zero(minutes: Minutes) -> Flags:
    """Flow that reads below zero for minutes on end: the zero has moved, and a leak may hide under it."""
    with np.errstate(invalid="ignore"):
        return long_enough(minutes.flow < 0, 10)
