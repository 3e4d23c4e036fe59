"""Does the pressure at the unit breathe with the patient, and does the flow answer it?

A swing shows an open tube only if it is breathing. Pump ripple repeats like a clock, breathing
wanders; a heartbeat is small. Too few readings is 'cannot say', never 'no swing'.

The thresholds here are ours, argued in docs/definitions.md; none is a clinical limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.leak import kernels
from slackwater.quantities.spans import MINUTE_MS
from slackwater.trace.types import NONE, Minutes, Trace

BLOCK_MIN = 4  # minutes looked at together: long enough to tell a wandering rhythm from a clock's
SMALLEST_SWING_CMH2O = 1.0  # below this a heartbeat or the pump explains it as well
SHARE_OF_OWN = 0.3  # of the patient's own usual swing
LINE_SHARE = 0.75  # of the band's power within one line of the spectrum: a pump, not a patient
LOW_HZ, HIGH_HZ = 0.1, 0.75  # 6 to 45 breaths a minute
IN_BAND_SHARE = 0.3  # of all movement above the slowest breathing
SHOWS_SWING_MS = 10_000  # from one reading to the next, at the most, for a minute to show a swing
ANSWERS = 0.35  # correlation of flow with pressure from which the flow 'answers'


@dataclass(frozen=True, eq=False)
class Breathing:
    """Per minute: swing (cmH2O, NaN where it cannot be said), and whether it shows the tube open."""

    swing: NDArray[np.float64]
    by_swing: NDArray[np.bool_]
    by_air: NDArray[np.bool_]
    usual_cmh2o: float  # the patient's own usual swing; NaN if never seen
    gauge_cmh2o: float  # what the pressure's print can tell apart
    fast_enough: bool  # the log could show a swing at all
    rate_per_min: NDArray[np.float64]  # by block, spread over its minutes; NaN where unclear
    stir: NDArray[np.float64] | None = None  # cmH2O from one reading to the next, in slow logs


def breathing(trace: Trace, minutes: Minutes, *, ventilated: bool = False) -> Breathing:
    """Swing and its meaning for every minute of `minutes`. `ventilated`: a machine breathes like a clock."""
    n = len(minutes)
    swing = minutes.pressure_p95 - minutes.pressure_p05
    few = ~np.isfinite(swing)
    if few.all():  # a slow log: only its own extremes can show a swing
        swing = minutes.pressure_max - minutes.pressure_min
        swing = np.where(minutes.pressure_readings >= 1, swing, np.nan)
        if trace.pressure_min_mcmh2o is None and trace.every_ms > SHOWS_SWING_MS:
            swing = np.full(n, np.nan)
    fast = bool(np.isfinite(swing).any())
    none = np.zeros(n, dtype=np.bool_)
    gauge = _gauge(trace)
    stir = _stir(trace, minutes)
    if not fast:
        return Breathing(swing, none, _slow_air(minutes), float("nan"), gauge, False, np.full(n, np.nan), stir)
    seen = swing[np.isfinite(swing) & (swing >= SMALLEST_SWING_CMH2O)]
    usual = float(np.percentile(seen, 75)) if len(seen) >= 10 else float("nan")
    needed = max(SMALLEST_SWING_CMH2O, SHARE_OF_OWN * usual) if np.isfinite(usual) else SMALLEST_SWING_CMH2O
    if np.isfinite(gauge):  # one step of the print to and fro is no swing
        needed = max(needed, 2.5 * gauge)
    with np.errstate(invalid="ignore"):
        enough = swing >= needed  # an unknown swing compares as not enough
    if trace.every_ms > 2_500 or trace.pressure_mcmh2o is None:
        by_air = _slow_air(minutes) if trace.every_ms > 10_000 else none
        return Breathing(swing, enough, by_air, usual, gauge, True, np.full(n, np.nan), stir)
    rhythm = _rhythm(trace, minutes.start_ms, n)
    patient = enough & ((rhythm.line_share < LINE_SHARE) | ventilated)
    return Breathing(swing, patient, patient & rhythm.answers, usual, gauge, True, rhythm.rate_per_min)


def _gauge(trace: Trace) -> float:
    """The smallest difference between two pressures that the log prints, in cmH2O."""
    if trace.pressure_mcmh2o is None:
        return float("nan")
    printed = np.unique(trace.pressure_mcmh2o[:: max(1, len(trace.start_ms) // 20_000)])
    steps = np.diff(printed[printed != NONE])
    return float(np.percentile(steps, 10)) / 1000 if len(steps) else float("nan")


def _stir(trace: Trace, minutes: Minutes) -> NDArray[np.float64] | None:
    """How far apart two readings that follow each other are, by minute: in a log of samples, each meets the breath
    at another point. None in a log of means or one that shows a swing, and where most readings print what the last one
    did.
    """
    samples = all(log.statistic == "sample" for log in trace.logs)
    if trace.pressure_mcmh2o is None or trace.every_ms <= SHOWS_SWING_MS or not samples:
        return None
    told = np.flatnonzero(trace.pressure_mcmh2o != NONE)
    apart = np.abs(np.diff(trace.pressure_mcmh2o[told])) / 1000
    place = (trace.start_ms[told[1:]] - minutes.start_ms) // MINUTE_MS
    near = (place >= 0) & (place < len(minutes)) & (np.diff(trace.start_ms[told]) <= 2 * trace.every_ms)
    apart, place = apart[near], place[near]
    most = 3 * float(np.percentile(apart, 75)) if len(apart) else 0.0  # a cough or a glitch is no larger than that
    if most == 0:
        return None
    total = np.bincount(place, np.minimum(apart, most), len(minutes))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(total / np.bincount(place, minlength=len(minutes)))


@dataclass(frozen=True, eq=False)
class _Rhythm:
    line_share: NDArray[np.float64]
    answers: NDArray[np.bool_]
    rate_per_min: NDArray[np.float64]


def _rhythm(trace: Trace, start_ms: int, n: int) -> _Rhythm:
    per_block = int(BLOCK_MIN * MINUTE_MS // trace.every_ms)
    blocks = -(-n // BLOCK_MIN)
    assert trace.pressure_mcmh2o is not None
    pressure, flow = np.empty((blocks, per_block)), np.empty((blocks, per_block))
    counted, moving = np.empty(blocks, dtype=np.int64), np.empty(blocks, dtype=np.int64)
    kernels.lay_blocks(
        trace.start_ms, trace.pressure_mcmh2o, trace.flow_ul_per_min, NONE, start_ms, trace.every_ms,
        pressure, flow, counted, moving,
    )  # fmt: skip
    answer = np.empty(blocks)
    kernels.answers(flow, pressure, moving, answer)
    usable = counted >= 0.5 * per_block
    power = np.abs(np.fft.rfft((pressure * np.hanning(per_block)).astype(np.float32), axis=1)) ** 2
    hz = np.fft.rfftfreq(per_block, trace.every_ms / 1000)
    band = (hz >= LOW_HZ) & (hz <= HIGH_HZ)
    everything = power[:, hz >= LOW_HZ].sum(axis=1)
    power = power[:, band]
    total = power.sum(axis=1)
    peak = power.argmax(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(usable & (total > 0), _lines(power, peak, hz[band].astype(np.float64)) / total, 1.0)
        # what moves faster than anyone breathes (a heart, a pump) must not make the swing
        share = np.where(total >= IN_BAND_SHARE * everything, share, 1.0)
        rate = np.where(usable & (total > 0), hz[band][peak] * 60, np.nan)
    return _Rhythm(*(np.repeat(column, BLOCK_MIN)[:n] for column in (share, usable & (answer >= ANSWERS), rate)))


def _lines(power: NDArray[np.float32], peak: NDArray[np.int64], hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Power within two lines of the strongest one and of its multiples in the band: all of a clock's."""
    step = hz[1] - hz[0]
    at = np.arange(power.shape[1])
    multiple = np.rint(hz[None, :] / hz[peak][:, None])
    off = np.abs(hz[None, :] - multiple * hz[peak][:, None]) / step
    near = (off <= 2.01) & (multiple >= 1) & (at[None, :] >= peak[:, None] - 2)
    return np.asarray((power * near).sum(axis=1), dtype=np.float64)


def _slow_air(minutes: Minutes) -> NDArray[np.bool_]:
    """In a log of slow means: flow that keeps changing at one suction answers the patient.

    A joint's leak follows the pump and is steady; a lung's follows breathing, posture and talk.
    """
    n = len(minutes)
    span = 30
    out = np.zeros(n, dtype=np.bool_)
    if n < span:
        return out
    flow = np.where(minutes.covered > 0.5, minutes.flow, np.nan)
    cell = np.nanmedian(minutes.flow_high - minutes.flow_low) if np.isfinite(minutes.flow_high).any() else 0.0
    for start in range(0, n - span + 1, span):
        piece, pressure = flow[start : start + span], minutes.pressure[start : start + span]
        good = piece[np.isfinite(piece)]
        if len(good) < span // 2:
            continue
        steady = np.nanmax(pressure) - np.nanmin(pressure) < 3.0 if np.isfinite(pressure).any() else True
        low, high = np.percentile(good, (10, 90))
        if steady and low > 0 and high - low >= max(2 * cell, 0.15 * high):
            out[start : start + span] = np.isfinite(piece)
    return out
