"""Suites from slackwater's own simulator, with the truth beside each log: what must be said of which moment.

Leak-state: any course, step 1 to 100 mL/min, a row every 1 to 60 s, zeros that drift or are clipped. Artefacts: one to
three faults of any kind. Suction: three to five steps, always some hours with none added. Healed: nothing wrong.
Look-alikes: every named scenario, on its own unit and on others, at the moments when its fault looks best.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from unittest import mock

import numpy as np
from scoring import Flags, Floats, Known, Minutely, Moment

from slackwater.simulate import Scenario, Stay, draw_scenario, scenario, scenario_names, simulate
from slackwater.simulate import rhythm as rhythms
from slackwater.simulate import stay as stays
from slackwater.simulate import unit_types as units
from slackwater.simulate.course import CoursePlan
from slackwater.simulate.fault import SHUT, Fault
from slackwater.simulate.nurse import DILIGENT
from slackwater.simulate.rhythm import Rhythm
from slackwater.simulate.suction import SuctionStep, ordered

SEED = 880_317  # of all suites here; no number of the program was set on it
LIMIT, WINDOW = 20.0, 480  # mL/min, minutes
HIDES = SHUT | {"open_circuit", "off", "battery"}
# Whether the log can tell here is a matter of opinion: the flow is real but not all of the lung's, or it is the lung's
# but stamps, gauge or pump are not right.
EITHER = {"loop", "tissue", "limb_blocked", "weak_pump", "connector_leak", "clock_forward", "clock_back", "stuck"}
WRONG_ZERO = {"zero_shift", "drift"}
NOT_THE_RULES_PATIENT = {"pneumonectomy", "mediastinal", "child", "ventilated"}
GRAVITY_CMH2O = 4.0
COUGH_DRIVE_CMH2O, COUGH_SHOWS = 44.0, 100.0


def rng_of(suite: str, number: int) -> np.random.Generator:
    return np.random.default_rng(np.random.SeedSequence(SEED, spawn_key=(*suite.encode(), number)))


# --- what is drawn --------------------------------------------------------------------------------


def leak_state(rng: np.random.Generator) -> Scenario:
    drawn = draw_scenario(rng, "leak-state")
    unit = drawn.unit
    cadence = unit.cadence_s if unit is units.ESTUARY else int(rng.choice((1, 2, 5, 10, 15, 30, 60)))
    unit = replace(
        unit, cadence_s=cadence, flow_step_ml_per_min=float(rng.choice((1, 2, 5, 10, 20, 50, 100))),
        statistic=str(rng.choice(("mean", "sample"))), flow_rounding=str(rng.choice(("nearest", "floor"))),  # type: ignore[arg-type]
        clips_at_zero=bool(rng.random() < 0.7), flow_noise_ml_per_min=float(rng.uniform(0.2, 3.0)),
    )  # fmt: skip
    hours = float(rng.uniform(30.0, 50.0))
    course = replace(drawn.course, lasting_h=min(drawn.course.lasting_h, float(rng.uniform(8.0, 80.0))))
    faults: tuple[Fault, ...] = ()
    if (kind := str(rng.choice(("none", "drift", "zero_shift"), p=(0.5, 0.3, 0.2)))) != "none":
        start = float(rng.uniform(0.2, 0.6)) * hours
        size = float(rng.uniform(10.0, 40.0)) * (1.0 if kind == "zero_shift" or rng.random() < 0.5 else -1.0)
        faults = (Fault(kind, start, start + float(rng.uniform(6.0, 20.0)), flow_ml_per_min=size),)  # type: ignore[arg-type]
    return replace(drawn, hours=hours, unit=unit, course=course, faults=faults, exchange=None)


def artefacts(rng: np.random.Generator) -> Scenario:
    while True:
        drawn = draw_scenario(rng, "artefacts")
        if drawn.faults and drawn.hours <= 64.0:
            return drawn


def suction(rng: np.random.Generator) -> Scenario:
    drawn = draw_scenario(rng, "suction")
    levels: list[float | None] = [20.0, 15.0, 10.0, 8.0, 5.0, 2.0]
    picked = [levels[k] for k in rng.permutation(len(levels))[: int(rng.integers(2, 5))].tolist()]
    picked.insert(int(rng.integers(1, len(picked) + 1)), None)
    edges = np.cumsum(np.concatenate(([0.0], rng.uniform(6.0, 10.0, len(picked)))))
    course = CoursePlan(
        str(rng.choice(("plateau", "healing", "stepwise"))), float(rng.uniform(60.0, 500.0)), 100.0,  # type: ignore[arg-type]
        effort_ml_per_min=float(rng.uniform(10.0, 100.0)), noise=float(rng.uniform(0.08, 0.3)),
    )  # fmt: skip
    fine = [unit for unit in units.UNIT_TYPES if unit.flow_step_ml_per_min <= 10]
    return replace(
        drawn, hours=float(edges[-1]), course=course, faults=(), exchange=None,
        unit=fine[int(rng.integers(len(fine)))],
        suction=tuple(SuctionStep(round(float(at), 2), level) for at, level in zip(edges, picked, strict=False)),
    )  # fmt: skip


def healed(rng: np.random.Generator) -> Scenario:
    drawn = draw_scenario(rng, "healed")
    lasting = float(rng.uniform(5.0, 20.0))
    pattern = str(
        rng.choice(("none", "healing", "stepwise", "plateau", "intermittent"), p=(0.15, 0.4, 0.15, 0.15, 0.15))
    )
    course = replace(drawn.course, pattern=pattern, lasting_h=lasting, flow_ml_per_min=float(rng.uniform(60.0, 500.0)))  # type: ignore[arg-type]
    fine = [unit for unit in units.UNIT_TYPES if unit not in (units.MOORING, units.BREAKWATER)]
    return replace(
        drawn, hours=lasting + float(rng.uniform(10.5, 18.0)), course=course, faults=(), exchange=None, nurse=DILIGENT,
        suction=drawn.suction[:1], unit=fine[int(rng.integers(len(fine)))],
    )  # fmt: skip


SUITES: dict[str, Callable[[np.random.Generator], Scenario]] = {
    "leak-state": leak_state, "artefacts": artefacts, "suction": suction, "healed": healed,
}  # fmt: skip
FINE_UNITS = (units.PEBBLE, units.SANDBAR, units.SALTMARSH, units.SHINGLE, units.ESTUARY, units.EELGRASS)


def stay_of(suite: str, number: int) -> Known:
    """Stay `number` of a suite; judged at its end and at one moment before."""
    rng = rng_of(suite, number)
    drawn = SUITES[suite](rng)
    earlier = float(rng.uniform(10.0, max(drawn.hours - 2.0, 10.5)))
    return known(suite, f"stay {number}", drawn, int(rng.integers(2**31)), (earlier, drawn.hours))


def look_alikes(seeds: int) -> list[tuple[str, int]]:
    return [(name, seed) for seed in range(seeds) for name in scenario_names() if name not in NOT_THE_RULES_PATIENT]


def look_alike(name: str, seed: int) -> Known:
    """A named scenario: seed 0 on its own unit, others on another; at each fault's end, and at the end of all."""
    named = scenario(name)
    if seed:
        at = (seed + list(scenario_names()).index(name)) % len(FINE_UNITS)
        named = replace(named, unit=FINE_UNITS[at])
    hours = {named.hours}
    clocks = any(fault.kind.startswith("clock") for fault in named.faults)
    for fault in () if clocks else named.faults:  # by a wrong clock no moment in between can be named
        end = min(fault.end_h, named.hours) - 0.1
        hours |= {end, min(end, fault.start_h + 8.6)}
    return known(
        "look-alikes", f"{name} seed {seed}", named, 70_000 + seed, tuple(sorted(h for h in hours if h >= 8.6))
    )


# --- what was so ----------------------------------------------------------------------------------


def lived(drawn: Scenario, seed: int) -> tuple[Stay, Rhythm]:
    """The stay, and its coughs, walks and postures, which the truth file leaves out."""
    kept: list[Rhythm] = []

    def keep(*given: object) -> Rhythm:
        kept.append(rhythms.draw_rhythm(*given))  # type: ignore[arg-type]
        return kept[-1]

    with mock.patch.object(stays, "draw_rhythm", keep):
        made = simulate(drawn, seed)
    return made, kept[0]


def known(suite: str, name: str, drawn: Scenario, seed: int, hours: tuple[float, ...]) -> Known:
    stay, rhythm = lived(drawn, seed)
    truth = _minutely(stay, rhythm)
    moments = tuple(_moment(stay, truth, hour) for hour in hours)
    logs = tuple((f"log-{k}.csv", data, stay.layout_toml) for k, data in enumerate(stay.logs, 1))
    return Known(
        f"{name} ({drawn.course.pattern}, {drawn.unit.name})", suite, logs, stay.chart_csv.encode(),
        stay.episode_toml.encode(), moments, truth,
    )  # fmt: skip


def _flags(drawn: Scenario, wanted: Callable[[Fault], bool]) -> Flags:
    out = np.zeros(drawn.minutes, np.bool_)
    for fault in drawn.faults:
        if wanted(fault):
            out[int(fault.start_s // 60) : math.ceil(min(fault.end_s / 60, drawn.minutes))] = True
    return out


def _hides(fault: Fault) -> bool:
    return fault.kind in HIDES or (fault.kind == "stuck" and fault.channel != "pressure")


def _minutely(stay: Stay, rhythm: Rhythm) -> Minutely:
    drawn, truth, n = stay.scenario, stay.truth, stay.truth.minutes
    hidden = _flags(drawn, _hides)
    leak = truth.leak_rest_ml_per_min + truth.leak_effort_ml_per_min
    # air that had left the lung before and now leaves the space: the flow is right, yet there is no such leak
    left_out = _flags(drawn, lambda fault: fault.kind in EITHER and not _hides(fault))
    left_out |= truth.space_ml > drawn.patient.residual_space_ml + 5.0
    if any(fault.kind.startswith("clock") for fault in drawn.faults) or drawn.exchange is not None:
        left_out[:] = True  # stamps and truth no longer share a minute
    stirred, wrong_zero = rhythm.walking[:n].copy(), _flags(drawn, lambda fault: fault.kind in WRONG_ZERO)
    stirred[np.clip((rhythm.cough_s / 60).astype(int), 0, n - 1)] = True
    for at in np.flatnonzero(np.diff(rhythm.posture_gain[:n]) != 0).tolist():
        stirred[at + 1 : at + 4] = True
    for step in drawn.suction[1:]:
        stirred[round(step.at_h * 60) : round(step.at_h * 60) + 30] = True
    none_added = np.array([ordered(drawn.suction, 60.0 * k).level is None for k in range(n)])
    fair = truth.tube_open & np.array([not names for names in truth.faults])
    fair &= truth.leak_rest_ml_per_min >= 2 * drawn.unit.flow_step_ml_per_min
    return Minutely(
        drawn.start_s * 1000, leak, hidden, left_out, stirred, wrong_zero, truth.conductance_ml_per_min_per_cmh2o,
        none_added, fair,
    )  # fmt: skip


def would_flow(stay: Stay) -> Floats:
    """Flow at rest that an open drain at the ordered suction would carry, mL/min."""
    steps, n = stay.scenario.suction, stay.truth.minutes
    level = np.array([ordered(steps, 60.0 * k).suction_pa or 0.0 for k in range(n)]) / 98.0665
    return stay.truth.conductance_ml_per_min_per_cmh2o * np.maximum(level, GRAVITY_CMH2O)


def _moment(stay: Stay, truth: Minutely, hour: float) -> Moment:
    """What must be said `hour` hours after connection, if anything must."""
    drawn, end = stay.scenario, min(round(hour * 60), stay.truth.minutes)
    last = slice(max(0, end - WINDOW), end)
    effort = stay.truth.effort_conductance_ml_per_min_per_cmh2o
    leaks = int((would_flow(stay)[last] >= LIMIT).sum()) >= 5
    leaks |= bool(effort[end - 1] * COUGH_DRIVE_CMH2O >= COUGH_SHOWS)
    hidden = float(truth.hidden[last].mean()) > 0.05
    margin = slice(max(0, end - WINDOW - 20), end)
    ended = hour >= drawn.hours
    plain = ended and end >= WINDOW + 20 and drawn.nurse is DILIGENT and not any(stay.truth.faults[margin])
    plain &= not any(margin.start <= step.at_h * 60 < end for step in drawn.suction[1:])
    plain &= not stay.truth.conductance_ml_per_min_per_cmh2o[margin].any() and not effort[margin].any()
    plain = plain and _printed_below(stay, margin.start * 60.0) and drawn.name not in NOT_THE_RULES_PATIENT
    now = None if ended else drawn.start_s * 1000 + round(hour * 3_600_000)
    return Moment(now, leaks or hidden, plain and not hidden)


def _printed_below(stay: Stay, since_s: float) -> bool:
    """Every printed reading since then, taken by the whole cell of the display, below the limit; none missing."""
    unit, rows = stay.scenario.unit, stay.sensed
    late = rows.end_s > since_s
    flow = rows.flow_max_ml_per_min if unit.has("flow_max") else rows.flow_ml_per_min
    step = unit.flow_step_ml_per_min
    top = {"nearest": np.floor(flow / step + 0.5) + 0.5, "floor": np.floor(flow / step) + 1.0}.get(unit.flow_rounding)
    if top is None or not rows.present[late].all() or rows.flow_blank[late].any():
        return False
    return bool((top[late] * step <= LIMIT).all())
