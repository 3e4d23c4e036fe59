"""A second invented world of chest drains, made to catch a judge out: whole bundles whose truth is known.

Nothing here is measured. Flow obeys a power of the driving pressure, breaths are drawn one by one,
courses of healing are power laws, plateaus that drop, staircases and gammas. A bundle is what a ward
could hand over: log bytes, layout, chart, episode, the moment of judging; and, apart, what was true.

    python bench/truth/other_world.py --list
    python bench/truth/other_world.py --write FOLDER --kind blocked-abrupt --seed 0
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

RULE_50, RULE_20 = "air-50-8h", "air-20-8h"
BOTH = frozenset({RULE_50, RULE_20})
LIMIT = {RULE_50: 50.0, RULE_20: 20.0}  # mL/min
CMH2O_IN = {"cmH2O": 1.0, "kPa": 10.197162, "hPa": 1.0197162, "mbar": 1.0197162, "mmHg": 1.359510}
CEILING_ML_PER_MIN = 9_990.0


# -------------------------------------------------------------------------------------------- plan


@dataclass
class Plan:
    """Everything a case is made of. Hours count from connection; pressures in cmH2O, suction as a positive size."""

    rng: np.random.Generator
    hours: float = 15.0
    log_from: float = 0.0
    # the unit and its file
    cadence: int = 1
    statistic: str = "mean"
    flow_step: float = 10.0
    flow_unit: str = "mL/min"
    rounding: str = "nearest"
    rounding_said: str = ""
    step_said: bool = True
    p_unit: str = "cmH2O"
    p_step: float = 0.1
    suction_is: str = "positive"
    set_column: bool = True
    extremes: bool = False  # columns of the lowest and highest pressure
    battery: Callable[[Floats], Floats] | None = None
    stamps: str = "iso"
    zone: str = "UTC"
    marks: str = "end"
    comma: bool = False
    begin: datetime | None = None
    clip: bool = True
    noise: float = 1.0  # mL/min, one sigma a row
    drift: float = 0.0  # mL/min, peak
    # patient
    suction: list[tuple[float, float]] = field(default_factory=lambda: [(0.0, 20.0)])
    swing: float = 5.0
    rate: float = 16.0
    rate_asleep: float = 12.0
    sleep: list[tuple[float, float]] = field(default_factory=list)
    irregular: float = 0.15
    periodic: bool = False
    heart: float = 0.3
    heart_rate: float = 75.0
    ripple: float = 0.2
    ripple_period_s: float = 5.0
    ripple_jitter: float = 0.0
    modulation: float = 0.6
    exponent: float = 0.8
    leak: Callable[[Floats], Floats] = field(default=lambda t: np.zeros_like(t))
    effort: Callable[[float], float] = field(default=lambda t: 0.0)  # mL per cough
    wander: float = 0.2
    coughs: list[float] = field(default_factory=list)
    walks: list[tuple[float, float]] = field(default_factory=list)  # hour, minutes
    postures: list[float] = field(default_factory=list)
    # what goes wrong
    shut: list[tuple[float, float, float, float]] = field(default_factory=list)  # from, to, ramp h, what still passes
    off: list[tuple[float, float, str, float, float]] = field(default_factory=list)  # from, to, mode, tau h, swing left
    sensors_alive: bool = False  # while off, the sensors go on with their noise; else exact zeros
    apart: list[tuple[float, float, str]] = field(default_factory=list)  # from, to, suction | gravity
    loss: list[tuple[float, float, float]] = field(default_factory=list)  # from, ramp h, share of suction left
    on_rows: list[Callable[[Rows, Plan], None]] = field(default_factory=list)
    on_printed: list[Callable[[Rows, Plan], None]] = field(default_factory=list)
    shifts: list[tuple[float, float]] = field(default_factory=list)  # from hour on, stamps move by so many seconds
    hidden: list[tuple[float, float, str]] = field(default_factory=list)
    # chart and episode
    rounds: list[float] = field(default_factory=list)
    round_items: tuple[str, ...] = ("fluid", "swing", "tube", "cough", "air", "suction", "skin")
    chart: list[tuple[float, str, str, str, str, str]] = field(default_factory=list)  # hour,item,value,unit,note,drain
    chart_late_min: float = 0.0
    drain_named: bool = True
    episode: dict[str, str] = field(default_factory=dict)
    drop: tuple[str, ...] = ()  # keys of the episode left out
    at: float | None = None  # hour of judging; None: the end of the last reading
    second: Callable[[Plan], Plan] | None = None
    # what the case claims
    must_not: frozenset[str] = BOTH
    note: str = ""

    @property
    def end(self) -> float:
        return self.hours

    def suction_at(self, hour: float) -> float:
        return [cm for since, cm in self.suction if since <= hour + 1e-9][-1]


@dataclass
class Rows:
    """What the unit is about to print, one entry a row; `t` is the row's end in hours."""

    t: Floats
    flow: Floats
    pressure: Floats  # suction negative
    low: Floats
    high: Floats
    set_cm: Floats
    keep: Flags
    blank: Flags

    def span(self, start: float, end: float) -> Flags:
        return (self.t > start) & (self.t <= end)


@dataclass(frozen=True)
class Bundle:
    kind: str
    suite: str
    seed: int
    logs: tuple[tuple[str, bytes, str], ...]  # name, bytes, layout
    chart: bytes
    episode: bytes
    now_ms: int | None
    must_not: frozenset[str]
    plain_for: frozenset[str]
    connected_ms: int
    leak_by_minute: Floats  # true flow that an open, working drain would carry
    hidden_by_minute: tuple[str, ...]  # "" where the log can tell, else the fault
    raw: tuple[tuple[NDArray[np.int64], Floats], ...]  # stamps and printed flow, for a plain threshold
    about: str
    note: str


def drawn_plan(rng: np.random.Generator) -> Plan:
    """A ward, a unit and a sleeper drawn wide; a kind then fixes what its point needs."""
    plan = Plan(rng)
    plan.hours = float(np.round(rng.uniform(13.0, 16.5) * 60) / 60)
    plan.cadence = int(rng.choice([1, 1, 1, 2, 2, 5]))
    plan.statistic = str(rng.choice(["mean", "sample"]))
    plan.flow_step = float(rng.choice([1, 2, 5, 10]))
    plan.flow_unit = str(rng.choice(["mL/min", "L/min"]))
    plan.rounding = str(rng.choice(["nearest", "floor"]))
    unit_and_step = [("kPa", 0.1), ("hPa", 0.1), ("hPa", 0.5), ("mbar", 0.2), ("mbar", 1.0), ("cmH2O", 0.1)]
    unit_and_step += [("cmH2O", 0.5), ("cmH2O", 1.0), ("mmHg", 0.1), ("mmHg", 0.5), ("mmHg", 1.0)]
    plan.p_unit, plan.p_step = unit_and_step[int(rng.integers(len(unit_and_step)))]
    plan.suction_is = str(rng.choice(["positive", "negative"]))
    plan.set_column = bool(rng.random() < 0.6)
    plan.extremes = False
    plan.stamps = str(rng.choice(["iso_z", "iso_local", "split", "epoch_s", "epoch_ms", "elapsed"]))
    plan.zone = str(rng.choice(["UTC", "Europe/Vienna", "Asia/Kolkata", "America/Halifax", "Pacific/Auckland"]))
    plan.marks = str(rng.choice(["end", "start"]))
    plan.comma = bool(rng.random() < 0.4)
    plan.noise = float(rng.choice([0.0, 0.3, 1.0, 2.0]))
    plan.drift = float(rng.uniform(0, 0.4)) * min(plan.flow_step, 5.0)
    plan.suction = [(0.0, float(rng.choice([8.0, 10.0, 15.0, 20.0])))]
    plan.swing = float(rng.uniform(2.5, 12.0))
    plan.rate = float(rng.uniform(11, 26))
    plan.rate_asleep = float(rng.uniform(9, 15))
    plan.irregular = float(rng.uniform(0.08, 0.3))
    plan.periodic = bool(rng.random() < 0.15)
    plan.heart = float(rng.uniform(0.1, 0.6))
    plan.heart_rate = float(rng.uniform(58, 105))
    plan.ripple = float(rng.uniform(0.05, 0.5))
    plan.ripple_period_s = float(rng.uniform(1.5, 12))
    plan.modulation = float(rng.choice([0.0, 0.3, 0.7, 1.0]))
    plan.exponent = float(rng.uniform(0.5, 1.0))
    plan.sleep = [(plan.end - rng.uniform(7, 9), plan.end - rng.uniform(0.2, 1.5))]
    plan.coughs = sorted(rng.uniform(0.3, plan.end - 0.1, int(rng.integers(6, 30))).tolist())
    plan.walks = [(float(h), float(rng.uniform(3, 12))) for h in rng.uniform(1, max(2.0, plan.end - 9), 2)]
    plan.postures = rng.uniform(0.5, plan.end, int(rng.integers(3, 9))).tolist()
    return plan


# ----------------------------------------------------------------------------------------- courses


def _gate(t: Floats, heal: float, over: float) -> Floats:
    x = np.clip((t - (heal - over)) / over, 0, 1)
    return 1 - x * x * (3 - 2 * x)


def power_law(level: float, tau: float, power: float, heal: float, over: float = 0.8) -> Callable[[Floats], Floats]:
    return lambda t: level / (1 + t / tau) ** power * _gate(t, heal, over)


def plateau_drop(level: float, heal: float, over: float) -> Callable[[Floats], Floats]:
    return lambda t: level * _gate(t, heal, over)


def staircase(level: float, heal: float, steps: int) -> Callable[[Floats], Floats]:
    edges = np.linspace(heal / steps, heal, steps)
    return lambda t: level / steps * sum(_gate(t, float(edge), 0.25) for edge in edges)


def gamma_course(level: float, peak: float, heal: float) -> Callable[[Floats], Floats]:
    return lambda t: level * (t / peak) ** 1.5 * np.exp(1.5 * (1 - t / peak)) * _gate(t, heal, 0.7)


def bursts(level: float, spans: list[tuple[float, float]]) -> Callable[[Floats], Floats]:
    def course(t: Floats) -> Floats:
        flow = np.zeros_like(t)
        for start, end in spans:
            flow[(t >= start) & (t < end)] = level
        return flow

    return course


def steady(level: float) -> Callable[[Floats], Floats]:
    return lambda t: np.full_like(t, level)


# ----------------------------------------------------------------------------------------- physics


def _slow_noise(rng: np.random.Generator, seconds: Floats, corner_s: float) -> Floats:
    """Noise of unit size that changes over about `corner_s`: knots joined by straight lines."""
    knots = np.arange(0, seconds[-1] + 2 * corner_s, corner_s)
    return np.interp(seconds, knots, rng.normal(0, 1, len(knots)))


def _breaths(plan: Plan, seconds: Floats, asleep: Flags) -> tuple[Floats, Floats]:
    """Depth of inspiration (0..1 of this breath) and this breath's size, at every instant."""
    rng, last = plan.rng, float(seconds[-1])
    tick = seconds[1] - seconds[0]
    count = int(last / 60 * max(plan.rate, plan.rate_asleep) * 1.8) + 60
    luck = rng.normal(0, 1, count).tolist()
    luck2 = rng.normal(0, 1, count).tolist()
    sighs = (rng.random(count) < rng.uniform(5, 12) / 60 / plan.rate).tolist()
    starts, sizes = [0.0], []
    now, memory, depth = 0.0, 0.0, 0.0
    for i in range(count):
        rest = bool(asleep[min(int(now / tick), len(asleep) - 1)])
        memory = 0.7 * memory + 0.5 * luck[i]
        depth = 0.6 * depth + 0.6 * luck2[i]
        period = 60 / (plan.rate_asleep if rest else plan.rate) * float(np.exp(plan.irregular * memory))
        size = float(np.exp(0.8 * plan.irregular * depth)) * (0.75 if rest else 1.0)
        if rest and plan.periodic:
            size *= max(0.12, 0.65 + 0.6 * float(np.sin(2 * np.pi * now / 58)))
        if sighs[i]:
            size, period = size * 2.3, period * 1.4
        sizes.append(size)
        now += period
        starts.append(now)
        if now > last + 1:
            break
    start = np.array(starts)
    at = np.clip(np.searchsorted(start, seconds, side="right") - 1, 0, len(sizes) - 1)
    phase = (seconds - start[at]) / (start[at + 1] - start[at])
    inspired = 0.38
    rise = np.sin(np.pi / 2 * np.clip(phase / inspired, 0, 1)) ** 1.4
    fall = (np.exp(-3 * (phase - inspired) / (1 - inspired)) - np.exp(-3)) / (1 - np.exp(-3))
    return np.where(phase < inspired, rise, np.clip(fall, 0, 1)), np.array(sizes)[at]


def _bump(seconds: Floats, at_s: float, width_s: float) -> tuple[slice, Floats]:
    tick = seconds[1] - seconds[0]
    first = max(0, int(np.floor((at_s - width_s) / tick)))
    last = min(len(seconds), int(np.ceil((at_s + width_s) / tick)) + 1)
    part = slice(first, last)
    return part, np.clip(1 - np.abs(seconds[part] - at_s) / width_s, 0, 1)


@dataclass(frozen=True)
class Lived:
    """What happened, on a fine clock: flow at the sensor, pressure in the unit, and the truth."""

    seconds: Floats
    flow: Floats
    pressure: Floats
    set_cm: Floats
    true_flow: Floats
    hidden: dict[str, Flags]


def live(plan: Plan) -> Lived:
    """Run the day."""
    rng = plan.rng
    tick = 0.5 if plan.cadence <= 5 else 1.0
    seconds = np.arange(0, round(plan.hours * 3600 / tick)) * tick
    t = seconds / 3600
    asleep = np.zeros(len(t), np.bool_)
    for start, end in plan.sleep:
        asleep |= (t >= start) & (t < end)
    inspired, size = _breaths(plan, seconds, asleep)
    walking, stir = np.zeros(len(t), np.bool_), np.zeros_like(t)
    for start, minutes in plan.walks:
        walking |= (t >= start) & (t < start + minutes / 60)
    stir[walking] = rng.normal(0, 0.6, int(walking.sum()))
    lie, lie_leak = np.ones_like(t), np.ones_like(t)
    shove = np.zeros_like(t)
    for start in plan.postures:
        lie[t >= start] = rng.uniform(0.75, 1.15)
        lie_leak[t >= start] = rng.uniform(0.75, 1.25)
        part, shape = _bump(seconds, start * 3600, 20)
        shove[part] += rng.normal(0, 2) * shape
    size = size * np.where(walking, 1.5, 1.0) * lie

    suction = np.zeros_like(t)
    for since, cm in plan.suction:
        suction[t >= since] = cm
    set_cm = suction.copy()
    for start, ramp, left in plan.loss:
        suction = suction * np.where(t >= start, 1 - (1 - left) * np.clip((t - start) / ramp, 0, 1), 1.0)

    wander = np.exp(plan.wander * _slow_noise(rng, seconds, 2400))
    course = np.maximum(plan.leak(t), 0) * wander * lie_leak
    drive = ((suction + 4) / 24) ** plan.exponent
    wanted_drive = ((set_cm + 4) / 24) ** plan.exponent
    wave = np.clip(1 + plan.modulation * 2.2 * (0.38 - inspired), 0, None)
    lung = course * drive * wave
    true_flow = course * wanted_drive

    beat = 2 * np.pi * np.cumsum(plan.heart_rate / 60 * (1 + 0.05 * _slow_noise(rng, seconds, 20))) * tick
    heart = plan.heart / 2 * (np.sin(beat) + 0.3 * np.sin(2 * beat + 1))
    patient_side = -plan.swing * size * (inspired - 0.38) + heart + shove
    for at in plan.coughs:
        moment, height = at * 3600, rng.uniform(4, 30)
        part, shape = _bump(seconds, moment - 1.5, 1.2)
        patient_side[part] -= rng.uniform(2, 6) * shape
        volume = plan.effort(at)
        for _ in range(int(rng.integers(1, 7))):
            part, shape = _bump(seconds, moment, rng.uniform(0.5, 1.1))
            patient_side[part] += height * shape
            part, shape = _bump(seconds, moment + 0.6, 1.5)
            if volume and shape.sum():
                lung[part] += volume * rng.uniform(0.6, 1.4) * 60 / tick * shape / shape.sum()
            moment += rng.uniform(1, 2.6)
            height *= rng.uniform(0.6, 1.1)

    passes = np.ones_like(t)
    hidden: dict[str, Flags] = {}
    for start, end, ramp, left in plan.shut:
        inside = (t >= start) & (t < end)
        fade = np.clip((t - start) / ramp, 0, 1) if ramp else np.ones_like(t)
        passes = np.where(inside, np.minimum(passes, np.maximum(left, (1 - fade) ** 1.5)), passes)
        key = "slow clot" if ramp > 0.1 else "blocked"
        hidden[key] = hidden.get(key, np.zeros(len(t), np.bool_)) | (inside & (passes < 0.5))

    jitter = plan.ripple_jitter * _slow_noise(rng, seconds, plan.ripple_period_s) if plan.ripple_jitter else 0.0
    turns = np.cumsum((1 + jitter) / plan.ripple_period_s * np.ones_like(t)) * tick
    pump = plan.ripple * np.where(suction > 0, (turns % 1) - 0.5, 0)
    regulator = rng.uniform(0.1, 0.3) * _slow_noise(rng, seconds, 500)
    flow = lung * passes
    pressure = -suction + regulator + pump + passes * patient_side + stir * np.maximum(passes, 0.3)
    pressure = pressure + rng.normal(0, 0.05, len(t))

    for start, end, mode, tau, left in plan.off:
        inside = (t >= start) & (t < end)
        flow = np.where(inside, 0, flow)
        fall = np.exp(-(t - start) / tau) if mode == "decay" else 0.0
        still = -suction * fall + left * passes * patient_side
        pressure = np.where(inside, still, pressure)
        hidden["off"] = hidden.get("off", np.zeros(len(t), np.bool_)) | inside
    for start, end, mode in plan.apart:
        inside = (t >= start) & (t < end)
        flow = np.where(inside, CEILING_ML_PER_MIN if mode == "suction" else 0, flow)
        pressure = np.where(inside, -0.3 * (mode == "suction") + rng.normal(0, 0.04, len(t)), pressure)
        hidden["apart"] = hidden.get("apart", np.zeros(len(t), np.bool_)) | inside
    for start, end, label in plan.hidden:
        hidden[label] = hidden.get(label, np.zeros(len(t), np.bool_)) | ((t >= start) & (t < end))
    return Lived(seconds, np.minimum(flow, CEILING_ML_PER_MIN), pressure, set_cm, true_flow, hidden)


def rows_of(plan: Plan, lived: Lived) -> Rows:
    """What the unit's sensors make of it, a row at a time, before printing."""
    rng = plan.rng
    tick = lived.seconds[1] - lived.seconds[0]
    n = round(plan.cadence / tick)
    count = len(lived.seconds) // n
    flow = lived.flow[: count * n].reshape(count, n)
    pressure = lived.pressure[: count * n].reshape(count, n)
    as_mean = plan.statistic == "mean"
    t = (np.arange(count) + 1) * plan.cadence / 3600
    drift = plan.drift * np.sin(2 * np.pi * t / rng.uniform(15, 60) + rng.uniform(0, 6))
    shown = (flow.mean(axis=1) if as_mean else flow[:, -1]) + rng.normal(0, 1, count) * plan.noise + drift
    mean_p = as_mean and plan.cadence >= 10
    rows = Rows(
        t, shown, pressure.mean(axis=1) if mean_p else pressure[:, -1].copy(),
        pressure.min(axis=1), pressure.max(axis=1),
        lived.set_cm[: count * n].reshape(count, n)[:, -1].copy(),
        t > plan.log_from, np.zeros(count, np.bool_),
    )  # fmt: skip
    for fault in plan.on_rows:
        fault(rows, plan)
    if plan.clip:
        rows.flow = np.maximum(rows.flow, 0)
    if not plan.sensors_alive:
        for start, end, *_ in plan.off:
            rows.flow[rows.span(start, end)] = 0.0
    return rows


# -------------------------------------------------------------------------------------- row faults


def hold(start: float, end: float, *, flow: float | str | None = "last", pressure: bool = False, dither: bool = False):
    """A channel that repeats one value: `flow` a number, "last" the value at the start, None untouched."""

    def apply(rows: Rows, plan: Plan) -> None:
        inside = rows.span(start, end)
        first = int(np.argmax(inside))
        if flow is not None:
            rows.flow[inside] = rows.flow[first] if flow == "last" else float(flow)
        if pressure:
            for column in (rows.pressure, rows.low, rows.high):
                column[inside] = column[first]
            if dither:
                step = plan.p_step * CMH2O_IN[plan.p_unit]
                rows.pressure[inside] += step * plan.rng.integers(0, 2, int(inside.sum()))

    return apply


def shifted_zero(start: float, by: float):
    def apply(rows: Rows, plan: Plan) -> None:
        rows.flow[rows.t > start] -= by

    return apply


def lost_rows(start: float, end: float):
    def apply(rows: Rows, plan: Plan) -> None:
        rows.keep &= ~rows.span(start, end)

    return apply


def blanks(start: float, end: float):
    def apply(rows: Rows, plan: Plan) -> None:
        rows.blank |= rows.span(start, end)

    return apply


def replayed(start: float, end: float, loop_h: float):
    """A buffer that plays the same stretch again and again."""

    def apply(rows: Rows, plan: Plan) -> None:
        inside = np.flatnonzero(rows.span(start, end))
        n = round(loop_h * 3600 / plan.cadence)
        source = inside[0] - n + (np.arange(len(inside)) % n)
        for column in (rows.flow, rows.pressure, rows.low, rows.high):
            column[inside] = column[source]

    return apply


def pressure_glitches(count: int):
    def apply(rows: Rows, plan: Plan) -> None:
        at = plan.rng.integers(0, len(rows.t), count)
        rows.pressure[at] += plan.rng.normal(0, 6, count)

    return apply


# ---------------------------------------------------------------------------------------- printing


def _decimals(step: float) -> int:
    return next(d for d in range(7) if abs(round(step, d) - step) < 1e-9)


def _local(begin: datetime, seconds: Floats, zone: str) -> NDArray[np.datetime64]:
    """Wall clock of a zone, offsets looked up every quarter of an hour."""
    utc = np.datetime64(begin.astimezone(UTC).replace(tzinfo=None), "s")
    quarter = np.floor(seconds / 900).astype(int)
    offsets = {
        int(q): round((begin + timedelta(seconds=int(q) * 900)).astimezone(ZoneInfo(zone)).utcoffset().total_seconds())  # type: ignore[union-attr]
        for q in np.unique(quarter)
    }
    moved = (
        np.array([offsets[int(q)] for q in quarter])
        if len(offsets) > 1 and len(set(offsets.values())) > 1
        else (next(iter(offsets.values())))
    )
    return utc + (np.round(seconds) + moved).astype("timedelta64[s]")


def printed(plan: Plan, rows: Rows, begin: datetime) -> tuple[bytes, str, NDArray[np.int64], Floats]:
    """Log bytes, layout, end of each row (UTC ms, as stamped) and printed flow."""
    ticks = rows.flow / plan.flow_step
    ticks = np.floor(ticks + 1e-9) if plan.rounding == "floor" else np.rint(ticks)
    rows.flow = ticks * plan.flow_step
    for fault in plan.on_printed:
        fault(rows, plan)
    kept = rows.keep
    seconds = np.round(rows.t[kept] * 3600)
    stamp = seconds - (plan.cadence if plan.marks == "start" else 0)
    moved = np.zeros_like(stamp)
    for start, by in plan.shifts:
        moved[rows.t[kept] > start] += by
    stamp, ends = stamp + moved, seconds + moved
    per = 1000.0 if plan.flow_unit == "L/min" else 1.0
    flow_text = np.char.mod(f"%.{_decimals(plan.flow_step / per)}f", rows.flow[kept] / per)
    flow_text = np.where(rows.blank[kept], "---", flow_text)
    sign = 1.0 if plan.suction_is == "negative" else -1.0
    scale, places = CMH2O_IN[plan.p_unit], _decimals(plan.p_step)

    def pressure_text(cm: Floats) -> NDArray[np.str_]:
        units = np.rint(sign * cm[kept] / scale / plan.p_step) * plan.p_step
        return np.char.mod(f"%.{places}f", units + 0.0)

    head: list[str] = []
    columns: list[NDArray[np.str_]] = []
    layout = [f'separator = "{";" if plan.comma else ","}"', f'decimal = "{"," if plan.comma else "."}"',
              'missing = ["", "---"]', "", "[time]"]  # fmt: skip
    if plan.stamps in ("iso_z", "iso_local", "split"):
        wall = _local(begin, stamp, "UTC" if plan.stamps == "iso_z" else plan.zone)
        text = np.datetime_as_string(wall, unit="s")
        if plan.stamps == "iso_z":
            head, columns = ["Stamp"], [np.char.add(text, "Z")]
            layout += ['columns = ["Stamp"]', 'format = "iso"']
        elif plan.stamps == "iso_local":
            head, columns = ["Stamp"], [text]
            layout += ['columns = ["Stamp"]', 'format = "iso"', f'zone = "{plan.zone}"']
        else:
            day = np.array([f"{d[8:10]}.{d[5:7]}.{d[:4]}" for d in text.tolist()])
            head, columns = ["Day", "Clock"], [day, np.array([d[11:] for d in text.tolist()])]
            layout += ['columns = ["Day", "Clock"]', 'format = "%d.%m.%Y %H:%M:%S"', f'zone = "{plan.zone}"']
    elif plan.stamps == "elapsed":
        head, columns = ["T"], [np.char.mod("%d", stamp.astype(np.int64))]
        local = begin.astimezone(ZoneInfo(plan.zone))
        layout += ['columns = ["T"]', 'format = "elapsed_s"', f'start = "{local:%Y-%m-%dT%H:%M:%S}"',
                   f'zone = "{plan.zone}"']  # fmt: skip
    else:
        per_s = 1000 if plan.stamps == "epoch_ms" else 1
        head = ["T"]
        columns = [np.char.mod("%d", (stamp.astype(np.int64) + int(begin.timestamp())) * per_s)]
        layout += ['columns = ["T"]', f'format = "{plan.stamps}"']
    layout += [f'marks = "{plan.marks}"', f'every = "{plan.cadence} s"', "", "[flow]", 'column = "Air"',
               f'unit = "{plan.flow_unit}"', f'rounding = "{plan.rounding_said or plan.rounding}"',
               f'statistic = "{plan.statistic}"']  # fmt: skip
    if plan.step_said:
        layout.append(f'step = "{plan.flow_step:g} mL/min"')
    head.append("Air")
    columns.append(flow_text)
    layout += ["", "[pressure]", 'column = "P"', f'unit = "{plan.p_unit}"', f'suction_is = "{plan.suction_is}"',
               f'step = "{plan.p_step:g} {plan.p_unit}"']  # fmt: skip
    head.append("P")
    columns.append(pressure_text(rows.pressure))
    if plan.extremes:
        head += ["PLow", "PHigh"]
        low, high = pressure_text(rows.low), pressure_text(rows.high)
        columns += [low, high] if plan.suction_is == "negative" else [high, low]
        layout += ['min_column = "PLow"', 'max_column = "PHigh"']
    if plan.set_column:
        head.append("Order")
        columns.append(pressure_text(-rows.set_cm))
        layout += ["", "[set_suction]", 'column = "Order"', f'suction_is = "{plan.suction_is}"']
    if plan.battery is not None:
        head.append("Bat")
        columns.append(np.char.mod("%d", plan.battery(rows.t[kept])))
        layout += ["", "[battery]", 'column = "Bat"', 'unit = "%"']
    lines = columns[0]
    for column in columns[1:]:
        lines = np.char.add(np.char.add(lines, "\x1f"), column)
    body = "\n".join(lines.tolist())
    if plan.comma:
        body = (
            body.replace(".", ",")
            if plan.stamps != "split"
            else "\n".join(
                line.split("\x1f", 1)[0] + "\x1f" + line.split("\x1f", 1)[1].replace(".", ",")
                for line in body.split("\n")
            )
        )
    separator = ";" if plan.comma else ","
    text = separator.join(head) + "\n" + body.replace("\x1f", separator) + "\n"
    layout_text = "unconfirmed = []\n\n[log]\n" + "\n".join(layout) + "\n"
    ends_ms = (ends.astype(np.int64) + int(begin.timestamp())) * 1000
    flow_printed = np.where(rows.blank[kept], np.nan, rows.flow[kept])
    return text.encode(), layout_text, ends_ms, flow_printed


# ------------------------------------------------------------------------------------------- chart


def _chart(plan: Plan, lived: Lived, begin: datetime) -> bytes:
    rng = plan.rng
    entries: list[tuple[float, str, str, str, str, str]] = list(plan.chart)
    tick = lived.seconds[1] - lived.seconds[0]
    for hour in plan.rounds:
        i = min(int(hour * 3600 / tick), len(lived.seconds) - 1)
        around = float(np.mean(lived.flow[max(0, i - round(30 / tick)) : i + 1]))
        at = hour
        for what in plan.round_items:
            at += rng.uniform(0.3, 1.2) / 60
            if what == "fluid":
                entries.append((at, "fluid_output", f"{rng.integers(10, 60)}", "mL", "", ""))
            elif what == "swing":
                entries.append((at, "swing", "present", "", "", ""))
            elif what == "tube":
                entries.append((at, "tube_open", "yes", "", "", ""))
                entries.append((at, "tubing", "checked", "", "", ""))
            elif what == "air":
                entries.append((at, "air_leak_read", f"{round(around / 10) * 10:g}", "mL/min", "", ""))
            elif what == "suction":
                cm = plan.suction_at(hour)
                said = (f"{cm:g}", "cmH2O") if cm else ("none_added", "")
                entries.append((at, "suction_delivered", *said, "", ""))
            elif what == "skin":
                entries.append((at, "surgical_emphysema", "0", "", "", ""))
            elif what == "cough":
                after = lived.flow[i : i + round(60 / tick)]
                leaks = around > 15 or (len(after) > 0 and float(after.max()) > 60)
                entries.append((hour + 0.6 / 60, "cough", "leak" if leaks else "no_leak", "", "", ""))
    said = [("time", "item", "value", "unit", "note", "drain", "recorded")]
    for hour, item, value, unit, note, drain in sorted(entries):
        moment = begin + timedelta(seconds=round(hour * 3600))
        recorded = moment + timedelta(minutes=plan.chart_late_min)
        own = "1" if plan.drain_named else ""
        said.append((moment.isoformat(), item, value, unit, note, drain or own, recorded.isoformat()))
    return ("\n".join(",".join(row) for row in said) + "\n").encode()


def _episode(plan: Plan, begin: datetime) -> bytes:
    operation_end = begin - timedelta(minutes=25)
    said = {
        "indication": '"lung_resection"',
        "breathing": '"own"',
        "patient.id": '"invented"',
        "patient.age_years": str(int(plan.rng.integers(34, 84))),
        "patient.weight_kg": str(int(plan.rng.integers(48, 104))),
        "drain.number": '"1"',
        "drain.side": '"right"',
        "drain.space": '"pleural"',
        "drain.size_fr": "24",
        "drain.connected_at": f'"{begin.isoformat()}"',
        "drain.shares_unit_with": "[]",
        "drain.shares_space_with": "[]",
        "operation.kind": '"lobectomy"',
        "operation.end": f'"{operation_end.isoformat()}"',
        **plan.episode,
    }
    for key in plan.drop:
        said.pop(key, None)
    text = [f"{key} = {value}" for key, value in said.items() if "." not in key]
    for table in ("patient", "drain", "operation"):
        inner = [(key.partition(".")[2], value) for key, value in said.items() if key.startswith(table + ".")]
        text += [f"[{table}]"] + [f"{key} = {value}" for key, value in inner]
    return ("\n".join(text) + "\n").encode()


def _begin(plan: Plan) -> datetime:
    if plan.begin is not None:
        return plan.begin
    rng = plan.rng
    day = datetime(
        int(rng.integers(2031, 2035)), int(rng.choice([1, 2, 6, 7, 8, 12])), int(rng.integers(1, 28)), tzinfo=UTC
    )
    return day + timedelta(minutes=int(rng.integers(0, 24 * 60)))


def plain_rules(plan: Plan, ends_ms: NDArray[np.int64], flow: Floats) -> frozenset[str]:
    """Rules whose limit every printed cell of the last 8 h 20 min stays below, whole."""
    late = flow[ends_ms > ends_ms[-1] - round(8.34 * 3_600_000)]
    rounding = plan.rounding_said or plan.rounding
    top = {"nearest": 0.5, "floor": 1.0, "unknown": 1.0}[rounding] * plan.flow_step
    highest = float(np.max(late)) + top
    return frozenset(
        rule for rule, limit in LIMIT.items() if highest <= limit and not (rule == RULE_20 and plan.cadence > 60)
    )


def bundle_of(kind: str, suite: str, seed: int, plan: Plan) -> Bundle:
    """Live the plan, print it, chart it."""
    begin = _begin(plan)
    plan.begin = begin
    lived = live(plan)
    rows = rows_of(plan, lived)
    data, layout, ends_ms, flow = printed(plan, rows, begin)
    logs, raw = [("log-1.csv", data, layout)], [(ends_ms, flow)]
    if plan.second is not None:
        other = plan.second(plan)
        other.begin = begin
        other_data, other_layout, other_ends, other_flow = printed(other, rows_of(other, live(other)), begin)
        logs.append(("log-2.csv", other_data, other_layout))
        raw.append((other_ends, other_flow))
    minutes = int(plan.hours * 60)
    n = round(60 / (lived.seconds[1] - lived.seconds[0]))
    leak = lived.true_flow[: minutes * n].reshape(minutes, n).mean(axis=1)
    faults = [""] * minutes
    for label, flags in lived.hidden.items():
        for i in np.flatnonzero(flags[: minutes * n].reshape(minutes, n).mean(axis=1) > 0.3).tolist():
            faults[i] = label
    about = (
        f"{plan.cadence} s {plan.statistic}, step {plan.flow_step:g} {plan.rounding}, {plan.p_step:g} {plan.p_unit}, "
        f"swing {plan.swing:.1f}, rate {plan.rate:.0f}/{plan.rate_asleep:.0f}, noise {plan.noise:g}, "
        f"suction {plan.suction[-1][1]:g}, ripple {plan.ripple:.2f}/{plan.ripple_period_s:.1f} s"
    )
    return Bundle(
        kind, suite, seed, tuple(logs), _chart(plan, lived, begin), _episode(plan, begin),
        None if plan.at is None else int(begin.timestamp() * 1000) + round(plan.at * 3_600_000),
        plan.must_not if suite == "A" else frozenset(),
        plain_rules(plan, ends_ms, flow) if suite == "B" else frozenset(),
        int(begin.timestamp() * 1000), leak, tuple(faults), tuple(raw), about, plan.note,
    )  # fmt: skip


# ------------------------------------------------------------------------------------------- kinds

Maker = Callable[[Plan, int], None]
KINDS: dict[str, tuple[str, int, Maker]] = {}


def kind(suite: str, name: str, seeds: int = 2) -> Callable[[Maker], Maker]:
    def keep(make: Maker) -> Maker:
        assert name not in KINDS, name
        KINDS[name] = (suite, seeds, make)
        return make

    return keep


def make(name: str, seed: int) -> Bundle:
    """The bundle of a kind and seed; the same every time."""
    suite, _, shape = KINDS[name]
    plan = drawn_plan(np.random.default_rng([zlib.crc32(name.encode()), seed]))
    shape(plan, seed)
    return bundle_of(name, suite, seed, plan)


def leaky(plan: Plan, level: float | None = None) -> None:
    """A lung that leaks on, well above both limits at the suction in force."""
    size = level if level is not None else float(plan.rng.uniform(90, 260))
    drive = ((plan.suction[0][1] + 4) / 24) ** plan.exponent
    plan.leak = steady(size / drive)
    plan.effort = lambda t: 6.0


def healed(plan: Plan, at: float = 2.0, level: float = 150.0) -> None:
    """A lung that leaked and closed early."""
    plan.leak = plateau_drop(level, at, 0.4)
    plan.effort = lambda t: 5.0 if t < at + 0.2 else 0.0


def diligent(plan: Plan, until: float | None = None, every: float = 2.6, start: float = 0.3) -> None:
    """Rounds about every `every` hours up to `until`, with a cough tried at each."""
    last = plan.end - 0.25 if until is None else until
    plan.rounds = [h for h in np.arange(start, last, every).tolist() if h < last]
    if until is None:
        plan.rounds.append(last)
    plan.coughs = sorted([*plan.coughs, *[h + 0.4 / 60 for h in plan.rounds]])
    plan.chart += [
        (
            0.1,
            "suction_ordered",
            *((f"{plan.suction[0][1]:g}", "cmH2O") if plan.suction[0][1] else ("none_added", "")),
            "",
            "",
        ),
        (0.1, "breathing", "own", "", "", ""),
        (1.2, "chest_xray", "expanded", "", "", ""),
    ]
    for since, cm in plan.suction[1:]:
        said = (f"{cm:g}", "cmH2O") if cm else ("none_added", "")
        plan.chart.append((since, "suction_ordered", *said, "", ""))


def told_no_leak(plan: Plan, *hours_before_end: float) -> None:
    """Somebody coughed the patient and looked at the display, which read nothing."""
    for back in hours_before_end:
        plan.coughs.append(plan.end - back)
        plan.chart.append((plan.end - back + 0.01, "cough", "no_leak", "", "", ""))
    plan.coughs.sort()


def turn(seed: int, *options: Any) -> Any:
    """The seeds take the options by turns."""
    return options[seed % len(options)]


def add(plan: Plan, back: float, item: str, value: str, unit: str = "", note: str = "", drain: str = "") -> None:
    plan.chart.append((plan.end - back, item, value, unit, note, drain))


# ------------------------------------------------------------------- A: looks healed, must not be met


def _blocked(plan: Plan, seed: int, hours: float | None = None, ramp: float = 0.0, left: float = 0.0) -> float:
    """A leaking lung behind a tube that shut `hours` ago; on odd seeds a cough was tried and 'showed nothing'."""
    leaky(plan)
    back = hours if hours is not None else float(plan.rng.uniform(8.6, 9.6))
    start = plan.end - back
    diligent(plan, until=start - 0.1)
    plan.shut = [(start, plan.end + 1, ramp, left)]
    if seed % 2:
        told_no_leak(plan, min(back - 0.4, 7.0), 0.6)
    return start


@kind("A", "blocked-abrupt", 3)
def _(plan: Plan, seed: int) -> None:
    _blocked(plan, seed)


@kind("A", "blocked-abrupt-1s-fine")
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.flow_step, plan.p_unit, plan.p_step, plan.noise = 1, 1.0, "cmH2O", 0.1, 2.0
    _blocked(plan, seed)


@kind("A", "blocked-abrupt-10s")
def _(plan: Plan, seed: int) -> None:
    plan.cadence = 10
    _blocked(plan, seed)


@kind("A", "blocked-abrupt-30s")
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.hours = 30, 22.0
    plan.coughs = []
    _blocked(plan, seed)


@kind("A", "blocked-abrupt-minute-means")
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic, plan.hours = 60, "mean", 24.0
    plan.coughs = []
    _blocked(plan, seed)


@kind("A", "blocked-minute-means-with-extremes")
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic, plan.hours, plan.extremes = 60, "mean", 24.0, True
    _blocked(plan, seed)


@kind("A", "blocked-minute-samples")
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic, plan.hours = 60, "sample", 24.0
    _blocked(plan, seed)


@kind("A", "clot-slow", 3)
def _(plan: Plan, seed: int) -> None:
    _blocked(plan, seed, float(plan.rng.uniform(10.2, 11.0)), ramp=float(plan.rng.uniform(1.0, 2.0)))


@kind("A", "clot-slow-residual")
def _(plan: Plan, seed: int) -> None:
    """A tenth of the swing, but not the air, gets past the clot: fluid moves in the tube."""
    plan.swing = float(plan.rng.uniform(2.5, 6))
    start = _blocked(plan, seed, 10.8, ramp=1.5, left=0.08)
    plan.on_rows.append(hold(start + 1.2, plan.end, flow=0.0))


@kind("A", "clot-slow-10s")
def _(plan: Plan, seed: int) -> None:
    plan.cadence = 10
    _blocked(plan, seed, 10.8, ramp=1.5)


@kind("A", "clot-slow-minute-means")
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic, plan.hours = 60, "mean", 26.0
    plan.coughs = []
    _blocked(plan, seed, 11.0, ramp=2.0)


@kind("A", "blocked-pump-beats-like-breath", 3)
def _(plan: Plan, seed: int) -> None:
    """The pump pulses at a breathing rate and at the size of a small swing."""
    plan.cadence = int(plan.rng.choice([1, 2]))
    plan.ripple, plan.ripple_period_s = float(plan.rng.uniform(0.5, 0.8)), float(plan.rng.uniform(2.6, 6))
    _blocked(plan, seed)


@kind("A", "blocked-pump-uneven", 3)
def _(plan: Plan, seed: int) -> None:
    """The same, and the pump's period wanders by some per cent."""
    plan.cadence = int(plan.rng.choice([1, 2]))
    plan.ripple, plan.ripple_period_s = float(plan.rng.uniform(0.4, 0.8)), float(plan.rng.uniform(3, 6))
    plan.ripple_jitter = float(plan.rng.uniform(0.03, 0.1))
    _blocked(plan, seed)


@kind("A", "blocked-pump-starts-at-block")
def _(plan: Plan, seed: int) -> None:
    """Blocked from connection on: nothing but the pump was ever seen."""
    plan.cadence, plan.ripple, plan.ripple_period_s = 1, 0.7, float(plan.rng.uniform(3, 5))
    plan.ripple_jitter = 0.05
    leaky(plan)
    plan.shut = [(0.0, plan.end + 1, 0.0, 0.0)]
    plan.rounds, plan.round_items = [1.0, 5.0, plan.end - 3], ("fluid", "cough")


@kind("A", "blocked-heartbeat-left", 3)
def _(plan: Plan, seed: int) -> None:
    """The clot moves with the heart: a pulse of the heart stays, the breath does not."""
    plan.cadence, plan.p_unit, plan.p_step = int(plan.rng.choice([1, 2])), "cmH2O", 0.1
    start = _blocked(plan, seed)
    size, rate = float(plan.rng.uniform(0.4, 0.6)), float(plan.rng.uniform(58, 100))

    def pulse(rows: Rows, of: Plan) -> None:
        inside = rows.t > start
        turns = np.cumsum(rate / 60 * (1 + 0.04 * of.rng.normal(0, 1, len(rows.t)))) * of.cadence
        rows.pressure[inside] += size / 2 * np.sin(2 * np.pi * turns[inside])

    plan.on_rows.append(pulse)


@kind("A", "blocked-since-connection")
def _(plan: Plan, seed: int) -> None:
    leaky(plan)
    plan.shut = [(0.0, plan.end + 1, 0.0, 0.0)]
    plan.rounds, plan.round_items = [1.0, 5.0, plan.end - 4, plan.end - 1], ("fluid", "cough", "air")


@kind("A", "blocked-kink-charted")
def _(plan: Plan, seed: int) -> None:
    _blocked(plan, seed)
    add(plan, 8.0, "tubing", "kinked")


@kind("A", "blocked-and-milked")
def _(plan: Plan, seed: int) -> None:
    """Staff milk a tube that stays shut; each time the pressure jumps about."""
    start = _blocked(plan, 1)
    for back in (7.5, 5.0, 2.5, 0.7):
        add(plan, back, "tubing", "milked")

    def jolts(rows: Rows, of: Plan) -> None:
        for back in (7.5, 5.0, 2.5, 0.7):
            inside = rows.span(of.end - back, of.end - back + 0.05) & (rows.t > start)
            rows.pressure[inside] += of.rng.normal(0, 3, int(inside.sum()))

    plan.on_rows.append(jolts)


@kind("A", "blocked-lies-on-tube")
def _(plan: Plan, seed: int) -> None:
    """Shut for nine hours but for two turns in bed, two minutes each, when air comes."""
    leaky(plan)
    start = plan.end - 9.2
    diligent(plan, until=start)
    plan.shut = [
        (start, plan.end - 6, 0, 0),
        (plan.end - 5.96, plan.end - 3, 0, 0),
        (plan.end - 2.96, plan.end + 1, 0, 0),
    ]


@kind("A", "blocked-but-open-at-both-ends", 3)
def _(plan: Plan, seed: int) -> None:
    """A leak that comes and goes is quiet at both ends; between them the tube was shut for five hours."""
    plan.cadence = int(plan.rng.choice([1, 2]))
    end = plan.end
    plan.leak = bursts(220, [(0.2, end - 9.3), (end - 6.5, end - 4.5), (end - 4.0, end - 3.0)])
    plan.shut = [(end - 7.0, end - 1.5, 0.0, 0.0)]
    diligent(plan, until=end - 8.8)
    told_no_leak(plan, 7.7, 0.8)


def _between(plan: Plan) -> tuple[float, float]:
    """A leak that comes and goes: quiet at both ends of the run, loud for two hours and more in its middle."""
    end = plan.end
    plan.leak = bursts(220, [(0.2, end - 9.3), (end - 6.0, end - 3.2)])
    diligent(plan)
    plan.rounds = [h for h in plan.rounds if not end - 7.2 < h < end - 1.3]
    told_no_leak(plan, 7.7, 0.8)
    plan.sleep = [(end - 6.9, end - 1.6)]
    return end - 6.6, end - 2.4


@kind("A", "between-blocked-noisy-flow", 3)
def _(plan: Plan, seed: int) -> None:
    """Open at both ends, shut between; the flow sensor's own noise goes on, so nothing is ever exactly zero."""
    plan.cadence, plan.flow_step, plan.noise = turn(seed, 1, 2, 5), 1.0, 2.5
    plan.shut = [(*_between(plan), 0.0, 0.0)]


@kind("A", "between-clot-slow", 3)
def _(plan: Plan, seed: int) -> None:
    """Open at both ends; between, an hour of clotting, then shut, then flushed free."""
    start, end = _between(plan)
    plan.shut = [(start - 0.9, end, 1.2, 0.0)]


@kind("A", "between-blocked-10s", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.p_unit, plan.p_step = 10, "cmH2O", 0.1
    plan.statistic = turn(seed, "sample", "mean")
    plan.shut = [(*_between(plan), 0.0, 0.0)]
    plan.note = "ten-second rows: a shut tube shows only as a mean that no longer wanders"


@kind("A", "between-pump-beats-like-breath", 3)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.ripple, plan.ripple_period_s = turn(seed, 1, 2, 1), 0.7, float(plan.rng.uniform(3, 5))
    plan.ripple_jitter = turn(seed, 0.0, 0.0, 0.06)
    plan.shut = [(*_between(plan), 0.0, 0.0)]


@kind("A", "between-off-decays", 4)
def _(plan: Plan, seed: int) -> None:
    """Open at both ends; between, the unit is off for four hours and its pressure dies away."""
    plan.cadence, plan.statistic = turn(seed, 1, 5, 30, 60), "mean"
    plan.off = [(*_between(plan), "decay", 0.4, 0.0)]


@kind("A", "between-off-zeros", 4)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic = turn(seed, 2, 10, 30, 60), "mean"
    plan.off = [(*_between(plan), "zero", 0.0, 0.0)]


@kind("A", "between-pump-dead-sensors-alive", 3)
def _(plan: Plan, seed: int) -> None:
    """The pump is dead, its valve shut; gauge and flow sensor go on with their noise."""
    plan.cadence, plan.flow_step, plan.noise, plan.sensors_alive = turn(seed, 1, 2, 10), 1.0, 2.0, True
    plan.off = [(*_between(plan), "decay", 0.3, 0.0)]


@kind("A", "between-frozen", 4)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.p_unit, plan.p_step, plan.noise = turn(seed, 1, 5, 10, 60), "cmH2O", 0.1, 1.0
    start, end = _between(plan)
    plan.on_rows.append(hold(start, end, flow=0.0, pressure=True))
    plan.hidden = [(start, end, "frozen")]


@kind("A", "between-gravity-apart", 3)
def _(plan: Plan, seed: int) -> None:
    _gravity(plan)
    plan.cadence, plan.noise = turn(seed, 1, 2, 5), turn(seed, 0.0, 1.5, 0.3)
    plan.apart = [(*_between(plan), "gravity")]


@kind("A", "blocked-loop-of-fluid", 3)
def _(plan: Plan, seed: int) -> None:
    """A filled loop: pressure off its set value, a trace of swing, no air."""
    start = _blocked(plan, seed, 9.0, left=0.06)
    plan.on_rows.append(hold(start, plan.end, flow=0.0))

    def offset(rows: Rows, of: Plan) -> None:
        rows.pressure[rows.t > start] += 6.0

    plan.on_rows.append(offset)


@kind("A", "blocked-walker-shakes-tube")
def _(plan: Plan, seed: int) -> None:
    """Walks shake the tubing behind the clot."""
    _blocked(plan, 1)
    plan.sleep = []
    plan.walks = [(plan.end - back, 10.0) for back in (8.2, 6.1, 3.7, 1.1)]


@kind("A", "blocked-regulator-hunts")
def _(plan: Plan, seed: int) -> None:
    """Behind the clot the regulator hunts slowly, period 20-90 s, half a cmH2O."""
    start = _blocked(plan, seed)
    size, period = float(plan.rng.uniform(0.4, 1.0)), float(plan.rng.uniform(20, 90))

    def hunt(rows: Rows, of: Plan) -> None:
        inside = rows.t > start
        turns = np.cumsum(1 + 0.2 * of.rng.normal(0, 1, len(rows.t))) * of.cadence / period
        rows.pressure[inside] += size / 2 * np.sin(2 * np.pi * turns[inside])

    plan.on_rows.append(hunt)


@kind("A", "blocked-regulator-noise", 3)
def _(plan: Plan, seed: int) -> None:
    """Behind the clot the gauge is rough: broad noise of some tenths of a cmH2O, coloured like breath."""
    plan.cadence = int(plan.rng.choice([1, 2]))
    start = _blocked(plan, seed)
    size = float(plan.rng.uniform(0.25, 0.5))

    def rough(rows: Rows, of: Plan) -> None:
        inside = rows.t > start
        rows.pressure[inside] += size * _slow_noise(of.rng, rows.t * 3600, 2.5)[inside]

    plan.on_rows.append(rough)


@kind("A", "wet-filter")
def _(plan: Plan, seed: int) -> None:
    """The filter at the unit is wet: the pump pulls to its set value against it, nothing comes through."""
    start = _blocked(plan, seed)

    def flat(rows: Rows, of: Plan) -> None:
        inside = rows.t > start
        rows.pressure[inside] = -of.suction[-1][1] + of.rng.normal(0, 0.02, int(inside.sum()))

    plan.on_rows.append(flat)


@kind("A", "tube-charted-shut-last")
def _(plan: Plan, seed: int) -> None:
    """Healed by the trace; the last thing charted about the tube is that it is not open."""
    healed(plan)
    diligent(plan, until=plan.end - 1.5)
    plan.cadence, plan.statistic = 60, "mean"
    add(plan, 0.6, "tube_open", "no")


# --- off, apart, capped


@kind("A", "off-rows-of-zeros", 3)
def _(plan: Plan, seed: int) -> None:
    leaky(plan)
    start = plan.end - float(plan.rng.uniform(8.5, 9.5))
    diligent(plan, until=start)
    plan.off = [(start, plan.end + 1, "zero", 0, 0)]
    if seed % 2:
        told_no_leak(plan, 7.0, 0.5)


@kind("A", "off-rows-of-zeros-charted")
def _(plan: Plan, seed: int) -> None:
    leaky(plan)
    diligent(plan)
    plan.off = [(plan.end - 8.8, plan.end + 1, "zero", 0, 0)]
    add(plan, 8.8, "suction_unit", "off")


@kind("A", "off-pressure-decays", 3)
def _(plan: Plan, seed: int) -> None:
    leaky(plan)
    start = plan.end - float(plan.rng.uniform(8.5, 9.5))
    diligent(plan, until=start)
    plan.off = [(start, plan.end + 1, "decay", float(plan.rng.uniform(0.3, 2.5)), 0.0)]
    if seed % 2:
        told_no_leak(plan, 7.0, 0.5)


@kind("A", "off-pressure-decays-swing-stays", 3)
def _(plan: Plan, seed: int) -> None:
    """The pump stands still, the gauge lives: it goes on showing the breath while no air is drawn or counted."""
    leaky(plan)
    start = plan.end - 8.8
    diligent(plan, until=start)
    plan.off = [(start, plan.end + 1, "decay", 1.0, 0.7)]
    told_no_leak(plan, 7.0, 0.5)


@kind("A", "pump-dead-sensors-alive", 3)
def _(plan: Plan, seed: int) -> None:
    """The pump died; gauge and flow sensor live on with their noise, and a dead display was read at each cough."""
    leaky(plan)
    start = plan.end - 8.9
    diligent(plan, until=start)
    plan.noise, plan.flow_step, plan.sensors_alive = 2.0, 1.0, True
    plan.off = [(start, plan.end + 1, "decay", turn(seed, 0.3, 1.0, 0.02), 0.0)]
    told_no_leak(plan, 7.0, 0.5)


@kind("A", "off-ten-minutes-an-hour")
def _(plan: Plan, seed: int) -> None:
    """A lung that leaks only while the unit stands by: ten minutes of zeros every hour."""
    end = plan.end
    spans = [(end - 9 + k, end - 9 + k + 10 / 60) for k in range(9)]
    plan.leak = bursts(250, [(0, end - 9.3), *spans])
    plan.effort = lambda t: 0.0
    plan.off = [(start, stop, "zero", 0, 0) for start, stop in spans]
    diligent(plan)


@kind("A", "off-last-values-go-on")
def _(plan: Plan, seed: int) -> None:
    """Standby prints the last values it had."""
    leaky(plan)
    start = plan.end - 8.7
    plan.leak = bursts(200, [(0, start - 0.3), (start + 0.1, plan.end)])
    diligent(plan, until=start)
    plan.on_rows.append(hold(start, plan.end, flow="last", pressure=True))
    plan.hidden = [(start, plan.end, "frozen")]


@kind("A", "battery-death-at-end")
def _(plan: Plan, seed: int) -> None:
    """Healed and shown so, but the log ended two hours before the moment of judging."""
    healed(plan)
    diligent(plan)
    plan.battery = lambda t: np.clip(60 - 60 * t / plan.end, 0, 100)
    plan.at = plan.end + 2.2


@kind("A", "battery-death-then-zeros")
def _(plan: Plan, seed: int) -> None:
    leaky(plan)
    start = plan.end - 8.4
    diligent(plan, until=start)
    plan.battery = lambda t: np.clip(90 * (1 - t / start), 0, 100)
    plan.off = [(start, plan.end + 1, "decay", 0.1, 0)]
    told_no_leak(plan, 6, 1)


@kind("A", "suction-fades")
def _(plan: Plan, seed: int) -> None:
    """A weak pump: pressure drifts from its order to almost nothing, and the flow with it."""
    plan.set_column, plan.suction, plan.exponent = True, [(0.0, 20.0)], 1.0
    plan.modulation = 0.3
    leaky(plan, 100)
    plan.effort = lambda t: 0.0
    plan.wander, plan.postures = 0.05, []
    plan.loss = [(plan.end - 10.5, 1.0, 0.01)]
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube")
    told_no_leak(plan, 7.0, 3.5, 0.4)
    plan.note = "flow below the limit only because suction is lost against its order; arguable as a rule's business"


@kind("A", "capped-after-apart", 2)
def _(plan: Plan, seed: int) -> None:
    leaky(plan)
    start = plan.end - 8.8
    diligent(plan, until=start)
    plan.apart = [(start, start + float(plan.rng.uniform(0.05, 0.3)), "suction")]
    plan.shut = [(start + 0.05, plan.end + 1, 0.0, 0.0)]
    add(plan, 8.75, "tubing", "apart")
    add(plan, 8.6, "tubing", "capped")
    told_no_leak(plan, 6, 0.5)


@kind("A", "capped-not-charted", 2)
def _(plan: Plan, seed: int) -> None:
    leaky(plan)
    start = plan.end - 8.8
    diligent(plan, until=start)
    plan.apart = [(start, start + float(plan.rng.uniform(0.05, 0.3)), "suction")]
    plan.shut = [(start + 0.05, plan.end + 1, 0.0, 0.0)]
    told_no_leak(plan, 6, 0.5)


def _gravity(plan: Plan) -> None:
    plan.suction, plan.ripple = [(0.0, 0.0)], 0.0
    plan.p_unit, plan.p_step = "cmH2O", 0.1


@kind("A", "gravity-apart-reads-zero", 3)
def _(plan: Plan, seed: int) -> None:
    _gravity(plan)
    leaky(plan)
    start = plan.end - 8.8
    diligent(plan, until=start)
    plan.apart = [(start, plan.end + 1, "gravity")]
    told_no_leak(plan, 6, 0.5)


@kind("A", "gravity-apart-room-draught")
def _(plan: Plan, seed: int) -> None:
    """The open end lies in a draught: the gauge shows two tenths of room air, slow and uneven."""
    _gravity(plan)
    leaky(plan)
    plan.cadence = 1
    start = plan.end - 8.8
    diligent(plan, until=start)
    plan.apart = [(start, plan.end + 1, "gravity")]

    def draught(rows: Rows, of: Plan) -> None:
        rows.pressure[rows.t > start] += 0.2 * _slow_noise(of.rng, rows.t * 3600, 3.0)[rows.t > start]

    plan.on_rows.append(draught)
    told_no_leak(plan, 6, 0.5)


@kind("A", "ceiling-printed-as-blank")
def _(plan: Plan, seed: int) -> None:
    """Open for three hours; above its ceiling the unit prints dashes."""
    healed(plan)
    diligent(plan)
    plan.apart = [(plan.end - 5.5, plan.end - 2.5, "suction")]
    plan.on_rows.append(blanks(plan.end - 5.5, plan.end - 2.5))


# --- sensors


@kind("A", "flow-stuck-at-zero", 3)
def _(plan: Plan, seed: int) -> None:
    """The flow channel dies at a stroke; the pressure lives and swings. Coughs are charted from its dead display."""
    leaky(plan)
    start = plan.end - float(plan.rng.uniform(8.7, 9.6))
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "suction", "skin")
    plan.on_rows.append(hold(start, plan.end, flow=0.0))
    plan.hidden = [(start, plan.end, "stuck flow")]
    told_no_leak(plan, 7.4, 3.9, 0.4)
    plan.note = "swing and chart all in order: only the drop within one row, and coughs without a flicker, tell"


@kind("A", "flow-stuck-at-zero-nothing-tried")
def _(plan: Plan, seed: int) -> None:
    leaky(plan)
    start = plan.end - 9.0
    diligent(plan, until=start)
    plan.on_rows.append(hold(start, plan.end, flow=0.0))
    plan.hidden = [(start, plan.end, "stuck flow")]


@kind("A", "flow-stuck-at-a-value", 3)
def _(plan: Plan, seed: int) -> None:
    leaky(plan)
    plan.flow_step, plan.noise = float(plan.rng.choice([1, 2, 5])), 1.5
    start = plan.end - 9.0
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "suction", "skin")
    plan.on_rows.append(hold(start, plan.end, flow=10.0))
    plan.hidden = [(start, plan.end, "stuck flow")]
    told_no_leak(plan, 7.4, 3.9, 0.4)


@kind("A", "both-frozen", 3)
def _(plan: Plan, seed: int) -> None:
    start = plan.end - 8.9
    plan.leak = bursts(200, [(0, start - 0.4), (start + 0.2, plan.end)])
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "suction")
    plan.on_rows.append(hold(start, plan.end, flow=0.0, pressure=True))
    plan.hidden = [(start, plan.end, "frozen")]
    told_no_leak(plan, 7, 0.5)


@kind("A", "both-frozen-last-digit-flickers")
def _(plan: Plan, seed: int) -> None:
    start = plan.end - 8.9
    plan.leak = bursts(200, [(0, start - 0.4), (start + 0.2, plan.end)])
    diligent(plan, until=start)
    plan.on_rows.append(hold(start, plan.end, flow=0.0, pressure=True, dither=True))
    plan.hidden = [(start, plan.end, "frozen")]
    told_no_leak(plan, 7, 0.5)


@kind("A", "both-frozen-short-while-leaking", 2)
def _(plan: Plan, seed: int) -> None:
    """Frozen for forty minutes in the middle, while a leak came and went."""
    end = plan.end
    plan.leak = bursts(200, [(0, 2.0), (end - 4.0, end - 3.5)])
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "suction")
    plan.on_rows.append(hold(end - 4.1, end - 3.4, flow=0.0, pressure=True))
    plan.hidden = [(end - 4.1, end - 3.4, "frozen")]
    told_no_leak(plan, 7, 0.5)


@kind("A", "buffer-replayed")
def _(plan: Plan, seed: int) -> None:
    """A quiet ten minutes, swing and all, printed over and over for eight hours."""
    plan.cadence, plan.noise, plan.flow_step = int(plan.rng.choice([1, 2])), 2.0, 1.0
    start = plan.end - 8.5
    plan.leak = bursts(200, [(0, start - 0.8), (start + 0.3, plan.end)])
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "suction")
    plan.on_rows.append(replayed(start, plan.end, 1 / 6))
    plan.hidden = [(start, plan.end, "frozen")]
    told_no_leak(plan, 7, 0.5)
    plan.note = "no clause or guard of the contract speaks of a replayed buffer"


@kind("A", "zero-taken-while-leaking", 3)
def _(plan: Plan, seed: int) -> None:
    """The unit was exchanged for another that took its zero with 120 mL/min running; clipped at nothing."""
    plan.modulation, plan.wander = 0.3, 0.05
    plan.postures = []
    leaky(plan, 120)
    plan.effort = lambda t: 0.0
    start = plan.end - 9.0
    plan.on_rows += [lost_rows(start - 0.02, start), shifted_zero(start, 190.0)]
    plan.hidden = [(start, plan.end, "zero shifted")]
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "suction", "skin")
    told_no_leak(plan, 7.4, 3.9, 0.4)
    add(plan, 9.0, "suction_unit", "exchanged")
    plan.note = "swing and chart all in order: only the drop across a short gap tells"


@kind("A", "zero-taken-no-gap", 3)
def _(plan: Plan, seed: int) -> None:
    plan.modulation, plan.wander = 0.3, 0.1
    leaky(plan, 120)
    plan.effort = lambda t: 0.0
    start = plan.end - 9.0
    plan.on_rows += [shifted_zero(start, 115.0)]
    plan.hidden = [(start, plan.end, "zero shifted")]
    diligent(plan, until=start)
    told_no_leak(plan, 7.4, 3.9, 0.4)


@kind("A", "zero-taken-negative", 3)
def _(plan: Plan, seed: int) -> None:
    """The same without clipping: values below zero."""
    plan.modulation, plan.wander, plan.clip = 0.3, 0.1, False
    leaky(plan, 120)
    plan.effort = lambda t: 0.0
    start = plan.end - 9.0
    plan.on_rows += [shifted_zero(start, 130.0)]
    plan.hidden = [(start, plan.end, "zero shifted")]
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "suction", "skin")
    told_no_leak(plan, 7.4, 3.9, 0.4)


# --- printed coarser than the limit


def _below(plan: Plan, level: float, step: float, rounding: str, noise: float = 0.5) -> None:
    plan.flow_step, plan.rounding, plan.noise, plan.drift = step, rounding, noise, 0.0
    plan.modulation, plan.exponent, plan.wander, plan.postures = 0.0, 1.0, 0.0, []
    plan.suction = [(0.0, 20.0)]
    plan.leak = lambda t: np.where(t < 2, 160.0, level)
    plan.effort = lambda t: 5.0 if t < 2 else 0.0
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "suction", "skin")
    told_no_leak(plan, 6.5, 0.5)


@kind("A", "coarse-50-nearest-prints-zero")
def _(plan: Plan, seed: int) -> None:
    _below(plan, 22.5, 50, "nearest", 0.4)
    plan.must_not = frozenset({RULE_20})


@kind("A", "coarse-50-nearest-prints-50")
def _(plan: Plan, seed: int) -> None:
    _below(plan, 44, 50, "nearest")


@kind("A", "coarse-50-floor-prints-zero")
def _(plan: Plan, seed: int) -> None:
    _below(plan, 42, 50, "floor")
    plan.must_not = frozenset({RULE_20})


@kind("A", "coarse-100-floor-prints-zero")
def _(plan: Plan, seed: int) -> None:
    _below(plan, 85, 100, "floor")


@kind("A", "coarse-100-nearest-prints-zero")
def _(plan: Plan, seed: int) -> None:
    _below(plan, 46, 100, "nearest")
    plan.must_not = frozenset({RULE_20})


@kind("A", "coarse-20-floor-prints-20")
def _(plan: Plan, seed: int) -> None:
    _below(plan, 36, 20, "floor")
    plan.must_not = frozenset({RULE_20})


@kind("A", "coarse-20-rounding-not-said")
def _(plan: Plan, seed: int) -> None:
    """Prints 40; nobody knows how it rounds, so it may be anything to 60."""
    _below(plan, 55, 20, "floor", 0.3)
    plan.rounding_said = "unknown"


@kind("A", "coarse-step-not-said")
def _(plan: Plan, seed: int) -> None:
    """'0.0' L/min to the nearest tenth, step not declared, true 44: below 50 or not, never below 20."""
    _below(plan, 44, 100, "nearest", 0.3)
    plan.flow_unit, plan.step_said = "L/min", False
    plan.must_not = frozenset({RULE_20})


@kind("A", "coarse-10-floor-prints-20")
def _(plan: Plan, seed: int) -> None:
    _below(plan, 26, 10, "floor", 0.3)
    plan.must_not = frozenset({RULE_20})


# --- time


@kind("A", "clock-eight-hours-forward", 3)
def _(plan: Plan, seed: int) -> None:
    """Quiet for seven hours; in the middle somebody sets the clock eight hours on."""
    healed(plan, plan.end - 7.2)
    diligent(plan)
    plan.chart = [c for c in plan.chart if c[0] < plan.end - 7]
    plan.shifts = [(plan.end - 3.5, 8 * 3600)]
    plan.hidden = [(plan.end - 3.5, plan.end, "clock")]


@kind("A", "clock-one-hour-forward", 2)
def _(plan: Plan, seed: int) -> None:
    healed(plan, plan.end - 7.4)
    diligent(plan)
    plan.shifts = [(plan.end - 3.5, 3600)]


@kind("A", "clock-forward-in-small-hops", 2)
def _(plan: Plan, seed: int) -> None:
    """Every half hour the clock is put on by some minutes; seven hours look like eight and a half."""
    healed(plan, plan.end - 7.2)
    diligent(plan)
    plan.shifts = [(plan.end - 7 + 0.5 * k, 400.0) for k in range(14)]


@kind("A", "clock-back-three-hours", 2)
def _(plan: Plan, seed: int) -> None:
    """Set back three hours; what is printed then overlaps what was printed before, with other values."""
    end = plan.end
    plan.hours = end + 3
    plan.leak = bursts(160, [(0, end - 7.0), (end - 2.9, end - 0.5)])
    plan.shifts = [(end, -3 * 3600)]
    diligent(plan, until=end - 0.3)


@kind("A", "clock-back-one-hour-short-run", 2)
def _(plan: Plan, seed: int) -> None:
    """Set back an hour just as the leak came again, so that both are printed for one hour."""
    end = plan.end
    plan.leak = bursts(160, [(0, 2), (end - 1.95, end - 1.1)])
    plan.shifts = [(end - 2.0, -3600.0)]
    diligent(plan)


@kind("A", "summer-time-short-night", 2)
def _(plan: Plan, seed: int) -> None:
    """Wall clock without offset over the night the clocks go forward: 7.4 h look like 8.4."""
    healed(plan, plan.end - 7.4)
    plan.zone, plan.stamps = "Europe/Vienna", "iso_local" if seed else "split"
    change = datetime(2033, 3, 27, 1, 0, tzinfo=UTC)
    plan.begin = change - timedelta(hours=round(plan.end - 4))
    diligent(plan)


@kind("A", "gap-three-hours", 2)
def _(plan: Plan, seed: int) -> None:
    healed(plan)
    plan.leak = bursts(150, [(0, 2), (plan.end - 5, plan.end - 3)])
    plan.on_rows.append(lost_rows(plan.end - 5.5, plan.end - 2.5))
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "suction")
    told_no_leak(plan, 6.5, 0.5)
    plan.hidden = [(plan.end - 5.5, plan.end - 2.5, "gap")]


@kind("A", "gap-twenty-minutes", 2)
def _(plan: Plan, seed: int) -> None:
    healed(plan)
    plan.leak = bursts(300, [(0, 2), (plan.end - 4.3, plan.end - 4.05)])
    plan.on_rows.append(lost_rows(plan.end - 4.33, plan.end - 4.0))
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "suction")
    told_no_leak(plan, 6.5, 0.5)


@kind("A", "gaps-many-short", 2)
def _(plan: Plan, seed: int) -> None:
    """Forty gaps of three minutes, each just where the leak shows."""
    healed(plan)
    spans = [(plan.end - 8 + 0.2 * k, plan.end - 8 + 0.2 * k + 0.05) for k in range(40)]
    plan.leak = bursts(300, [(0, 2), *spans])
    plan.on_rows += [lost_rows(start - 0.003, stop + 0.003) for start, stop in spans]
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "suction")
    told_no_leak(plan, 6.5, 0.5)


@kind("A", "late-start-no-connection", 2)
def _(plan: Plan, seed: int) -> None:
    """The file begins six hours ago and nobody says when the drain was connected."""
    healed(plan)
    plan.log_from = plan.end - 6
    plan.drop = ("drain.connected_at",)
    diligent(plan)


@kind("A", "late-start-known-connection", 2)
def _(plan: Plan, seed: int) -> None:
    healed(plan)
    plan.log_from = plan.end - 7
    diligent(plan)


@kind("A", "future-rows", 2)
def _(plan: Plan, seed: int) -> None:
    """Judged four hours after the leak ended; the file holds the five quiet hours that come later."""
    healed(plan, plan.end - 9.2)
    plan.at = plan.end - 5
    diligent(plan)


@kind("A", "clock-ahead-of-now", 2)
def _(plan: Plan, seed: int) -> None:
    """The unit's clock runs nine hours ahead: its quiet stretch is dated after the moment of judging."""
    healed(plan, plan.end - 9.5)
    plan.shifts = [(0.0, 9 * 3600.0)]
    plan.at = plan.end
    diligent(plan)


# --- clamp


@kind("A", "clamp-overnight-charted", 2)
def _(plan: Plan, seed: int) -> None:
    leaky(plan)
    start = plan.end - 8.8
    diligent(plan, until=start)
    plan.shut = [(start, plan.end + 1, 0, 0)]
    add(plan, 8.8, "clamp", "on", "", "trial")
    told_no_leak(plan, 6, 0.5)


@kind("A", "clamp-overnight-silent", 2)
def _(plan: Plan, seed: int) -> None:
    leaky(plan)
    start = plan.end - 8.8
    diligent(plan, until=start)
    plan.shut = [(start, plan.end + 1, 0, 0)]
    told_no_leak(plan, 6, 0.5)


@kind("A", "clamp-overnight-silent-minute-means", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic, plan.hours = 60, "mean", 22.0
    leaky(plan)
    start = plan.end - 8.8
    diligent(plan, until=start)
    plan.shut = [(start, plan.end + 1, 0, 0)]
    told_no_leak(plan, 6, 0.5)


@kind("A", "clamp-on-and-off", 2)
def _(plan: Plan, seed: int) -> None:
    """A trial of five hours, unclamped ninety minutes ago; the lung happens to be quiet since."""
    end = plan.end
    plan.leak = bursts(180, [(0, 2), (end - 6, end - 2)])
    plan.shut = [(end - 6.5, end - 1.5, 0, 0)]
    diligent(plan)
    plan.round_items = ("fluid", "suction")
    add(plan, 6.5, "clamp", "on", "", "trial")
    add(plan, 1.5, "clamp", "off", "", "trial")
    told_no_leak(plan, 7.5, 0.5)


# --- effort


def _asleep_effort(plan: Plan, since: float) -> None:
    plan.leak = plateau_drop(120, 2, 0.5)
    plan.effort = lambda t: 9.0
    plan.coughs = [h for h in plan.coughs if h < plan.end - since]
    plan.walks = [w for w in plan.walks if w[0] < plan.end - since - 0.3]
    plan.sleep = [(plan.end - since + 0.1, plan.end)]


@kind("A", "sleeper-effort-leak-charted", 3)
def _(plan: Plan, seed: int) -> None:
    """At rest nothing; each cough leaked, and it was charted. Then sleep, and nobody tried again."""
    _asleep_effort(plan, 9.0)
    diligent(plan, until=plan.end - 9.1)
    plan.rounds.append(plan.end - 9.2)
    plan.coughs.append(plan.end - 9.19)


@kind("A", "sleeper-effort-leak-in-trace-only", 3)
def _(plan: Plan, seed: int) -> None:
    """The same; only the trace saw the coughs leak."""
    plan.cadence, plan.flow_step = 1, 5.0
    _asleep_effort(plan, 8.7)
    plan.coughs = np.linspace(2.5, plan.end - 8.8, 12).tolist()
    plan.round_items = ("fluid", "swing", "tube", "suction", "skin")
    plan.rounds = [0.5, plan.end - 8, plan.end - 4, plan.end - 1]


@kind("A", "sleeper-effort-leak-in-trace-5s", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.flow_step, plan.statistic = 5, 5.0, "mean"
    _asleep_effort(plan, 8.7)
    plan.effort = lambda t: 14.0
    plan.coughs = np.linspace(2.5, plan.end - 8.8, 14).tolist()
    plan.round_items = ("fluid", "swing", "tube", "suction", "skin")
    plan.rounds = [0.5, plan.end - 8, plan.end - 4, plan.end - 1]


@kind("A", "walk-leak-charted-last", 2)
def _(plan: Plan, seed: int) -> None:
    healed(plan)
    plan.cadence, plan.statistic = 10, "mean"
    diligent(plan, until=plan.end - 6)
    plan.round_items = ("fluid", "swing", "tube", "cough")
    add(plan, 5.0, "walk", "leak")
    for back in (3.5, 0.5):
        add(plan, back, "tube_open", "yes")


@kind("A", "effort-leak-then-not-looked", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence = 30
    plan.coughs, plan.sleep = [], []
    plan.leak = plateau_drop(120, 2, 0.5)
    plan.round_items = ("fluid", "swing", "tube", "suction")
    plan.rounds = [*np.arange(0.5, plan.end, 2.5).tolist(), plan.end - 0.3]
    add(plan, plan.end - 1.0, "cough", "leak")
    add(plan, 6.0, "cough", "not_looked")
    add(plan, 1.0, "cough", "not_looked")


@kind("A", "effort-leak-three-hours-ago", 3)
def _(plan: Plan, seed: int) -> None:
    """Quiet at rest for the whole night; every cough of the last hours leaks, and dies away within seconds."""
    plan.cadence, plan.flow_step, plan.p_unit, plan.p_step = 1, 5.0, "cmH2O", 0.1
    plan.leak = plateau_drop(120, 2, 0.5)
    plan.effort = lambda t: 6.0
    plan.sleep = []
    plan.coughs = sorted([*np.linspace(0.5, 6, 9).tolist(), plan.end - 5, plan.end - 3.3, plan.end - 3.0])
    plan.round_items = ("fluid", "swing", "tube", "suction", "skin")
    plan.rounds = np.arange(0.5, plan.end, 2.7).tolist()


# --- air elsewhere


@kind("A", "emphysema-rises", 3)
def _(plan: Plan, seed: int) -> None:
    """Air goes into the tissues: the flow falls away, swing stays, the chart says 0, 1, 3."""
    healed(plan, plan.end - 9.0, 160)
    plan.leak = plateau_drop(160, plan.end - 8.8, 3.0)
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "cough", "suction")
    for back, grade in ((13.0 if plan.end > 13.2 else plan.end - 0.2, 0), (8.0, 1), (5.0, 2), (1.5, 3)):
        add(plan, back, "surgical_emphysema", str(grade))


@kind("A", "emphysema-rises-once", 2)
def _(plan: Plan, seed: int) -> None:
    plan.leak = plateau_drop(160, plan.end - 8.8, 2.0)
    diligent(plan)
    plan.round_items = ("fluid", "swing", "tube", "cough", "suction")
    add(plan, 9.5, "surgical_emphysema", "1")
    add(plan, 2.0, "surgical_emphysema", "2")


@kind("A", "lung-lower-on-film", 3)
def _(plan: Plan, seed: int) -> None:
    plan.leak = plateau_drop(160, plan.end - 8.8, 3.0)
    diligent(plan)
    add(plan, 3.0, "chest_xray", "space_new_or_larger")


def _partner(plan: Plan) -> None:
    """The lung leaks into a space whose tube on this limb is blocked; another limb lends the swing."""
    plan.leak = bursts(180, [(0, plan.end - 9.0)])
    plan.effort = lambda t: 5.0 if t < plan.end - 9 else 0.0


@kind("A", "one-limb-of-two", 3)
def _(plan: Plan, seed: int) -> None:
    _partner(plan)
    diligent(plan)
    plan.episode = {"drain.shares_unit_with": '["2"]'}
    if seed == 2:
        plan.drop = ("drain.shares_space_with",)


@kind("A", "second-drain-only-in-chart", 3)
def _(plan: Plan, seed: int) -> None:
    """The episode knows one drain; the chart reads another, which bubbles."""
    _partner(plan)
    diligent(plan)
    plan.drop = ("drain.shares_space_with", "drain.shares_unit_with")
    for back in (8.0, 4.2, 0.8):
        if seed == 0:
            add(plan, back, "bubbling", "E3", drain="2")
        elif seed == 1:
            add(plan, back, "air_leak_read", "80", "mL/min", drain="2")
        else:
            add(plan, back, "fluid_output", "40", "mL", drain="2")


@kind("A", "second-drain-shares-space", 2)
def _(plan: Plan, seed: int) -> None:
    _partner(plan)
    diligent(plan)
    plan.episode = {"drain.shares_space_with": '["2"]'}
    if seed:
        for back in (8.0, 4.2, 0.8):
            add(plan, back, "bubbling", "E4", drain="2")


# --- a leak there to be read


@kind("A", "flow-ignores-breathing", 2)
def _(plan: Plan, seed: int) -> None:
    """A steady 80 mL/min that no breath or cough moves: nothing may be taken off it."""
    plan.modulation, plan.wander = 0.0, 0.02
    leaky(plan, 80)
    plan.effort = lambda t: 0.0
    diligent(plan)


@kind("A", "returns-in-last-hour", 2)
def _(plan: Plan, seed: int) -> None:
    plan.leak = bursts(110, [(0, 2), (plan.end - 0.7, plan.end)])
    diligent(plan, until=plan.end - 1)


@kind("A", "returns-in-last-quarter", 2)
def _(plan: Plan, seed: int) -> None:
    plan.leak = bursts(160, [(0, 2), (plan.end - 0.25, plan.end)])
    diligent(plan, until=plan.end - 0.5)


def _just(plan: Plan, level: float) -> None:
    _below(plan, level, 1.0, "nearest", 0.4)


@kind("A", "just-above-50", 2)
def _(plan: Plan, seed: int) -> None:
    _just(plan, float(plan.rng.uniform(51.5, 56)))


@kind("A", "just-above-20", 2)
def _(plan: Plan, seed: int) -> None:
    _just(plan, float(plan.rng.uniform(21.5, 25)))
    plan.must_not = frozenset({RULE_20})


@kind("A", "thirty-steady", 2)
def _(plan: Plan, seed: int) -> None:
    _below(plan, 30, float(plan.rng.choice([1, 5, 10])), "nearest")
    plan.must_not = frozenset({RULE_20})


@kind("A", "about-the-limit", 2)
def _(plan: Plan, seed: int) -> None:
    """Means of ten minutes that go to either side of 50."""
    _below(plan, 49, 2.0, "nearest", 1)
    plan.leak = lambda t: 49 + 5 * np.sin(2 * np.pi * t / 1.7)


@kind("A", "comes-and-goes", 2)
def _(plan: Plan, seed: int) -> None:
    end = plan.end
    plan.leak = bursts(200, [(0, 2), (end - 7, end - 6.75), (end - 4.4, end - 4.1), (end - 2, end - 1.8)])
    diligent(plan)


@kind("A", "one-burst-of-six-minutes", 2)
def _(plan: Plan, seed: int) -> None:
    plan.leak = bursts(420, [(0, 2), (plan.end - 5, plan.end - 4.9)])
    diligent(plan)


@kind("A", "leaks-lying-on-one-side", 2)
def _(plan: Plan, seed: int) -> None:
    end = plan.end
    plan.postures = [end - 5.0, end - 4.3]
    plan.leak = bursts(120, [(0, 2), (end - 5.0, end - 4.3)])
    diligent(plan)


@kind("A", "healed-too-lately", 2)
def _(plan: Plan, seed: int) -> None:
    plan.suction = [(0.0, 20.0)]
    plan.leak = power_law(700, 1.0, 0.7, plan.end - 6.5, 1.0)
    diligent(plan)


@kind("A", "expiratory-bursts-in-minute-samples", 2)
def _(plan: Plan, seed: int) -> None:
    """Air comes only as the chest goes down; one sample a minute meets it now and then."""
    plan.cadence, plan.statistic, plan.hours, plan.modulation = 60, "sample", 22.0, 2.0
    leaky(plan, 90)
    diligent(plan)


@kind("A", "suction-stepped-down-charted", 2)
def _(plan: Plan, seed: int) -> None:
    """Minus 20 to no added suction three hours ago; before, the flow had dropped below the limit for six."""
    plan.suction, plan.set_column = [(0.0, 20.0), (plan.end - 3, 8.0)], True
    plan.leak, plan.effort = plateau_drop(150, plan.end - 6.0, 1.0), lambda t: 0.0
    diligent(plan)


@kind("A", "suction-stepped-down-quiet-before", 3)
def _(plan: Plan, seed: int) -> None:
    """Quiet for twelve hours, but the suction was stepped down three hours ago: the run starts again.

    Seed 0: charted and in the file; 1: in the file alone; 2: only the pressure shows it.
    """
    plan.suction = [(0.0, 20.0), (plan.end - 3, 8.0)]
    plan.p_unit, plan.p_step = "cmH2O", 0.5
    plan.set_column = seed < 2
    healed(plan)
    diligent(plan)
    if seed > 0:
        plan.chart = [c for c in plan.chart if not (c[1] == "suction_ordered" and c[0] > 1)]
        plan.round_items = ("fluid", "swing", "tube", "cough", "skin")


@kind("A", "reconnected-two-hours-ago", 2)
def _(plan: Plan, seed: int) -> None:
    healed(plan)
    diligent(plan)
    plan.apart = [(plan.end - 2.2, plan.end - 2.1, "suction")]
    if seed:
        add(plan, 2.2, "tubing", "apart")
        add(plan, 2.1, "tubing", "reconnected")


@kind("A", "minute-means-nothing-charted", 3)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic, plan.hours = 60, "mean", 24.0
    plan.leak, plan.effort = (steady(0.0), lambda t: 0.0) if seed else (plateau_drop(120, 3, 1), lambda t: 0.0)
    plan.note = "must not by the guard alone: nothing shows the tube open in the last hours"


@kind("A", "minute-means-charted-at-end-only", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic, plan.hours = 60, "mean", 24.0
    healed(plan)
    add(plan, 0.5, "tube_open", "yes")
    add(plan, 0.5, "cough", "no_leak")


@kind("A", "minute-means-charted-at-start-only", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic, plan.hours = 60, "mean", 24.0
    healed(plan)
    add(plan, 6.0, "tube_open", "yes")
    add(plan, 5.0, "cough", "no_leak")


@kind("A", "minute-means-charted-open-too-long-ago", 2)
def _(plan: Plan, seed: int) -> None:
    """Shown open near the start, and last 4.3 h ago: the rule asks for 4."""
    plan.cadence, plan.statistic, plan.hours = 60, "mean", 24.0
    healed(plan)
    for back in (7.5, 4.3):
        add(plan, back, "tube_open", "yes")
        add(plan, back, "cough", "no_leak")


@kind("A", "chart-entries-after-now", 2)
def _(plan: Plan, seed: int) -> None:
    """What would show the tube open is charted after the moment of judging (0), or of before but written after (1)."""
    plan.cadence, plan.statistic, plan.hours = 60, "mean", 24.0
    healed(plan)
    plan.at = plan.end - 1.0
    for back in (8.0, 5.5, 2.0) if seed else (8.0, 0.7, 0.2):
        add(plan, back, "tube_open", "yes")
        add(plan, back, "cough", "no_leak")
    plan.chart_late_min = 240 if seed else 0


@kind("A", "healed-ten-minutes-too-lately", 2)
def _(plan: Plan, seed: int) -> None:
    plan.leak, plan.effort = bursts(150, [(0, plan.end - 7.85)]), lambda t: 0.0
    diligent(plan)


@kind("A", "two-logs-in-conflict", 2)
def _(plan: Plan, seed: int) -> None:
    """Two files overlap for two hours and say different things: the second leaks."""
    healed(plan)
    plan.stamps, plan.zone = "iso_z", "UTC"
    diligent(plan)
    overlap = (plan.end - 5, plan.end - 3)

    def second(first: Plan) -> Plan:
        other = drawn_plan(np.random.default_rng([5, seed]))
        other.hours, other.coughs, other.suction = first.hours, [], first.suction
        for name in ("cadence", "statistic", "flow_step", "flow_unit", "rounding", "p_unit", "p_step", "suction_is",
                     "set_column", "stamps", "zone", "marks", "comma"):  # fmt: skip
            setattr(other, name, getattr(first, name))
        other.leak = steady(200)
        other.on_rows = [lost_rows(-1, overlap[0]), lost_rows(overlap[1], 99)]
        return other

    plan.second = second


@kind("A", "positive-pressure", 2)
def _(plan: Plan, seed: int) -> None:
    """The path is shut at the unit and the space fills: pressure above the room's for hours, swing in it."""
    leaky(plan)
    start = plan.end - 8.8
    diligent(plan, until=start)
    plan.off = [(start, plan.end + 1, "decay", 0.2, 0.6)]

    def rises(rows: Rows, of: Plan) -> None:
        rows.pressure[rows.t > start] += 8.0 * np.clip((rows.t[rows.t > start] - start) / 2, 0, 1)

    plan.on_rows.append(rises)
    told_no_leak(plan, 6, 0.5)


# --- not this rule's patient, or not known to be


def _fine(plan: Plan) -> None:
    plan.cadence, plan.flow_step = int(plan.rng.choice([1, 2])), 5.0
    healed(plan)
    diligent(plan)


@kind("A", "patient-after-pneumonectomy", 1)
def _(plan: Plan, seed: int) -> None:
    _fine(plan)
    plan.episode = {"operation.kind": '"pneumonectomy"'}


@kind("A", "patient-ventilated", 1)
def _(plan: Plan, seed: int) -> None:
    _fine(plan)
    add(plan, 5.0, "breathing", "invasive")


@kind("A", "patient-twelve-years-old", 1)
def _(plan: Plan, seed: int) -> None:
    _fine(plan)
    plan.episode = {"patient.age_years": "12"}


@kind("A", "patient-age-unknown", 1)
def _(plan: Plan, seed: int) -> None:
    _fine(plan)
    plan.drop = ("patient.age_years",)


@kind("A", "patient-breathing-unknown", 1)
def _(plan: Plan, seed: int) -> None:
    _fine(plan)
    plan.drop = ("breathing",)
    plan.chart = [c for c in plan.chart if c[1] != "breathing"]


@kind("A", "patient-other-indication", 1)
def _(plan: Plan, seed: int) -> None:
    _fine(plan)
    plan.episode = {"indication": '"pneumothorax_primary"'}


@kind("A", "patient-operation-end-unknown", 1)
def _(plan: Plan, seed: int) -> None:
    _fine(plan)
    plan.drop = ("operation.end",)


# -------------------------------------------------------------------------------- B: plainly met


def _plain(plan: Plan, seed: int, charted: bool = True) -> None:
    """A lung closed more than ten hours ago and every box ticked."""
    plan.hours = max(plan.hours, 14.5)
    heal = float(plan.rng.uniform(1.5, plan.end - 10.8))
    plan.sleep = [(plan.end - 8, plan.end - 1)]
    shape = int(plan.rng.integers(4))
    level = float(plan.rng.uniform(80, 400))
    plan.leak = (
        power_law(level, 1.0, 0.7, heal, 0.7), plateau_drop(level, heal, float(plan.rng.uniform(0.2, 0.8))),
        staircase(level, heal, 4), gamma_course(level, heal / 3, heal),
    )[shape]  # fmt: skip
    plan.effort = lambda t: 5.0 if t < heal + 0.2 else 0.0
    plan.swing = max(plan.swing, 3.0, 5 * plan.p_step * CMH2O_IN[plan.p_unit])
    diligent(plan)
    if not charted:
        plan.round_items = ("fluid", "cough", "suction", "skin")


@kind("B", "plain-1s-swing-alone", 4)
def _(plan: Plan, seed: int) -> None:
    plan.cadence = 1
    _plain(plan, seed, charted=False)


@kind("B", "plain-2s-swing-alone", 3)
def _(plan: Plan, seed: int) -> None:
    plan.cadence = 2
    _plain(plan, seed, charted=False)


@kind("B", "plain-1s-charted", 3)
def _(plan: Plan, seed: int) -> None:
    plan.cadence = 1
    _plain(plan, seed)


@kind("B", "plain-5s-charted", 3)
def _(plan: Plan, seed: int) -> None:
    plan.cadence = 5
    _plain(plan, seed)


@kind("B", "plain-10s-charted", 3)
def _(plan: Plan, seed: int) -> None:
    plan.cadence = 10
    _plain(plan, seed)


@kind("B", "plain-30s-charted", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.hours = 30, 26.0
    _plain(plan, seed)


@kind("B", "plain-60s-means-charted", 3)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.hours, plan.statistic = 60, 30.0, "mean"
    _plain(plan, seed)


@kind("B", "plain-60s-samples-charted", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.hours, plan.statistic = 60, 30.0, "sample"
    _plain(plan, seed)


@kind("B", "plain-never-leaked", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence = int(plan.rng.choice([1, 2]))
    _plain(plan, seed, charted=bool(seed))
    plan.leak, plan.effort = steady(0.0), lambda t: 0.0


@kind("B", "plain-small-swing", 3)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.p_unit, plan.p_step = 1, "cmH2O", 0.1
    _plain(plan, seed, charted=False)
    plan.swing = float(plan.rng.uniform(1.3, 2.0))
    plan.ripple = 0.1
    plan.note = "swing 1.3 to 2.0 cmH2O, a quarter less asleep: visible, but small"


@kind("B", "plain-pump-loud", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.ripple, plan.ripple_period_s = 1, float(plan.rng.uniform(0.6, 0.8)), 3.0
    _plain(plan, seed, charted=False)
    plan.swing = float(plan.rng.uniform(3, 6))


@kind("B", "plain-breathes-in-waves", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.periodic, plan.irregular = 1, True, 0.3
    _plain(plan, seed, charted=False)


@kind("B", "plain-breathes-fast", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.rate, plan.rate_asleep = 1, float(plan.rng.uniform(27, 32)), 24.0
    _plain(plan, seed, charted=False)


@kind("B", "plain-gravity", 2)
def _(plan: Plan, seed: int) -> None:
    _gravity(plan)
    plan.cadence = 1
    _plain(plan, seed, charted=bool(seed))


@kind("B", "plain-suction-changed-early", 3)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.set_column = turn(seed, 1, 10, 5), True
    plan.p_unit, plan.p_step = "cmH2O", 0.1
    plan.hours = 16.0
    plan.suction = [(0.0, 20.0), (5.0, 10.0)]
    _plain(plan, seed)


@kind("B", "plain-restless", 2)
def _(plan: Plan, seed: int) -> None:
    """Many walks and coughs, none with a leak after healing."""
    plan.cadence = 1
    _plain(plan, seed)
    plan.sleep = []
    plan.walks = [(h, 8.0) for h in np.arange(1, plan.end - 0.5, 2.3).tolist()]
    plan.coughs = sorted([*plan.coughs, *plan.rng.uniform(0.5, plan.end - 0.3, 60).tolist()])


@kind("B", "plain-glitchy-gauge", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence = int(plan.rng.choice([1, 2]))
    _plain(plan, seed)
    plan.on_rows.append(pressure_glitches(25))


@kind("B", "plain-noisy-flow", 2)
def _(plan: Plan, seed: int) -> None:
    """Baseline noise of 2.5 mL/min printed to 1: never still, never near the limit."""
    plan.cadence, plan.flow_step, plan.noise, plan.drift = 1, 1.0, 2.5, 0.5
    _plain(plan, seed)


@kind("B", "plain-kpa-tenths", 2)
def _(plan: Plan, seed: int) -> None:
    """Gauge in tenths of a kPa (1.02 cmH2O), swing 6 to 10."""
    plan.cadence, plan.p_unit, plan.p_step = 1, "kPa", 0.1
    _plain(plan, seed, charted=False)
    plan.swing = float(plan.rng.uniform(6, 10))


@kind("B", "plain-2s-coarse-gauge", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.p_unit, plan.p_step = 2, turn(seed, "cmH2O", "kPa"), turn(seed, 1.0, 0.1)
    _plain(plan, seed, charted=False)


@kind("B", "plain-10s-means-coarse-gauge", 4)
def _(plan: Plan, seed: int) -> None:
    """Ten seconds hold whole breaths: their mean flickers by the gauge's last digit, or not at all. All is charted."""
    plan.cadence, plan.statistic = 10, "mean"
    plan.p_unit, plan.p_step = turn(seed, ("cmH2O", 1.0), ("kPa", 0.1), ("mmHg", 1.0), ("hPa", 1.0))
    plan.noise = turn(seed, 1.0, 0.0, 0.3, 1.0)
    _plain(plan, seed)


@kind("B", "plain-30s-means-coarse-gauge", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic, plan.hours = 30, "mean", 26.0
    plan.p_unit, plan.p_step = turn(seed, ("cmH2O", 1.0), ("kPa", 0.1))
    plan.noise = turn(seed, 1.0, 0.0)
    _plain(plan, seed)


@kind("B", "plain-60s-means-coarse-gauge", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic, plan.hours = 60, "mean", 30.0
    plan.p_unit, plan.p_step = turn(seed, ("cmH2O", 1.0), ("kPa", 0.1))
    plan.noise = turn(seed, 0.0, 1.0)
    _plain(plan, seed)


@kind("B", "plain-5s-means-coarse-gauge", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence, plan.statistic = 5, "mean"
    plan.p_unit, plan.p_step = turn(seed, ("cmH2O", 1.0), ("kPa", 0.1))
    _plain(plan, seed)


@kind("B", "plain-coarse-but-enough", 3)
def _(plan: Plan, seed: int) -> None:
    """Steps of 20 or 50 against 50: nought to the nearest 50 is below 25."""
    plan.cadence = int(plan.rng.choice([1, 10]))
    plan.flow_step, plan.rounding = (
        (20.0, "floor") if seed == 0 else (50.0, "nearest") if seed == 1 else (50.0, "floor")
    )
    _plain(plan, seed)
    plan.noise = 1.0


@kind("B", "plain-three-days", 2)
def _(plan: Plan, seed: int) -> None:
    """A long stay at half a minute, an intermittent leak for the first day."""
    plan.cadence, plan.hours = 30, 60.0
    _plain(plan, seed)
    plan.leak = bursts(150, [(2 + 3 * k, 3 + 3 * k) for k in range(7)])
    plan.effort = lambda t: 5.0 if t < 30 else 0.0


@kind("B", "arguable-5s-swing-alone", 2)
def _(plan: Plan, seed: int) -> None:
    plan.cadence = 5
    _plain(plan, seed, charted=False)
    plan.note = "arguable: the breath is sampled once or less a breath"


@kind("B", "arguable-sealed-at-a-stroke", 2)
def _(plan: Plan, seed: int) -> None:
    """A lung that sealed within seconds, eleven hours ago: as a dying flow channel looks."""
    plan.cadence = 1
    _plain(plan, seed)
    plan.leak = bursts(150, [(0, plan.end - 11)])
    plan.effort = lambda t: 5.0 if t < plan.end - 11 else 0.0
    plan.note = "arguable: looks like a flow channel that died"


# ---------------------------------------------------------------------- C: faults in the middle


def _middle(plan: Plan, cadence: int) -> None:
    """A leak of 120 to 300 that ends at two thirds; coughs, rounds, sleep."""
    plan.cadence, plan.hours = cadence, 18.0
    plan.statistic = "mean" if cadence >= 30 else plan.statistic
    plan.flow_step = float(plan.rng.choice([5, 10]))
    heal = float(plan.rng.uniform(10.5, 12.5))
    level = float(plan.rng.uniform(150, 320))
    plan.suction = [(0.0, 20.0)]
    plan.leak = power_law(level, 6.0, 0.5, heal, 0.6)
    plan.effort = lambda t: 5.0 if t < heal else 0.0
    plan.sleep, plan.wander = [(8, 15)], 0.15
    plan.postures = []
    plan.swing = max(plan.swing, 3.0)
    diligent(plan)


def _fault_kind(name: str, cadence: int, fault: Callable[[Plan], None]) -> None:
    def shape(plan: Plan, seed: int) -> None:
        _middle(plan, cadence)
        fault(plan)
        faulty = (
            [(s, e) for s, e, *_ in plan.shut] + [(s, e) for s, e, *_ in plan.off] + [(s, e) for s, e, _ in plan.apart]
        )
        faulty += [(s, e) for s, e, _ in plan.hidden]
        plan.rounds = [h for h in plan.rounds if not any(s - 0.1 < h < e + 0.1 for s, e in faulty)]

    KINDS[name] = ("C", 2, shape)


def _shut_middle(plan: Plan) -> None:
    plan.shut = [(5.0, 6.5, 0.0, 0.0), (14.0, 15.2, 0.0, 0.0)]


def _clot_middle(plan: Plan) -> None:
    plan.shut = [(4.0, 7.0, 1.2, 0.0)]


def _off_middle(plan: Plan) -> None:
    plan.off = [(5.0, 6.0, "zero", 0.0, 0.0), (14.0, 15.0, "decay", 0.3, 0.0)]


def _apart_middle(plan: Plan) -> None:
    plan.apart = [(5.0, 5.2, "suction"), (14.0, 14.3, "suction")]


def _clamp_middle(plan: Plan) -> None:
    plan.shut = [(5.0, 6.0, 0.0, 0.0)]
    plan.chart += [(5.0, "clamp", "on", "", "handling", ""), (6.0, "clamp", "off", "", "handling", "")]


def _frozen_middle(plan: Plan) -> None:
    plan.on_rows += [hold(5.0, 6.5, flow="last", pressure=True), hold(14.0, 15.0, flow="last", pressure=True)]
    plan.hidden = [(5.0, 6.5, "frozen"), (14.0, 15.0, "frozen")]


def _stuck_flow_middle(plan: Plan) -> None:
    plan.noise = max(plan.noise, 1.0)
    plan.on_rows += [hold(5.0, 7.0, flow=0.0)]
    plan.hidden = [(5.0, 7.0, "stuck flow")]


def _gap_middle(plan: Plan) -> None:
    plan.on_rows += [lost_rows(5.0, 5.7), lost_rows(14.0, 14.2)]
    plan.hidden = [(5.0, 5.7, "gap"), (14.0, 14.2, "gap")]


for _every in (1, 2, 10, 60):
    for _label, _what in (
        ("blocked", _shut_middle), ("clot", _clot_middle), ("off", _off_middle), ("apart", _apart_middle),
        ("clamp", _clamp_middle), ("frozen", _frozen_middle), ("stuck-flow", _stuck_flow_middle), ("gap", _gap_middle),
    ):  # fmt: skip
        if _every in (1, 60) or _label in ("blocked", "off", "frozen"):
            _fault_kind(f"middle-{_label}-{_every}s", _every, _what)


# -------------------------------------------------------------------------------------------- door


def write(bundle: Bundle, folder: Path) -> None:
    """The bundle as files, and the command line that judges it."""
    folder.mkdir(parents=True, exist_ok=True)
    names = []
    for name, data, layout in bundle.logs:
        (folder / name).write_bytes(data)
        (folder / "layout.toml").write_text(layout)
        names.append(str(folder / name))
    (folder / "chart.csv").write_bytes(bundle.chart)
    (folder / "episode.toml").write_bytes(bundle.episode)
    at = ""
    if bundle.now_ms is not None:
        at = f" --at {datetime.fromtimestamp(bundle.now_ms / 1000, UTC):%Y-%m-%dT%H:%M:%SZ}"
    print(
        f"slackwater assess {' '.join(names)} --layout {folder}/layout.toml --chart {folder}/chart.csv "
        f"--episode {folder}/episode.toml --protocol air-50-8h{at}"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--list", action="store_true", help="name every kind")
    parser.add_argument("--write", metavar="FOLDER", type=Path, help="write one bundle as files")
    parser.add_argument("--kind", choices=sorted(KINDS), metavar="KIND")
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    if asked.list:
        for name, (suite, seeds, _) in KINDS.items():
            print(f"{suite} {name} ({seeds} seeds)")
    elif asked.write and asked.kind:
        bundle = make(asked.kind, asked.seed)
        print(f"# {bundle.about}" + (f"; {bundle.note}" if bundle.note else ""), file=sys.stderr)
        write(bundle, asked.write)
    else:
        parser.error("say --list, or --write FOLDER --kind KIND")
    return 0


if __name__ == "__main__":
    sys.exit(main())
