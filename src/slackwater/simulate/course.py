"""How leaky the lung is, minute by minute: the courses a leak can take.

Every course is an assumption of ours: no source gives flow by post-operative hour.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from slackwater.simulate.si import FloatArray, conductance_si
from slackwater.simulate.wander import wander

Pattern = Literal[
    "none",
    "healing",
    "stepwise",
    "plateau",
    "recurring",
    "intermittent",
    "effort_only",
    "near_limit",
    "massive",
]
PATTERNS: tuple[Pattern, ...] = get_args(Pattern)

REFERENCE_DRIVE_CMH2O = 20.0
"""Flows in a course are stated at this driving pressure, so that they name a conductance."""

LAST_FLOW_ML_PER_MIN = 8.0
"""What a healing leak has come down to just before it seals (ours)."""


@dataclass(frozen=True)
class CoursePlan:
    """What is asked of a course. Flows are at rest, at 20 cmH2O of driving pressure.

    lasting_h: until the leak seals; infinity = not within the stay.
    effort_ml_per_min: what opens in addition under effort, stated at 20 cmH2O too.
    effort_lasting_h: until that seals; None = together with the leak at rest.
    back_after_h: recurring only, how long the leak is gone.
    noise: standard deviation of the slow wandering on the log scale.
    bend: healing only; above 1 the leak holds on first and closes faster later.
    """

    pattern: Pattern = "healing"
    flow_ml_per_min: float = 160.0
    lasting_h: float = 60.0
    effort_ml_per_min: float = 40.0
    effort_lasting_h: float | None = None
    back_after_h: float = 16.0
    noise: float = 0.22
    bend: float = 1.0


@dataclass(frozen=True)
class Course:
    """Conductance of the leak by minute [m³/(s·Pa)], read-only, and when it truly ended."""

    pattern: Pattern
    rest_si: FloatArray
    effort_si: FloatArray

    @property
    def ended_s(self) -> float | None:
        """Seconds after connection at which the last leak sealed; None: never leaked, or still does."""
        return _end_s(self.rest_si + self.effort_si)

    @property
    def rest_ended_s(self) -> float | None:
        """The same for the leak at rest."""
        return _end_s(self.rest_si)

    @property
    def ever_leaked(self) -> bool:
        """Whether there was any leak at all."""
        return bool(np.any(self.rest_si + self.effort_si > 0.0))


def _end_s(conductance: FloatArray) -> float | None:
    leaking = np.flatnonzero(conductance > 0.0)
    if leaking.size == 0 or leaking[-1] == conductance.size - 1:
        return None
    return float(leaking[-1] + 1) * 60.0


def draw_course(plan: CoursePlan, minutes: int, rng: np.random.Generator) -> Course:
    """One course over `minutes` minutes, by seed."""
    hours = np.arange(minutes) / 60.0
    rest = _SHAPES[plan.pattern](plan, hours, rng)
    last = int(np.flatnonzero(rest)[-1]) + 1 if rest.any() else 0
    effort_until_h = plan.effort_lasting_h
    if effort_until_h is None:
        effort_until_h = plan.lasting_h if plan.pattern == "effort_only" else last / 60.0
    effort = np.where(hours < effort_until_h, plan.effort_ml_per_min, 0.0)
    if plan.pattern == "none":
        effort[:] = 0.0
    elif plan.pattern == "healing" and plan.flow_ml_per_min > 0.0:
        # What opens under effort heals too, but more slowly than the rest.
        fading = np.exp(-0.7 * hours / max(min(plan.lasting_h, hours.size / 60.0), 1.0))
        effort *= fading
    unit = conductance_si(1.0, REFERENCE_DRIVE_CMH2O)
    rest_si, effort_si = rest * unit, effort * unit
    rest_si.setflags(write=False)
    effort_si.setflags(write=False)
    return Course(plan.pattern, rest_si, effort_si)


def _noise(plan: CoursePlan, n: int, rng: np.random.Generator) -> FloatArray:
    return np.exp(wander(n, plan.noise, 140.0, rng))


def _none(plan: CoursePlan, hours: FloatArray, rng: np.random.Generator) -> FloatArray:
    return np.zeros_like(hours)


def _healing(plan: CoursePlan, hours: FloatArray, rng: np.random.Generator) -> FloatArray:
    whole_h = plan.lasting_h if math.isfinite(plan.lasting_h) else 240.0
    falls = math.log(max(plan.flow_ml_per_min / LAST_FLOW_ML_PER_MIN, 1.05))
    along = (hours / max(whole_h, 0.1)) ** plan.bend
    flow = plan.flow_ml_per_min * np.exp(-falls * along) * _noise(plan, hours.size, rng)
    return np.where(hours < plan.lasting_h, flow, 0.0)


def _stepwise(plan: CoursePlan, hours: FloatArray, rng: np.random.Generator) -> FloatArray:
    whole_h = plan.lasting_h if math.isfinite(plan.lasting_h) else float(hours[-1]) * 1.2
    steps = int(rng.integers(2, 6))
    at_h = np.sort(rng.uniform(0.08, 0.95, steps)) * whole_h
    kept = rng.uniform(0.3, 0.75, steps)
    flow = np.full(hours.size, plan.flow_ml_per_min)
    for start_h, share in zip(at_h, kept, strict=True):
        flow[hours >= start_h] *= share
    flow *= np.exp(wander(hours.size, plan.noise * 0.5, 60.0, rng))
    return np.where(hours < plan.lasting_h, flow, 0.0)


def _plateau(plan: CoursePlan, hours: FloatArray, rng: np.random.Generator) -> FloatArray:
    flow = plan.flow_ml_per_min * _noise(plan, hours.size, rng)
    return np.where(hours < plan.lasting_h, flow, 0.0)


def _recurring(plan: CoursePlan, hours: FloatArray, rng: np.random.Generator) -> FloatArray:
    first = _healing(plan, hours, rng)
    back_h = plan.lasting_h + plan.back_after_h
    again = plan.flow_ml_per_min * float(rng.uniform(0.4, 0.9))
    rise = np.clip((hours - back_h) / 0.5, 0.0, 1.0)
    return first + again * rise * _noise(plan, hours.size, rng)


def _intermittent(plan: CoursePlan, hours: FloatArray, rng: np.random.Generator) -> FloatArray:
    n = hours.size
    open_now = np.zeros(n, dtype=np.bool_)
    at, state = 0, bool(rng.random() < 0.6)
    while at < n:
        stays = 1 + int(rng.gamma(2.0, 25.0 if state else 35.0))
        open_now[at : at + stays] = state
        at, state = at + stays, not state
    fading = np.exp(-0.5 * hours / max(min(plan.lasting_h, 1000.0), 1.0))
    flow = plan.flow_ml_per_min * fading * _noise(plan, n, rng)
    return np.where(open_now & (hours < plan.lasting_h), flow, 0.0)


def _near_limit(plan: CoursePlan, hours: FloatArray, rng: np.random.Generator) -> FloatArray:
    sway = np.exp(wander(hours.size, min(plan.noise, 0.15), 200.0, rng))
    return np.where(hours < plan.lasting_h, plan.flow_ml_per_min * sway, 0.0)


_SHAPES = {
    "none": _none,
    "healing": _healing,
    "stepwise": _stepwise,
    "plateau": _plateau,
    "recurring": _recurring,
    "intermittent": _intermittent,
    "effort_only": _none,
    "near_limit": _near_limit,
    "massive": _plateau,
}
