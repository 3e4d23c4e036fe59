"""Scenarios by chance: a wide variety for cohorts, and the lobectomy preset."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TypeVar

import numpy as np

from slackwater.simulate.course import CoursePlan, Pattern
from slackwater.simulate.fault import Fault, FaultKind
from slackwater.simulate.fluid import FluidPlan
from slackwater.simulate.lobectomy import (
    PREVALENCE,
    first_flows_ml_per_min,
    leak_durations_days,
)
from slackwater.simulate.nurse import DILIGENT, SPARSE, USUAL
from slackwater.simulate.patient import Patient
from slackwater.simulate.scenario import Exchange, Scenario
from slackwater.simulate.stay import Stay, simulate
from slackwater.simulate.suction import SuctionStep
from slackwater.simulate.unit_types import UNIT_TYPES

K = TypeVar("K")

_PATTERN_WEIGHTS: dict[Pattern, float] = {
    # Ours; the lobectomy preset is the one that answers to published numbers.
    "none": 0.2,
    "healing": 0.34,
    "stepwise": 0.1,
    "plateau": 0.08,
    "recurring": 0.08,
    "intermittent": 0.07,
    "effort_only": 0.06,
    "near_limit": 0.05,
    "massive": 0.02,
}

_FAULT_WEIGHTS: dict[FaultKind, float] = {
    "blocked": 1.0,
    "kinked": 1.5,
    "clamped": 0.8,
    "capped": 0.4,
    "loop": 1.2,
    "open_circuit": 1.0,
    "off": 0.8,
    "battery": 0.6,
    "weak_pump": 0.4,
    "connector_leak": 0.6,
    "tissue": 0.3,
    "dropout": 1.5,
    "blank": 1.0,
    "stuck": 0.7,
    "zero_shift": 0.4,
    "drift": 0.4,
    "clock_forward": 0.4,
    "clock_back": 0.4,
}

_TYPICAL_HOURS: dict[FaultKind, float] = {
    "open_circuit": 0.4,
    "dropout": 1.5,
    "blank": 1.5,
    "battery": 0.7,
    "weak_pump": 16.0,
    "tissue": 20.0,
    "connector_leak": 30.0,
    "zero_shift": 40.0,
    "drift": 40.0,
    "clock_forward": 60.0,
    "clock_back": 60.0,
}


def draw_scenario(rng: np.random.Generator, name: str = "drawn") -> Scenario:
    """A scenario by chance: any course, unit, suction, charting and zero to three faults."""
    pattern = _pick(_PATTERN_WEIGHTS, rng)
    hours = float(np.clip(rng.lognormal(math.log(70.0), 0.4), 24.0, 160.0))
    flow = float(np.clip(rng.lognormal(math.log(130.0), 0.8), 15.0, 2500.0))
    lasting = float(np.clip(rng.lognormal(math.log(48.0), 0.7), 3.0, 400.0))
    if pattern == "massive":
        flow, lasting = float(rng.uniform(4000.0, 16000.0)), math.inf
    elif pattern == "near_limit":
        flow, lasting = float(rng.choice((20.0, 50.0)) * rng.uniform(0.85, 1.2)), math.inf
    elif pattern in ("plateau", "intermittent") and rng.random() < 0.6:
        lasting = math.inf
    effort = flow * float(rng.uniform(0.1, 0.8))
    if pattern == "effort_only":
        flow, effort = 0.0, float(rng.uniform(150.0, 1500.0))
    course = CoursePlan(
        pattern,
        flow,
        lasting,
        effort_ml_per_min=effort,
        back_after_h=float(rng.uniform(8.0, 30.0)),
        noise=float(rng.uniform(0.08, 0.3)),
        bend=float(rng.uniform(0.8, 2.0)),
    )
    return Scenario(
        name=name,
        summary=f"Drawn by chance: {pattern.replace('_', ' ')}.",
        hours=hours,
        start=_moment(rng),
        zone=str(rng.choice(("UTC", "+01:00", "-05:00", "+09:30", "Europe/Vienna"))),
        patient=_patient(rng),
        course=course,
        suction=_suction(hours, rng),
        faults=tuple(_fault(hours, rng) for _ in range(int(rng.choice(4, p=(0.4, 0.3, 0.2, 0.1))))),
        unit=UNIT_TYPES[int(rng.integers(len(UNIT_TYPES)))],
        nurse=(DILIGENT, USUAL, SPARSE)[int(rng.choice(3, p=(0.4, 0.4, 0.2)))],
        fluid=_fluid(rng),
        exchange=Exchange(float(rng.uniform(0.3, 0.8)) * hours) if rng.random() < 0.06 else None,
    )


def draw_lobectomy(rng: np.random.Generator, name: str = "lobectomy", prevalence: float = PREVALENCE) -> Scenario:
    """A lobectomy patient without faults, whose leak lasts as published durations say."""
    days = leak_durations_days(1, rng, prevalence)
    flow = float(first_flows_ml_per_min(days, rng)[0])
    lasting_h = float(days[0]) * 24.0
    if lasting_h > 0.0:
        course = CoursePlan("healing", flow, lasting_h, effort_ml_per_min=flow * 0.25)
        hours = min(lasting_h + float(rng.uniform(10.0, 30.0)), 200.0)
    else:
        course = CoursePlan("none", 0.0, 0.0, effort_ml_per_min=0.0)
        hours = float(rng.uniform(24.0, 48.0))
    return Scenario(
        name=name,
        summary="Lobectomy preset: leak duration from published centiles, flow assumed.",
        hours=hours,
        start=_moment(rng),
        patient=_patient(rng),
        course=course,
        suction=_suction(hours, rng),
        unit=UNIT_TYPES[int(rng.integers(len(UNIT_TYPES)))],
        nurse=(DILIGENT, USUAL)[int(rng.integers(2))],
        fluid=_fluid(rng),
    )


def cohort(n: int, seed: int) -> Iterator[tuple[str, Stay]]:
    """`n` drawn stays of as many patients: (name, stay). Stay k is the same for any `n` above k."""
    for k in range(n):
        root = np.random.SeedSequence(seed, spawn_key=(k,))
        rng = np.random.default_rng(root)
        name = f"stay-{k + 1:04d}"
        drawn = draw_scenario(rng, name)
        drawn = replace(drawn, patient=replace(drawn.patient, id=f"SIM-{seed}-{k + 1:04d}"))
        yield name, simulate(drawn, int(rng.integers(2**31)))


def _pick(weights: dict[K, float], rng: np.random.Generator) -> K:
    names = list(weights)
    share = np.array(list(weights.values()))
    return names[int(rng.choice(len(names), p=share / share.sum()))]


def _moment(rng: np.random.Generator) -> datetime:
    day = datetime(2041, 1, 6, tzinfo=UTC) + timedelta(days=int(rng.integers(0, 330)))
    return day + timedelta(minutes=int(rng.integers(9 * 60, 18 * 60)))


def _patient(rng: np.random.Generator) -> Patient:
    return Patient(
        id=f"SIM-{int(rng.integers(10000)):04d}",
        age_years=float(round(np.clip(rng.normal(64.0, 11.0), 18.0, 90.0))),
        weight_kg=float(round(np.clip(rng.normal(75.0, 14.0), 42.0, 140.0))),
        side="left" if rng.random() < 0.45 else "right",
        size_fr=int(rng.choice((20, 24, 28))),
        breaths_per_min=float(rng.uniform(13.0, 20.0)),
        depth_cmh2o=float(rng.uniform(2.8, 6.0)),
        passes_swing=float(rng.uniform(0.55, 0.9)),
        passes_swing_later=float(rng.uniform(0.35, 0.7)),
        coughs_per_hour_awake=float(rng.uniform(1.5, 7.0)),
        cough_cmh2o=float(rng.uniform(35.0, 90.0)),
        walks_per_day=float(rng.uniform(1.0, 5.0)),
        space_compliance_ml_per_cmh2o=float(rng.uniform(10.0, 80.0)),
        early_air_ml=float(rng.uniform(20.0, 400.0)),
        residual_space_ml=float(rng.uniform(0.0, 20.0)),
    )


def _suction(hours: float, rng: np.random.Generator) -> tuple[SuctionStep, ...]:
    first = float(rng.choice((8.0, 10.0, 15.0, 20.0)))
    steps = [SuctionStep(0.0, first)]
    if rng.random() < 0.55:
        lower = (None, 2.0, 5.0, 8.0)[int(rng.integers(4))]
        steps.append(SuctionStep(round(float(rng.uniform(0.25, 0.7)) * hours, 1), lower))
        if rng.random() < 0.2:
            steps.append(SuctionStep(round(float(rng.uniform(0.75, 0.9)) * hours, 1), first))
    return tuple(steps)


def _fluid(rng: np.random.Generator) -> FluidPlan:
    return FluidPlan(
        first_ml_per_h=float(rng.lognormal(math.log(45.0), 0.5)),
        later_ml_per_h=float(rng.lognormal(math.log(8.0), 0.5)),
        fades_h=float(rng.uniform(6.0, 20.0)),
    )


def _fault(hours: float, rng: np.random.Generator) -> Fault:
    kind = _pick(_FAULT_WEIGHTS, rng)
    lasts = _TYPICAL_HOURS.get(kind, 4.0) * float(rng.lognormal(0.0, 0.5))
    start = float(rng.uniform(0.1, 0.9)) * hours
    share = float(rng.uniform(0.1, 1.0)) if kind in ("dropout", "blank") else None
    flow = {
        "connector_leak": float(rng.uniform(20.0, 200.0)),
        "zero_shift": float(rng.uniform(10.0, 80.0)),
        "drift": float(rng.uniform(-40.0, 40.0)),
    }.get(kind)
    return Fault(
        kind,
        start,
        start + lasts,
        flow_ml_per_min=flow,
        pressure_cmh2o=float(rng.uniform(3.0, 12.0)) if kind == "loop" else None,
        share=share,
        clock_s=float(rng.choice((600.0, 3600.0, 7200.0))) if kind.startswith("clock") else None,
        channel=("both", "flow", "pressure")[int(rng.integers(3))],
        zeros=bool(rng.random() < 0.4),
        charted=bool(rng.random() < 0.5),
    )
