"""The kernels give the same results compiled and as plain Python, to the last bit."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import MonkeyPatch

import slackwater.trace
from behaviour.trace.made_log import NOON, made_log
from behaviour.trace.messy_log import messy_logs, window
from slackwater.reading.log import NONE, Log
from slackwater.trace import kernels
from slackwater.trace.join import place
from slackwater.trace.pyramid import pyramid
from slackwater.trace.runs import rolling_max, rolling_median, runs_below, sliding_mean_bounds


def interpreted() -> ModuleType:
    source = Path(slackwater.trace.__file__).with_name("kernels.py")
    spec = importlib.util.spec_from_file_location("plain_trace_kernels", source)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


PLAIN = interpreted()
KERNELS = [
    "survey",
    "lay",
    "stretches",
    "flow_bins",
    "pressure_bins",
    "last_in_bins",
    "commonest_in_bins",
    "extremes",
    "runs",
    "sliding_means",
    "rolling_max",
    "rolling_median",
]
pytestmark = pytest.mark.skipif(not kernels.COMPILED, reason="the kernels are not compiled here")


def both(work: Any) -> tuple[Any, Any]:
    """What `work` gives with the compiled kernels, and with the plain ones."""
    compiled = work()
    with MonkeyPatch.context() as patch:
        for name in KERNELS:
            patch.setattr(kernels, name, getattr(PLAIN, name))
        plain = work()
    return compiled, plain


def equal(one: Any, other: Any) -> None:
    for name in type(one).__dataclass_fields__:
        a, b = getattr(one, name), getattr(other, name)
        if isinstance(a, np.ndarray):
            np.testing.assert_array_equal(a, b, err_msg=name)
            assert a.dtype == b.dtype
        elif name != "logs":
            assert a == b, name


def test_the_plain_kernels_are_plain() -> None:
    assert not PLAIN.COMPILED
    assert PLAIN.__file__.endswith(".py")
    assert not kernels.__file__.endswith(".py")


@given(messy_logs(), messy_logs(serials=("unit 2",)), st.integers(0, 2**31))
def test_from_logs_to_minutes(log: Log, other: Log, seed: int) -> None:
    n = len(log.time_ms)
    chance = np.random.default_rng(seed)

    def column(low: int, high: int) -> Any:
        values = chance.integers(low, high, n).astype(np.int32)
        values[chance.random(n) < 0.2] = NONE
        return values

    fields = {name: getattr(log, name) for name in Log.__dataclass_fields__}
    full = Log(
        **fields
        | {
            "flow_ul_per_min": column(-2_147_483_000, 2_147_483_000),  # sums beyond 32 bits
            "flow_max_ul_per_min": column(0, 2_000_000_000),
            "pressure_mcmh2o": column(-30_000, 1000),
            "pressure_min_mcmh2o": column(-40_000, 0),
            "pressure_max_mcmh2o": column(-20_000, 2000),
            "set_suction_mcmh2o": column(-20_000, 0),
            "battery_percent": column(0, 101),
            "fluid_ml": column(0, 2000),
            "state": column(-1, 9),
        }
    )
    compiled, plain = both(lambda: place([full, other]))
    equal(compiled, plain)
    equal(*both(lambda: window(compiled)))
    equal(*both(lambda: pyramid(compiled, int(compiled.start_ms[0]) - 7, int(compiled.end_ms[-1]))))


@given(st.lists(st.tuples(st.integers(0, 90), st.sampled_from([0.0, 0.5, 1.0])), max_size=60), st.integers(1, 12))
def test_runs_and_sliding_windows(rows: list[tuple[int, float]], width: int) -> None:
    value = np.array([v for v, _ in rows], float)
    covered = np.array([c for _, c in rows], float)
    low, high = np.where(covered > 0, value, np.nan), np.where(covered > 0, value + 10, np.nan)
    steps = np.where(covered > 0, value, NONE).astype(np.int32)
    equal(*both(lambda: runs_below(low, high, 50.0, at_most=True)))
    np.testing.assert_array_equal(*both(lambda: sliding_mean_bounds(low, high, covered, width)))
    np.testing.assert_array_equal(*both(lambda: rolling_max(low, width)))
    np.testing.assert_array_equal(*both(lambda: rolling_median(steps, width)))


def test_evenly_spaced_stretches_are_only_a_short_cut() -> None:
    """Five hours of one row a second, from any fraction of a second on: the quick way and the slow agree."""
    chance = np.random.default_rng(7)
    flow = np.where(chance.random(18_000) < 0.1, None, chance.integers(-3, 30, 18_000) * 10).tolist()
    for shift in (0, 250, 999):
        trace = place([made_log(range(18_000), flow, since=NOON + shift)])
        assert trace.stretches is not None and len(trace.stretches) == 1
        equal(window(trace), window(replace(trace, stretches=None)))
