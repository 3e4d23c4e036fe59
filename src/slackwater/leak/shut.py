"""A tube that is shut: what moved with the patient moves no more, and hardly any air comes.

A lung that comes up stops leaking first and loses its swing over many hours, and for good. A clot, a kink or a hidden
clamp takes swing and air together, within a minute or within an hour or two, or gives the swing back later.

The thresholds are ours, argued in docs/definitions.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.breathing import Breathing
from slackwater.leak.handling import Handling
from slackwater.leak.stopped import STOP_ML_PER_MIN
from slackwater.leak.stretches import Flags, laid, long_enough, running_median, stretches
from slackwater.quantities.spans import MINUTE_MS
from slackwater.trace.types import Interval, Minutes

GAUGE_STEPS = 4  # of the pressure's print
SWING_KEPT = 0.35  # of the swing before: less, all at once, is a swing lost
SMALL_FLOW_ML_PER_MIN = 5.0  # a sensor's own wobble about zero
STIR_MIN = 30  # minutes of a slow log that are looked at together
LEAST_SWING_CMH2O = 1.0  # to see it lost
LEAST_OF_FEW_CMH2O, FEW_READINGS = 0.4, 6  # the same, of so few readings a minute: they show less of a swing
STIR_KEPT = 0.2  # of the distance between readings before: samples scatter more than a swing does
LEAST_STIR_CMH2O = 0.5  # from reading to reading: less may be the pump's own
FADED = 0.25  # of the swing three hours before
FADE_MIN = 180

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Motion:
    """How much the pressure moves, cmH2O, by minute: now, before and after. Less than `plain` is too little to lose;
    after, no more than `kept` of it is left where it is lost.
    """

    now: Floats
    before: Floats
    after: Floats
    plain: float
    kept: float


def tube_blocked(minutes: Minutes, breath: Breathing, handled: Handling, off: Flags, moved: Flags) -> Flags:
    """Hardly any flow, and a swing that was there is gone: all at once, within three hours in which the air went with
    it, or between two stretches that had it. It holds until swing or flow is back.

    In a log too slow for a swing, how far apart two readings are stands for it. `moved`: minutes near a change of
    suction, when a swing may change too.
    """
    flow = np.where(minutes.covered > 0.5, minutes.flow, np.nan)
    flowed = _before(running_median(flow, 15))
    with np.errstate(invalid="ignore"):
        still = (minutes.flow_low <= 0) | (flow <= np.fmax(SMALL_FLOW_ML_PER_MIN, 0.3 * flowed))
    if breath.fast_enough:
        swing = np.where(minutes.covered > 0.5, breath.swing, np.nan)
        before, after = _before(running_median(swing, 15)), running_median(swing, 5, ahead=True)
        motion = _Motion(swing, before, after, plain_swing(minutes, breath), SWING_KEPT)
    elif breath.stir is not None:
        stir = np.where(minutes.covered > 0.5, breath.stir, np.nan)
        least = max(LEAST_STIR_CMH2O, breath.gauge_cmh2o / 2)
        motion = _Motion(_mean(stir, 0, 5), _mean(stir, STIR_MIN, 0), _mean(stir, 0, STIR_MIN), least, STIR_KEPT)
    else:
        return np.zeros(len(minutes), dtype=np.bool_)
    out = _lost_at_once(motion, flow, flowed, still & ~off & ~moved)
    out |= _faded(motion, minutes, handled, flow, flowed, moved)
    if breath.fast_enough:
        out |= _lost_between(motion, flow, still, breath.usual_cmh2o)
    return out & ~off


def plain_swing(minutes: Minutes, breath: Breathing) -> float:
    """The least swing whose loss can be seen, cmH2O: several steps of a gauge that prints coarsely."""
    least = LEAST_SWING_CMH2O if np.median(minutes.pressure_readings) > FEW_READINGS else LEAST_OF_FEW_CMH2O
    return max(least, GAUGE_STEPS * breath.gauge_cmh2o) if np.isfinite(breath.gauge_cmh2o) else least


def _lost_at_once(motion: _Motion, flow: Floats, flowed: Floats, still: Flags) -> Flags:
    out = np.zeros(len(flow), dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        sudden = (motion.before >= motion.plain) & (motion.after <= motion.kept * motion.before) & still
        sudden &= motion.now <= SWING_KEPT * motion.before
    k = 0
    for onset in np.flatnonzero(sudden).tolist():
        if onset < k:
            continue
        k = _until_back(onset, motion.before[onset], motion.now, flow, max(SMALL_FLOW_ML_PER_MIN, 0.5 * flowed[onset]))
        out[onset:k] = True
    return long_enough(out, 5)


def _faded(motion: _Motion, minutes: Minutes, handled: Handling, flow: Floats, flowed: Floats, moved: Flags) -> Flags:
    """Swing and leak were plain three hours before, and both are gone: from where the swing fell to half of it.

    A lung may come up so, too: a look at the tube that finds it open ends the doubt.
    """
    n = len(flow)
    out = np.zeros(n, dtype=np.bool_)
    if n <= FADE_MIN:
        return out
    swung, leaked = (np.concatenate((np.full(FADE_MIN, np.nan), was[:-FADE_MIN])) for was in (motion.before, flowed))
    unmoved = np.cumsum(moved)
    unmoved = unmoved == np.concatenate((np.full(FADE_MIN, unmoved[0]), unmoved[:-FADE_MIN]))
    with np.errstate(invalid="ignore"):
        swing_gone = (swung >= motion.plain) & (motion.before <= FADED * swung)
        air_gone = (leaked >= STOP_ML_PER_MIN) & (flowed <= np.fmax(SMALL_FLOW_ML_PER_MIN, 0.1 * leaked))
    looked = [(t - minutes.start_ms) // MINUTE_MS for t in handled.shown_open_ms]
    k = 0
    for gone in np.flatnonzero(swing_gone & air_gone & unmoved).tolist():
        if gone < k:
            continue
        with np.errstate(invalid="ignore"):
            there = np.flatnonzero(motion.now[gone - FADE_MIN : gone] >= 0.5 * swung[gone])
        first = gone - FADE_MIN + (int(there[-1]) + 1 if len(there) else 0)
        k = _until_back(gone, swung[gone], motion.now, flow, max(SMALL_FLOW_ML_PER_MIN, 0.5 * leaked[gone]))
        out[first : min([k, *(minute for minute in looked if minute >= gone)])] = True
    return out


def _lost_between(motion: _Motion, flow: Floats, still: Flags, usual: float) -> Flags:
    """Ten minutes or more with hardly a swing, and a swing again later: the tube was shut in between.

    Between two half hours that mostly had a swing it was closing or opening, too, where swing and flow were under half.
    """
    out = np.zeros(len(still), dtype=np.bool_)
    if not usual >= motion.plain:
        return out
    about = np.concatenate((running_median(motion.now, 9)[4:], np.full(4, np.nan)))[: len(still)]
    with np.errstate(invalid="ignore"):
        good = about >= 0.5 * usual
        low = long_enough((about < 0.25 * usual) & still, 10)
        under_half = about < 0.5 * usual
    seen = np.flatnonzero(good)
    for first, end in stretches(low):
        if len(seen) and seen[0] < first and seen[-1] >= end:
            out[first:end] = True
    for first, end in stretches(under_half):
        before, after = slice(max(first - 30, 0), first), slice(end, end + 30)
        if out[first:end].any() and min(good[before].sum(), good[after].sum()) >= 15:
            air = np.nanmax((np.nanmedian(flow[before]), np.nanmedian(flow[after])))
            with np.errstate(invalid="ignore"):
                out[first:end] |= flow[first:end] <= max(SMALL_FLOW_ML_PER_MIN, 0.5 * air)
    return out


def _until_back(onset: int, reference: float, now: Floats, flow: Floats, real_flow: float) -> int:
    """First minute after `onset` from which swing or flow is back for two minutes running."""
    with np.errstate(invalid="ignore"):
        moving = (now[onset:] >= 0.5 * reference) | (flow[onset:] > real_flow)
    twice = np.flatnonzero(moving[1:] & moving[:-1])
    return onset + int(twice[0]) if len(twice) else len(now)


def charted_shut(handled: Handling, breath: Breathing, minutes: Minutes) -> Flags:
    """A kink is charted when it is found: the doubt reaches back to when the tube was last shown open, or carried air
    that the minutes before the finding did not.
    """
    n, start_ms = len(minutes), minutes.start_ms
    out = np.zeros(n, dtype=np.bool_)
    open_at = np.flatnonzero(breath.by_swing | breath.by_air)
    for interval in handled.shut:
        found = min((interval.start_ms - start_ms) // MINUTE_MS, n)
        earlier = open_at[open_at < found]
        first = int(earlier[-1]) + 1 if len(earlier) else 0
        charted = [t for t in handled.shown_open_ms if t < interval.start_ms]
        if charted:
            first = max(first, (charted[-1] - start_ms) // MINUTE_MS + 1)
        at_rest = minutes.flow[max(found - 30, 0) : max(found - 15, 0)]  # what comes when it is freed comes at once
        at_rest = at_rest[np.isfinite(at_rest)]
        if len(at_rest):
            with np.errstate(invalid="ignore"):
                real = max(SMALL_FLOW_ML_PER_MIN, float(np.median(at_rest)) / 0.3)
                carried = np.flatnonzero(minutes.flow[: found - 15] > real)
            first = max(first, int(carried[-1]) + 1 if len(carried) else 0)
        out |= laid((Interval(start_ms + max(first, 0) * MINUTE_MS, interval.end_ms),), start_ms, n)
    return out


def _before(values: Floats) -> Floats:
    """Each minute given what the one before it had."""
    return np.concatenate(([np.nan], values[:-1])) if len(values) else values


def _mean(values: Floats, back: int, ahead: int) -> Floats:
    """Mean of the `back` minutes before and of `ahead` minutes from each on; NaN where under half are known."""
    n, known = len(values), np.isfinite(values)
    total = np.concatenate(([0.0], np.cumsum(np.where(known, values, 0.0))))
    count = np.concatenate(([0], np.cumsum(known)))
    first, end = np.clip(np.arange(n) - back, 0, n), np.clip(np.arange(n) + ahead, 0, n)
    many = count[end] - count[first]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(2 * many >= back + ahead, (total[end] - total[first]) / many, np.nan)
