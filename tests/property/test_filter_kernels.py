"""The filters' kernels give the same results compiled and as plain Python, to the last bit; the forecast's to 1e-6."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from pytest import MonkeyPatch

import slackwater.forecast
import slackwater.leak.filter
from behaviour.leak_filter.made_minutes import made_minutes
from slackwater.forecast import kernels as forecast_kernels
from slackwater.forecast.air import AirClause, air_times
from slackwater.forecast.habit import Habit
from slackwater.leak.filter import kernels as filter_kernels
from slackwater.leak.filter.model import TrendModel, shipped_model
from slackwater.leak.filter.run import Live, run_filter, run_trend
from slackwater.leak.filter.run import blocks as blocks_of
from slackwater.leak.filter.trend import chain


def interpreted(package: ModuleType, name: str) -> ModuleType:
    source = Path(str(package.__file__)).with_name("kernels.py")
    spec = importlib.util.spec_from_file_location(name, source)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


PLAIN_FILTER = interpreted(slackwater.leak.filter, "plain_filter_kernels")
PLAIN_FORECAST = interpreted(slackwater.forecast, "plain_forecast_kernels")
pytestmark = pytest.mark.skipif(
    not (filter_kernels.COMPILED and forecast_kernels.COMPILED), reason="the kernels are not compiled here"
)
SMALL = TrendModel(levels=8, spacing=0.9)


def both(work: Any) -> tuple[Any, Any]:
    """What `work` gives with the compiled kernels, and with the plain ones."""
    compiled = work()
    with MonkeyPatch.context() as patch:
        for name in ("size_minutes", "size_drains", "trend_blocks"):
            patch.setattr(filter_kernels, name, getattr(PLAIN_FILTER, name))
        patch.setattr(forecast_kernels, "first_run", PLAIN_FORECAST.first_run)
        plain = work()
    return compiled, plain


def test_the_plain_kernels_are_plain() -> None:
    assert not PLAIN_FILTER.COMPILED
    assert not PLAIN_FORECAST.COMPILED


@pytest.mark.parametrize("seed", range(3))
def test_the_size_filter_is_the_same_compiled_and_interpreted(seed: int) -> None:
    rng = np.random.default_rng(seed)
    flow = np.abs(rng.normal(30, 60, 240))
    suction = np.where(np.arange(240) < 120, 20.0, 8.0) + rng.random(240)
    seen = made_minutes(flow, suction_cmh2o=suction, unusable=rng.integers(0, 240, 30).tolist())
    compiled, plain = both(lambda: run_filter(seen, (20.0, 50.0)))
    for name in ("p_at_least", "low_ml_per_min", "mid_ml_per_min", "high_ml_per_min", "conductance", "p_sealed"):
        assert np.array_equal(getattr(compiled, name), getattr(plain, name), equal_nan=True), name
    assert np.array_equal(compiled.size_state, plain.size_state)
    assert np.array_equal(compiled.trend_state, plain.trend_state)


def test_the_trend_filter_is_the_same_compiled_and_interpreted() -> None:
    rng = np.random.default_rng(4)
    seen = made_minutes(np.abs(rng.normal(60, 40, 600)), burst=rng.integers(0, 600, 20).tolist())
    compiled, plain = both(lambda: run_trend(blocks_of(seen), SMALL))
    assert np.array_equal(compiled[0], plain[0])
    assert np.array_equal(compiled[1], plain[1])


def test_a_live_minute_is_the_same_compiled_and_interpreted() -> None:
    def minute() -> np.ndarray:
        live = Live(4)
        flow = np.array([0.0, 10.0, 100.0, 1000.0])
        for _ in range(3):
            chance = live.minute(flow, flow + 5, flow + 2, np.full(4, 20.0), np.array([1, 1, 0, 1], np.int8), flow)
        return np.concatenate((chance, live.states.ravel()))

    compiled, plain = both(minute)
    assert np.array_equal(compiled, plain, equal_nan=True)


@pytest.mark.parametrize("run_min", [0.0, 95.0])
def test_the_exact_forecast_is_the_same_compiled_and_interpreted(run_min: float) -> None:
    links = chain(SMALL)
    model, clause = shipped_model(), AirClause(20.0, 240, None)
    compiled, plain = both(
        lambda: air_times(
            links.first, model, links, 20.0, clause, Habit(0.4, 0.4, 0.1, 0.2), run_min, hour=9.0, horizon_min=1440
        )
    )
    assert np.allclose(compiled.chance, plain.chance, rtol=0, atol=1e-6)  # runs are single precision
    assert compiled.chance[-1] > 0.1
