"""The patient's day: sleep, posture, walks, every breath and every cough of the stay.

All of it is assumption (ours), chosen to look like a ward: nights are slower and calmer,
breaths differ from one another, coughs come in bouts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from slackwater.simulate.patient import Patient
from slackwater.simulate.si import PASCAL_PER_CMH2O, BoolArray, FloatArray, IntArray
from slackwater.simulate.wander import wander


@dataclass(frozen=True)
class Rhythm:
    """Breaths and coughs by time, seconds after connection; states by minute.

    breath_start_s, breath_depth_pa: one entry a breath; recent_depth_pa: mean depth of the
    breaths around it, which the pump takes for the level to hold.
    cough_s, cough_pa: moment and peak airway pressure of each cough.
    posture_pa: shift of the pleural pressure by how the patient lies; posture_gain: how far
    that posture opens (above 1) or closes (below 1) the leak.
    """

    breath_start_s: FloatArray
    breath_depth_pa: FloatArray
    recent_depth_pa: FloatArray
    cough_s: FloatArray
    cough_pa: FloatArray
    asleep: BoolArray
    walking: BoolArray
    posture_pa: FloatArray
    posture_gain: FloatArray


def draw_rhythm(
    patient: Patient,
    minutes: int,
    local_hour: FloatArray,
    asked_coughs_s: Sequence[float],
    rng: np.random.Generator,
) -> Rhythm:
    """One stay's rhythm. `local_hour` is the wall-clock hour (0..24) of each minute.

    `asked_coughs_s`: when staff ask for a cough, seconds after connection.
    """
    asleep = _sleep(local_hour, rng)
    walking = _walks(patient, local_hour, rng)
    posture_pa, posture_gain = _posture(minutes, rng)
    rate, depth = _pace(patient, asleep, walking, rng)
    starts, depths = _breaths(rate, depth, rng)
    cough_s, cough_pa = _coughs(patient, asleep, walking, local_hour, asked_coughs_s, rng)
    recent = np.convolve(np.pad(depths, 8, mode="edge"), np.full(17, 1.0 / 17.0), mode="valid")
    return Rhythm(starts, depths, recent, cough_s, cough_pa, asleep, walking, posture_pa, posture_gain)


def _sleep(local_hour: FloatArray, rng: np.random.Generator) -> BoolArray:
    n = local_hour.size
    bed = 22.5 + wander(n, 0.6, 1500.0, rng)
    up = 6.5 + wander(n, 0.4, 1500.0, rng)
    asleep = (local_hour >= bed) | (local_hour < up)
    for at in np.flatnonzero(rng.random(n) < 1.0 / 150.0).tolist():
        asleep[at : at + int(rng.integers(4, 20))] = False
    return np.asarray(asleep, dtype=np.bool_)


def _walks(patient: Patient, local_hour: FloatArray, rng: np.random.Generator) -> BoolArray:
    n = local_hour.size
    walking = np.zeros(n, dtype=np.bool_)
    if patient.breathing != "own":
        return walking
    may = (local_hour >= 9.0) & (local_hour < 20.0) & (np.arange(n) > 14 * 60)
    for at in np.flatnonzero(may & (rng.random(n) < patient.walks_per_day / 660.0)).tolist():
        walking[at : at + int(rng.integers(4, 13))] = True
    return walking


def _posture(minutes: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    turns = np.flatnonzero(rng.random(minutes) < 1.0 / 55.0)
    which = np.zeros(minutes, dtype=np.int64)
    which[turns] = 1
    which = np.cumsum(which)
    pressure = rng.normal(0.0, 1.0, turns.size + 1) * PASCAL_PER_CMH2O
    gain = np.exp(rng.normal(0.0, 0.10, turns.size + 1))
    return pressure[which], gain[which]


def _pace(
    patient: Patient, asleep: BoolArray, walking: BoolArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    n = asleep.size
    rate = patient.breaths_per_min / 60.0 * np.exp(wander(n, 0.08, 30.0, rng))
    depth = patient.depth_cmh2o * PASCAL_PER_CMH2O * np.exp(wander(n, 0.12, 40.0, rng))
    if patient.breathing == "own":
        rate = rate * np.where(asleep, 0.84, 1.0) * np.where(walking, 1.45, 1.0)
        depth = depth * np.where(asleep, 0.78, 1.0) * np.where(walking, 1.7, 1.0)
    return rate, depth


def _breaths(rate_per_s: FloatArray, depth_pa: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    # Breaths are laid on the integral of the rate, each of a random length with mean one,
    # so that the pace may change without stepping through time.
    edges_s = np.arange(rate_per_s.size + 1) * 60.0
    phase_at_edge = np.concatenate(([0.0], np.cumsum(rate_per_s * 60.0)))
    count = int(phase_at_edge[-1] * 1.05) + 200
    lengths = rng.gamma(70.0, 1.0 / 70.0, count)
    phase = np.concatenate(([-3.0], np.cumsum(lengths) - 3.0))
    starts = np.interp(phase, phase_at_edge, edges_s, left=-20.0, right=edges_s[-1] + 1e4)
    starts = np.maximum.accumulate(starts + np.arange(starts.size) * 1e-9)
    minute = np.clip((starts / 60.0).astype(np.int64), 0, depth_pa.size - 1)
    depth = depth_pa[minute] * np.exp(0.18 * rng.standard_normal(starts.size))
    sighs = rng.random(starts.size) < 1.0 / 140.0
    # No breath is deeper than about three quiet ones.
    deepest = 3.0 * float(np.median(depth_pa))
    return starts, np.minimum(np.where(sighs, depth * 2.2, depth), deepest)


def _coughs(
    patient: Patient,
    asleep: BoolArray,
    walking: BoolArray,
    local_hour: FloatArray,
    asked_s: Sequence[float],
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    n = asleep.size
    bouts = np.where(asleep, patient.coughs_per_hour_asleep, patient.coughs_per_hour_awake) / 120.0
    bouts = np.where(walking, bouts * 4.0, bouts)
    minutes = np.flatnonzero(rng.random(n) < bouts)
    starts = [float(m) * 60.0 + float(rng.uniform(0.0, 50.0)) for m in minutes.tolist()]
    # Breathing exercises: about three rounds a day.
    exercise = np.flatnonzero((np.isin(local_hour.astype(np.int64), (10, 14, 17))) & ~asleep)
    rounds: IntArray = exercise[rng.random(exercise.size) < 1.0 / 60.0]
    starts += [float(m) * 60.0 for m in rounds.tolist() for _ in range(2)]
    starts += list(asked_s)
    at: list[float] = []
    for start in sorted(starts):
        for k in range(1 + int(rng.poisson(1.0))):
            at.append(start + 1.6 * k + float(rng.uniform(0.0, 0.4)))
    cough_s = np.array(sorted(at))
    peak = patient.cough_cmh2o * PASCAL_PER_CMH2O * np.exp(0.35 * rng.standard_normal(cough_s.size))
    asked = np.zeros(cough_s.size, dtype=np.bool_)
    for moment in asked_s:
        asked |= (cough_s >= moment) & (cough_s < moment + 12.0)
    # A cough on request is a good one.
    return cough_s, np.where(asked, np.maximum(peak, patient.cough_cmh2o * PASCAL_PER_CMH2O), peak)
