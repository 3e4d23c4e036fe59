"""Lung, pleura, tube and pump together: what really flows and what pressure stands at the unit.

Quasi-static, four samples a second, in blocks: at these flows the tube loses next to
nothing (50 mL/min in 2 m of 6 mm bore: 0.01 cmH2O), so pressures settle within a sample
and only the air space, the pump and the swing have a memory. No step-by-step integration:
each memory is a closed form or a short smoothing.

          lung ──G──> pleural space ──tube, fluid column──> unit (regulated suction)
        airway          pleura_pa                            unit_pa
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slackwater.simulate.airflow import (
    BREATH_MEAN,
    airway_shape,
    breath_shape,
    heart_ripple,
    leak_flow,
    pump_ripple,
    smooth_kernel,
    tube_resistance,
)
from slackwater.simulate.circuit import Circuit, circuit_over
from slackwater.simulate.course import Course
from slackwater.simulate.fault import Fault
from slackwater.simulate.patient import Patient
from slackwater.simulate.rhythm import Rhythm
from slackwater.simulate.si import (
    ATMOSPHERE_PA,
    M3_PER_ML,
    M3_PER_S_PER_ML_PER_MIN,
    PASCAL_PER_CMH2O,
    BoolArray,
    FloatArray,
)
from slackwater.simulate.space import Burst, ShutSpell
from slackwater.simulate.suction import SuctionStep, suction_over

DT_S = 0.25
HALO_S = 30.0
"""Run-in before each block, so that smoothing has its memory."""

SPACE_SMOOTHS_S = 2.0
"""How the air space and tube smooth the flow on its way (ours)."""

JOINT_SMOOTHS_S = 5.0
"""How the air in tube and canister smooths what enters at a joint (ours)."""

COUGH_AT_DEFECT = 0.4
"""Share of a cough's airway pressure that drives air through the defect (ours)."""

COUGH_AT_UNIT = 0.10
"""Share of it that the unit's pressure sensor sees (ours)."""

WALK_OPENS = 0.12
"""How far an effort leak opens while walking, against coughing (ours)."""


@dataclass(frozen=True)
class Plumbing:
    """What belongs to this stay's unit and tube: errors, ripple, the usual bit of fluid.

    delivered: share of the set suction that is delivered (usually 0.9 to 1.0).
    column_pa: by minute, suction lost to ordinary fluid in the tubing.
    """

    pump_top_m3_per_s: float
    delivered: float
    hunting_pa: float
    ripple_phase: float
    column_pa: FloatArray


@dataclass(frozen=True)
class Block:
    """What happens at each sample of a block. Flows in m³/s, pressures in Pa.

    unit_flow and unit_pa are what the unit's sensors meet. lung_rest is what leaves the
    lung at rest, lung_effort what cough and walking add. swing_pa is the size of the
    breathing swing at the unit. standing: the pump stands still, nothing passes the sensor.
    """

    unit_flow: FloatArray
    unit_pa: FloatArray
    lung_rest: FloatArray
    lung_effort: FloatArray
    swing_pa: FloatArray
    open_way: FloatArray
    standing: BoolArray


@dataclass(frozen=True)
class Drainage:
    """One patient on one unit, ready to be asked about any block of time."""

    patient: Patient
    plumbing: Plumbing
    rhythm: Rhythm
    course: Course
    steps: tuple[SuctionStep, ...]
    faults: tuple[Fault, ...]
    spells: tuple[ShutSpell, ...]
    bursts: tuple[Burst, ...]

    def block(self, start_s: float, seconds: float) -> Block:
        """Everything between `start_s` and `start_s + seconds` after connection."""
        return _Workings(self, start_s, seconds).block()


class _Workings:
    """The arrays of one block, worked out in the order of the drawing above."""

    def __init__(self, drainage: Drainage, start_s: float, seconds: float) -> None:
        self.d = drainage
        halo = round(HALO_S / DT_S)
        self.keep = slice(halo, None)
        n = halo + round(seconds / DT_S)
        self.t: FloatArray = np.asarray(start_s - HALO_S + DT_S * np.arange(n), dtype=np.float64)
        minute = np.clip(self.t / 60.0, 0.0, drainage.course.rest_si.size - 1.0)
        self.minute = minute.astype(np.int64)
        self.circuit: Circuit = circuit_over(drainage.faults, self.t)
        magnitude, self.engaged = suction_over(drainage.steps, np.maximum(self.t, 0.0))
        self.suction = magnitude * drainage.plumbing.delivered * self.circuit.pump
        self.engaged = np.where(self.circuit.off, 0.0, self.engaged)

    def _breathe(self) -> None:
        d, r = self.d, self.d.rhythm
        phase = np.interp(self.t, r.breath_start_s, np.arange(r.breath_start_s.size))
        which = phase.astype(np.int64)
        fraction = phase - which
        self.depth = r.breath_depth_pa[which]
        self.shape = breath_shape(fraction)
        sign = 1.0
        if d.patient.breathing == "invasive":
            # A ventilator pushes: airway and pleura rise together, the swing is upside down.
            sign = -1.0
            self.airway = (5.0 + 11.0 * self.shape) * PASCAL_PER_CMH2O
        else:
            self.airway = 0.25 * self.depth * airway_shape(fraction)
        level = np.interp(phase, np.arange(r.recent_depth_pa.size), r.recent_depth_pa)
        self.swing = -sign * (self.depth * self.shape - level * BREATH_MEAN)
        self.cough = self._coughs()

    def _coughs(self) -> FloatArray:
        cough = np.zeros(self.t.size)
        r = self.d.rhythm
        first, last = np.searchsorted(r.cough_s, (self.t[0], self.t[-1] - 1.0))
        at = ((r.cough_s[first:last] - self.t[0]) / DT_S).astype(np.int64)
        for later, share in ((0, 0.55), (1, 1.0), (2, 0.35)):
            np.maximum.at(cough, at + later, share * r.cough_pa[first:last])
        return cough

    def _leak(self) -> None:
        d, c = self.d, self.circuit
        gain = d.rhythm.posture_gain[self.minute]
        rest = d.course.rest_si[self.minute] * gain
        # The pump can hold its suction only up to the flow it can move.
        holds = d.plumbing.pump_top_m3_per_s / np.maximum(rest * c.reaching + c.joint_si, 1e-15)
        self.suction = np.minimum(self.suction, holds)
        passes = self._passes_swing()
        column = c.column_pa + d.plumbing.column_pa[self.minute]
        on_suction = -self.suction + column + passes * self.swing
        natural = self._natural(rest)
        pleura = self.engaged * on_suction + (1.0 - self.engaged) * natural
        for spell in d.spells:
            if spell.start_s < self.t[-1] and self.t[0] < spell.end_s:
                inside = (self.t >= spell.start_s) & (self.t < spell.end_s)
                behind = spell.pressure(self.t) + 0.5 * self.swing
                pleura = np.where(inside, behind, pleura)
        pleura = np.where(c.apart, 0.3 * self.swing, pleura)
        self.pleura, self.passes, self.natural, self.column = pleura, passes, natural, column
        drive = self.airway - pleura
        self.lung_rest = leak_flow(rest, drive)
        effort_open = np.where(self.cough > 0.0, 1.0, 0.0)
        effort_open = np.maximum(effort_open, WALK_OPENS * d.rhythm.walking[self.minute])
        pushed = drive + COUGH_AT_DEFECT * self.cough
        opened = rest + d.course.effort_si[self.minute] * gain * effort_open
        self.lung_effort = leak_flow(opened, pushed) - self.lung_rest

    def _passes_swing(self) -> FloatArray:
        p = self.d.patient
        up = np.exp(-np.maximum(self.t, 0.0) / (24.0 * 3600.0))
        share = p.passes_swing_later + (p.passes_swing - p.passes_swing_later) * up
        return np.asarray(share * self.circuit.damping, dtype=np.float64)

    def _natural(self, rest: FloatArray) -> FloatArray:
        """Pleural pressure with no added suction: breathing's own, raised by a leak's air."""
        p = self.d.patient
        quiet = p.end_expiration_cmh2o * PASCAL_PER_CMH2O + self.d.rhythm.posture_pa[self.minute]
        middle = quiet - self.depth * BREATH_MEAN
        if p.breathing == "invasive":
            middle = quiet + 0.6 * self.airway
        # Air coming in lifts the pleura towards the room, where expiration lets it out.
        leaky = rest * 600.0 / (30.0 * M3_PER_S_PER_ML_PER_MIN)
        lifted = middle * (1.0 - 0.65 * leaky / (1.0 + leaky))
        return np.asarray(lifted + 0.9 * self.circuit.damping * self.swing, dtype=np.float64)

    def _unit_flow(self) -> FloatArray:
        d, c = self.d, self.circuit
        out = (self.lung_rest + self.lung_effort) * c.reaching
        # A cough also squeezes the air that stays beside the lung.
        squeezed = d.patient.residual_space_ml * M3_PER_ML / ATMOSPHERE_PA / DT_S
        out = out + squeezed * np.maximum(np.diff(self.cough, prepend=0.0), 0.0) * COUGH_AT_DEFECT
        for burst in d.bursts:
            if burst.touches(float(self.t[0]), float(self.t[-1])):
                out = out + burst.flow(self.t) * np.where(self.engaged > 0.5, 1.0, 0.5)
        smoothed = np.convolve(out, smooth_kernel(SPACE_SMOOTHS_S, DT_S))[: out.size]
        # More leaves while breathing out: somewhat on suction, mostly so without.
        sways = self.engaged * 0.3 + (1.0 - self.engaged) * 1.1
        sway = 1.0 + sways * self.swing / np.maximum(self.depth, 1.0)
        flow = smoothed * np.maximum(sway, 0.0)
        flow = np.where(c.shut, 0.0, flow) + self._joint_flow()
        top = d.plumbing.pump_top_m3_per_s
        flow = np.where(c.apart, np.where(self.engaged > 0.5, top, 0.0), flow)
        return np.where(c.off, 0.0, np.minimum(flow, top))

    def _joint_flow(self) -> FloatArray:
        """Room air drawn in at a leaking joint [m³/s]: follows the suction, hardly the breath."""
        if not self.circuit.joint_si.any():
            return np.zeros(self.t.size)
        steady = np.convolve(self.unit_pa, smooth_kernel(JOINT_SMOOTHS_S, DT_S))[: self.t.size]
        return self.circuit.joint_si * np.maximum(-steady, 0.0)

    def _unit_pressure(self) -> FloatArray:
        d, c, p = self.d, self.circuit, self.d.plumbing
        hunting = pump_ripple(self.t, p.hunting_pa, p.ripple_phase)
        heart = heart_ripple(self.t, 12.0, p.ripple_phase) * c.damping
        cough = np.convolve(self.cough, [0.5, 0.3, 0.2])[: self.cough.size] * COUGH_AT_UNIT
        cough = cough * c.damping
        seen = self.passes * self.swing + heart + cough
        posture = 0.25 * d.rhythm.posture_pa[self.minute]
        on_suction = -self.suction + hunting + np.where(c.shut, 0.0, seen + 0.2 * posture)
        free = self.natural - self.column + heart + cough
        # Shut off with no pump, a line keeps what it had and slowly loses it.
        free = np.where(c.shut, 0.4 * self.natural.mean(), free)
        unit = self.engaged * on_suction + (1.0 - self.engaged) * free
        lost = tube_resistance(1.8, 0.006) * p.pump_top_m3_per_s
        unit = np.where(c.apart, -lost * self.engaged + 0.15 * hunting * self.engaged, unit)
        if c.off.any():
            stopped = -self.suction * np.exp(-c.off_for_s / 120.0)
            unit = np.where(c.off, np.where(c.zeros, 0.0, stopped), unit)
        return unit

    def block(self) -> Block:
        self._breathe()
        self._leak()
        self.unit_pa = self._unit_pressure()
        flow = self._unit_flow()
        c, keep = self.circuit, self.keep
        open_way = np.where(c.shut | c.apart | c.off, 0.0, 1.0)
        passed = self.engaged * self.passes + (1.0 - self.engaged) * 0.9 * c.damping
        return Block(
            flow[keep],
            self.unit_pa[keep],
            self.lung_rest[keep],
            self.lung_effort[keep],
            (self.depth * passed * open_way)[keep],
            open_way[keep],
            c.off[keep],
        )
