"""One stay from one scenario and one seed: files and truth."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from slackwater.simulate.by_hand import ByHand
from slackwater.simulate.chart import ChartEntry, Witnessed, chart_csv, check_times_s, write_chart
from slackwater.simulate.course import Course, draw_course
from slackwater.simulate.drainage import Drainage, Plumbing
from slackwater.simulate.episode_text import episode_text
from slackwater.simulate.fault import FAULT_KINDS, SHUT
from slackwater.simulate.fluid import drained_ml
from slackwater.simulate.layout_text import layout_text
from slackwater.simulate.log_text import LogSource, log_bytes
from slackwater.simulate.power import power_over
from slackwater.simulate.rhythm import Rhythm, draw_rhythm
from slackwater.simulate.scenario import Scenario
from slackwater.simulate.sensor import SensedRows, joined, sense, with_sensor_faults
from slackwater.simulate.si import (
    M3_PER_ML,
    M3_PER_S_PER_ML_PER_MIN,
    PASCAL_PER_CMH2O,
    BoolArray,
    FloatArray,
    IntArray,
)
from slackwater.simulate.space import bursts, compliance_si, shut_spells
from slackwater.simulate.truth import Truth
from slackwater.simulate.wander import wander
from slackwater.simulate.zone import offsets_s, zone_of

BLOCK_S = 3600
"""About how much time is worked out at once; short enough for the arrays to stay in cache."""


@dataclass(frozen=True)
class Stay:
    """A simulated stay: what a ward would have (files) and what was so (truth).

    logs: one file, or two when the unit was exchanged. sensed: every row before rounding,
    in order, so that a test can check the rounding. entries: the chart's rows, before they are text.
    """

    scenario: Scenario
    seed: int
    logs: tuple[bytes, ...]
    layout_toml: str
    chart_csv: str
    episode_toml: str
    truth: Truth
    sensed: SensedRows
    entries: tuple[ChartEntry, ...]


def simulate(scenario: Scenario, seed: int, hand: ByHand | None = None) -> Stay:
    """Simulate one stay. The same scenario and seed always give the same bytes.

    hand: leak, coughs and walks as somebody set them, in place of the scenario's own.
    """
    streams = np.random.SeedSequence(seed).spawn(7)
    course_rng, rhythm_rng, unit_rng, sensor_rng, fluid_rng, nurse_rng, look_rng = (
        np.random.default_rng(s) for s in streams
    )
    minutes, zone = scenario.minutes, zone_of(scenario.zone)
    instants = scenario.start_s + 60 * np.arange(minutes)
    local_hour = ((instants + offsets_s(instants, zone)) % 86_400) / 3600.0
    course = draw_course(scenario.course, minutes, course_rng) if hand is None else hand.course(minutes)
    checks = check_times_s(scenario.nurse, local_hour, _last_looks_h(scenario), look_rng)
    asked = [t + 75.0 for t in checks] if scenario.nurse.looks_at_cough > 0.0 else []
    rhythm = draw_rhythm(scenario.patient, minutes, local_hour, asked, rhythm_rng)
    if hand is not None:
        rhythm = hand.rhythm(rhythm)
    drainage = _drainage(scenario, course, rhythm, unit_rng)
    rows, truth = _run(scenario, drainage, sensor_rng)
    shut = np.array([bool(SHUT & set(names)) for names in truth.faults])
    fluid = drained_ml(scenario.fluid, shut, fluid_rng)
    pace = 60.0 / np.maximum(np.diff(rhythm.breath_start_s), 0.5)
    at_breath = np.clip(np.searchsorted(rhythm.breath_start_s, 60.0 * np.arange(minutes)), 0, pace.size - 1)
    pace = np.convolve(pace, np.full(9, 1.0 / 9.0), mode="same")
    seen = Witnessed(scenario, truth, rows, fluid, rhythm.asleep, pace[at_breath], local_hour)
    entries = write_chart(seen, checks, nurse_rng)
    connected = scenario.start.astimezone(zone)
    return Stay(
        scenario,
        seed,
        _logs(scenario, rows, rhythm, local_hour, fluid, seed),
        layout_text(scenario.unit, scenario.zone, connected),
        chart_csv(entries, scenario.start_s, zone, scenario.chart_local),
        episode_text(scenario.patient, connected, scenario.limbs, connected - timedelta(minutes=25)),
        truth,
        rows,
        entries,
    )


def _last_looks_h(scenario: Scenario) -> tuple[float, ...]:
    # A diligent ward looks at the drain before anyone decides on it.
    return (scenario.hours - 0.75,) if scenario.nurse.skips == 0.0 and scenario.hours > 3 else ()


def _drainage(scenario: Scenario, course: Course, rhythm: Rhythm, rng: np.random.Generator) -> Drainage:
    plumbing = Plumbing(
        pump_top_m3_per_s=scenario.unit.pump_top_ml_per_min * M3_PER_S_PER_ML_PER_MIN,
        # Delivered suction: usually within 10 % of the set one, on the weak side
        # (Baumann 2003, as read).
        delivered=float(np.clip(rng.normal(0.975, 0.02), 0.9, 1.01)),
        hunting_pa=float(rng.uniform(15.0, 40.0)),
        ripple_phase=float(rng.uniform(0.0, 2.0 * math.pi)),
        column_pa=np.abs(wander(scenario.minutes, 0.6 * PASCAL_PER_CMH2O, 120.0, rng)),
    )
    spells = shut_spells(scenario.faults, course, scenario.suction, scenario.patient)
    return Drainage(
        scenario.patient,
        plumbing,
        rhythm,
        course,
        scenario.suction,
        scenario.faults,
        spells,
        bursts(spells, scenario.suction, scenario.patient, course.rest_si),
    )


def _run(scenario: Scenario, drainage: Drainage, rng: np.random.Generator) -> tuple[SensedRows, Truth]:
    unit, minutes = scenario.unit, scenario.minutes
    whole = math.lcm(60, unit.cadence_s)
    block_s = whole * max(1, BLOCK_S // whole)
    parts = []
    by_minute: dict[str, list[FloatArray]] = {n: [] for n in ("rest", "effort", "swing", "open")}
    for start_s in range(0, minutes * 60, block_s):
        seconds = min(block_s, minutes * 60 - start_s)
        block = drainage.block(float(start_s), float(seconds))
        parts.append(sense(block, float(start_s), unit, rng))
        by_minute["rest"].append(_minute_mean(block.lung_rest))
        by_minute["effort"].append(_minute_mean(block.lung_effort))
        by_minute["swing"].append(_minute_mean(block.swing_pa))
        by_minute["open"].append(_minute_mean(block.open_way))
    rows = with_sensor_faults(joined(parts), scenario.faults, unit, rng)
    course = drainage.course
    per_cmh2o = PASCAL_PER_CMH2O / M3_PER_S_PER_ML_PER_MIN
    truth = Truth(
        pattern=course.pattern,
        ever_leaked=course.ever_leaked,
        ended_s=course.ended_s,
        rest_ended_s=course.rest_ended_s,
        leak_rest_ml_per_min=np.concatenate(by_minute["rest"]) / M3_PER_S_PER_ML_PER_MIN,
        leak_effort_ml_per_min=np.concatenate(by_minute["effort"]) / M3_PER_S_PER_ML_PER_MIN,
        conductance_ml_per_min_per_cmh2o=course.rest_si * per_cmh2o,
        effort_conductance_ml_per_min_per_cmh2o=course.effort_si * per_cmh2o,
        tube_open=np.concatenate(by_minute["open"]) > 0.999,
        swing_cmh2o=np.concatenate(by_minute["swing"]) / PASCAL_PER_CMH2O,
        space_ml=_space_ml(drainage, minutes),
        faults=_fault_names(scenario),
    )
    return rows, truth


def _minute_mean(samples: FloatArray) -> FloatArray:
    return np.asarray(samples.reshape(-1, 240).mean(axis=1), dtype=np.float64)


def _space_ml(drainage: Drainage, minutes: int) -> FloatArray:
    """Air beside the lung, by minute: what gathered and has not left yet, and what stays."""
    times = 60.0 * np.arange(minutes)
    air = np.full(minutes, drainage.patient.residual_space_ml * M3_PER_ML)
    for burst in drainage.bursts:
        since = np.maximum(times - burst.at_s, 0.0)
        left = burst.volume_m3 * np.exp(-since / burst.lasting_s)
        air += np.where(times >= burst.at_s, left, 0.0)
    space = compliance_si(drainage.patient)
    for spell in drainage.spells:
        inside = np.flatnonzero((times >= spell.start_s) & (times < spell.end_s))
        minute = min(int(spell.start_s / 60.0), minutes - 1)
        if drainage.course.rest_si[minute] > 0.0:
            air[inside] += [spell.gathered_m3(t, space) for t in times[inside].tolist()]
    return air / M3_PER_ML


def _fault_names(scenario: Scenario) -> tuple[tuple[str, ...], ...]:
    minutes = scenario.minutes
    here: list[list[str]] = [[] for _ in range(minutes)]
    for fault in sorted(scenario.faults, key=lambda f: FAULT_KINDS.index(f.kind)):
        first, last = int(fault.start_s // 60.0), math.ceil(min(fault.end_s / 60.0, minutes))
        for minute in range(first, last):
            if fault.kind not in here[minute]:
                here[minute].append(fault.kind)
    if scenario.exchange is not None:
        at = round(scenario.exchange.at_h * 60.0)
        for minute in range(at, min(minutes, at + math.ceil(scenario.exchange.gap_min))):
            here[minute].append("exchange")
    for minute in _repeated_or_skipped(scenario):
        here[minute].append("dst")
    return tuple(tuple(names) for names in here)


def _repeated_or_skipped(scenario: Scenario) -> list[int]:
    """Minutes whose local stamp is said twice, or the first after a skip."""
    if scenario.unit.stamp.style != "local":
        return []
    instants = scenario.start_s + 60 * np.arange(scenario.minutes)
    offsets = offsets_s(instants, zone_of(scenario.zone))
    changes = np.flatnonzero(np.diff(offsets)) + 1
    marked: list[int] = []
    for change in changes.tolist():
        repeated = max(0, int(offsets[change - 1] - offsets[change])) // 60
        first, last = max(0, change - repeated), min(scenario.minutes, change + max(repeated, 1))
        marked += range(first, last)
    return marked


def _logs(
    scenario: Scenario,
    rows: SensedRows,
    rhythm: Rhythm,
    local_hour: FloatArray,
    fluid: FloatArray,
    seed: int,
) -> tuple[bytes, ...]:
    unit = scenario.unit
    set_pa = np.empty(rows.end_s.size)
    starts = [s.at_h * 3600.0 for s in scenario.suction]
    edges = [int(np.searchsorted(rows.end_s, s, side="right")) for s in starts] + [set_pa.size]
    for step, begin, end in zip(scenario.suction, edges[:-1], edges[1:], strict=True):
        level = step.suction_pa
        set_pa[begin:end] = math.nan if level is None else level
    source = LogSource(
        rows,
        _clock_ahead_s(scenario, rows),
        set_pa,
        _running(scenario, rows),
        power_over(rhythm, local_hour, scenario.faults, unit.battery_runs_min),
        fluid,
        scenario.start_s,
        zone_of(scenario.zone),
        f"S{seed % 9000 + 1000:04d}",
    )
    exchange = scenario.exchange
    if exchange is None:
        return (log_bytes(source, unit),)
    at_s = exchange.at_h * 3600.0
    first = replace(source, rows=replace(rows, present=rows.present & (rows.end_s <= at_s)))
    later = rows.present & (rows.end_s > at_s + exchange.gap_min * 60.0)
    second = replace(
        source,
        rows=replace(rows, present=later),
        clock_ahead_s=source.clock_ahead_s + exchange.clock_s,
        fluid_ml_by_minute=np.maximum(fluid - fluid[min(int(at_s / 60.0), fluid.size - 1)], 0.0),
        serial=f"S{(seed + 4321) % 9000 + 1000:04d}",
    )
    return (log_bytes(first, unit), log_bytes(second, unit))


def _clock_ahead_s(scenario: Scenario, rows: SensedRows) -> IntArray:
    ahead = np.zeros(rows.end_s.size, dtype=np.int64)
    for fault in scenario.faults:
        if fault.kind in ("clock_forward", "clock_back"):
            sign = 1 if fault.kind == "clock_forward" else -1
            inside = (rows.end_s > fault.start_s) & (rows.end_s <= fault.end_s)
            ahead[inside] += sign * round(abs(3600.0 if fault.clock_s is None else fault.clock_s))
    return ahead


def _running(scenario: Scenario, rows: SensedRows) -> BoolArray:
    running = np.ones(rows.end_s.size, dtype=np.bool_)
    for fault in scenario.faults:
        if fault.kind in ("off", "battery"):
            running[(rows.end_s > fault.start_s) & (rows.end_s <= fault.end_s)] = False
    return running
