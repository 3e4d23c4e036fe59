"""The second world's bundles for the same scoring, and its stays for the forecast; `other_world.py` is used as it is.

Its leak obeys a power of the pressure, so there is no one conductance to ask for. Its forecast stays are made by its
own courses, breaths, units and printing over 124 h; only when each leak ends is drawn here: evenly over 8 to 110 h,
one in six never, one in eight a leak that comes and goes.
"""

from __future__ import annotations

import zlib
from datetime import UTC, datetime

import forecast_cohort as cohorts
import numpy as np
import other_world as world
from scoring import RULE, Flags, Known, Minutely, Moment

WINDOW = 480
UNITS_S, STEPS = (5, 10, 30, 60), (1.0, 2.0, 5.0, 10.0)


def kinds(suites: str, seeds: int | None = None) -> list[tuple[str, int]]:
    return [
        (kind, seed)
        for kind, (suite, usual, _) in world.KINDS.items()
        if suite in suites and not kind.startswith("arguable")
        for seed in range(usual if seeds is None else min(seeds, usual))
    ]


def bundle_known(kind: str, seed: int) -> Known:
    """A kind of bundle: its own claim at its own moment, and its minutes where they can be told apart (suites B, C)."""
    bundle = world.make(kind, seed)
    leak, hidden = bundle.leak_by_minute, np.array([bool(fault) for fault in bundle.hidden_by_minute])
    end = len(leak)
    if bundle.now_ms is not None:
        end = min(max((bundle.now_ms - bundle.connected_ms) // 60_000, 0), end)
    last = slice(max(0, end - WINDOW), end)
    in_window = bool((leak[last] >= world.LIMIT[RULE]).sum() >= 5 or hidden[last].sum() >= 5)
    moment = Moment(bundle.now_ms, RULE in bundle.must_not, RULE in bundle.plain_for, in_window)
    truth = None
    if bundle.suite in "BC":
        none = np.zeros(len(leak), np.bool_)
        truth = Minutely(bundle.connected_ms, leak, hidden, none, _stirred(kind, seed, len(leak)), none)
    suite = {"A": "second: look-alikes", "B": "second: plainly met", "C": "second: faults"}[bundle.suite]
    return Known(f"--kind {kind} --seed {seed}", suite, bundle.logs, bundle.chart, bundle.episode, (moment,), truth)


def _stirred(kind: str, seed: int, minutes: int) -> Flags:
    """Minutes of coughs, walks, postures and steps of suction, from the plan the bundle was made of."""
    plan = world.drawn_plan(np.random.default_rng([zlib.crc32(kind.encode()), seed]))
    world.KINDS[kind][2](plan, seed)
    out = np.zeros(minutes, np.bool_)
    spans = [(hour, 1.0) for hour in plan.coughs] + list(plan.walks) + [(hour, 3.0) for hour in plan.postures]
    spans += [(hour, 30.0) for hour, _ in plan.suction[1:]]
    for hour, lasting_min in spans:
        out[int(hour * 60) : int(np.ceil(hour * 60 + lasting_min))] = True
    return out


def bundle_and_plan(seed: int, number: int) -> tuple[world.Bundle, world.Plan]:
    """Stay `number` for the forecast, as a ward could hand it over."""
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(number,)))
    plan = world.drawn_plan(rng)
    plan.hours = cohorts.HOURS
    # connected at two in the afternoon, so that the hours of sleep below are those of the night
    plan.begin = datetime(2032, 6, 1 + number % 28, 14, int(rng.integers(60)), tzinfo=UTC)
    plan.cadence, plan.flow_step = int(rng.choice(UNITS_S)), float(rng.choice(STEPS))
    plan.stamps, plan.zone = "iso_z", "UTC"
    level = float(np.exp(rng.uniform(np.log(30.0), np.log(500.0))))
    ends = float("inf") if rng.random() < 1 / 6 else float(rng.uniform(8.0, 110.0))
    until = min(ends, 400.0)
    if rng.random() < 1 / 8:
        edges = np.cumsum(rng.uniform(0.5, 6.0, 80))
        plan.leak = world.bursts(level, [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b < until])
    else:
        over = float(rng.uniform(0.3, 6.0))
        plan.leak = (
            world.power_law(level, float(rng.uniform(2.0, 30.0)), 0.7, until, over),
            world.plateau_drop(level, until, over),
            world.staircase(level, until, int(rng.integers(3, 7))),
            world.gamma_course(level, until / 3, until),
        )[int(rng.integers(4))]
    size = float(rng.uniform(1.0, 8.0))
    plan.effort = lambda hour: size if hour < until else 0.0
    plan.sleep = [(8.0 + 24.0 * day, 16.0 + 24.0 * day) for day in range(5)]
    plan.coughs = sorted(rng.uniform(0.3, plan.hours - 0.1, int(rng.integers(60, 250))).tolist())
    plan.walks = [(float(hour), float(rng.uniform(3, 12))) for hour in rng.uniform(1, plan.hours - 1, 10)]
    plan.postures = rng.uniform(0.5, plan.hours, int(rng.integers(25, 75))).tolist()
    if rng.random() < 0.5:
        plan.suction = [*plan.suction, (float(rng.uniform(20.0, 80.0)), float(rng.choice((0.0, 5.0, 8.0))))]
    return world.bundle_of("forecast", "F", number, plan), plan


def draw(seed: int, number: int) -> cohorts.StayMinutes:
    """The same as minutes."""
    bundle, plan = bundle_and_plan(seed, number)
    recorded = cohorts.recorded(bundle.logs[0][1], bundle.logs[0][2], bundle.connected_ms)
    n = min(len(bundle.leak_by_minute), len(recorded["flow"]))
    unknown = np.full(n, np.nan)
    display = f"{plan.flow_step:g} mL/min every {plan.cadence} s"
    about = np.array(["second", "second", display, str(plan.begin.hour + plan.begin.minute / 60)])
    return cohorts.StayMinutes(
        **{name: values[:n] for name, values in recorded.items()}, true_rest=bundle.leak_by_minute[:n],
        true_conductance=unknown, true_effort_conductance=unknown, true_open=np.ones(n, np.bool_),
        fault=np.zeros(n, np.bool_), about=about,
    )  # fmt: skip
