"""Air in the pleural space: what gathers while the way out is shut, and bursts when it opens."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from slackwater.simulate.course import Course
from slackwater.simulate.fault import Fault, shut_intervals
from slackwater.simulate.patient import Patient
from slackwater.simulate.si import M3_PER_ML, PASCAL_PER_CMH2O, FloatArray
from slackwater.simulate.suction import SuctionStep, ordered

LEAVES_S = 150.0
"""Time constant with which freed air leaves by the tube (ours)."""

LINGERS_S = 2700.0
"""The slower part of it, from pockets (ours)."""

SLOW_SHARE = 0.4


@dataclass(frozen=True)
class Burst:
    """Air leaving the space from `at_s` on: `volume_m3` in all, decaying with `lasting_s`."""

    at_s: float
    volume_m3: float
    lasting_s: float

    def flow(self, times_s: FloatArray) -> FloatArray:
        """Flow out of the space [m³/s]."""
        since = times_s - self.at_s
        decay = np.exp(-np.maximum(since, 0.0) / self.lasting_s)
        return np.where(since >= 0.0, self.volume_m3 / self.lasting_s * decay, 0.0)

    def touches(self, start_s: float, end_s: float) -> bool:
        """Whether anything of it is left to leave between `start_s` and `end_s`."""
        return self.at_s < end_s and start_s < self.at_s + 10.0 * self.lasting_s


@dataclass(frozen=True)
class ShutSpell:
    """An interval with the way out shut: pleural pressure rises from `from_pa` towards `to_pa`.

    A space of compliance C fed through a conductance G fills with time constant C / G.
    """

    start_s: float
    end_s: float
    from_pa: float
    to_pa: float
    fills_s: float

    def pressure(self, times_s: FloatArray) -> FloatArray:
        """Mean pleural pressure at `times_s` [Pa]."""
        since = np.maximum(times_s - self.start_s, 0.0)
        return self.to_pa + (self.from_pa - self.to_pa) * np.exp(-since / self.fills_s)

    def gathered_m3(self, at_s: float, compliance_si: float) -> float:
        """Air gathered by `at_s`, in a space of `compliance_si` [m³/Pa]."""
        since = max(0.0, min(at_s, self.end_s) - self.start_s)
        rise = (self.to_pa - self.from_pa) * (1.0 - math.exp(-since / self.fills_s))
        return max(0.0, rise) * compliance_si


def compliance_si(patient: Patient) -> float:
    """Compliance of the patient's pleural air space [m³/Pa]."""
    return patient.space_compliance_ml_per_cmh2o * M3_PER_ML / PASCAL_PER_CMH2O


def shut_spells(
    faults: Sequence[Fault], course: Course, steps: Sequence[SuctionStep], patient: Patient
) -> tuple[ShutSpell, ...]:
    """What happens behind every closed tube of the stay."""
    spells = []
    for start_s, end_s in shut_intervals(faults):
        minute = min(int(start_s / 60.0), course.rest_si.size - 1)
        suction = ordered(steps, start_s).suction_pa
        # With no added suction the pleura stands at about -6 cmH2O.
        start_pa = -6.0 * PASCAL_PER_CMH2O if suction is None else -suction
        leak = float(course.rest_si[minute])
        if leak > 0.0:
            # Air comes in until the space is at the pressure of the airways.
            spells.append(ShutSpell(start_s, end_s, start_pa, 0.0, compliance_si(patient) / leak))
        else:
            # Nothing comes in: the pleura drifts to where breathing keeps it.
            spells.append(ShutSpell(start_s, end_s, start_pa, start_pa * 0.6, 7200.0))
    return tuple(spells)


def _two_rates(at_s: float, volume_m3: float) -> list[Burst]:
    return [
        Burst(at_s, volume_m3 * (1.0 - SLOW_SHARE), LEAVES_S),
        Burst(at_s, volume_m3 * SLOW_SHARE, LINGERS_S),
    ]


def bursts(
    spells: Sequence[ShutSpell],
    steps: Sequence[SuctionStep],
    patient: Patient,
    leaking_s: FloatArray,
) -> tuple[Burst, ...]:
    """Every burst: after connection, after a step up, after each shut spell of a leaking lung.

    `leaking_s`: the rest conductance by minute, to tell whether air could gather.
    """
    out = _two_rates(20.0, patient.early_air_ml * M3_PER_ML) if patient.early_air_ml > 0 else []
    space = compliance_si(patient)
    before = 0.0
    for i, step in enumerate(steps):
        level = 0.0 if step.suction_pa is None else step.suction_pa
        if i > 0 and level > before:
            out += _two_rates(step.at_h * 3600.0, 0.4 * space * (level - before))
        before = level
    for spell in spells:
        minute = min(int(spell.start_s / 60.0), leaking_s.size - 1)
        if leaking_s[minute] > 0.0:
            out += _two_rates(spell.end_s, spell.gathered_m3(spell.end_s, space))
    return tuple(out)
