"""How fast the filter, the forecast and a live minute are, beside general tools; CPU time, best of turns.

    python bench/filter_speed.py
    PYTHONPATH=/tmp/scratch/lib/python3.11/site-packages python bench/filter_speed.py      with hmmlearn there

The peer for the filter is a general HMM library's forward pass with as many states over as many minutes.
The peer for the forecast is a sampler of 2,000 paths in numpy, through the same chain.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np

from slackwater.forecast.air import AirClause, air_times
from slackwater.forecast.habit import Habit, keeps_clause, shares_ahead
from slackwater.forecast.sampler import first_run_blocks, sampled_records
from slackwater.leak.filter import kernels
from slackwater.leak.filter.model import shipped_model
from slackwater.leak.filter.run import Live, Seen, blocks, run_filter, run_trend
from slackwater.leak.filter.trend import chain

MINUTES, DRAINS, TURNS = 7_200, 1_000, 9


def cpu_ms(work: Callable[[], object], turns: int = TURNS) -> float:
    work()
    best = float("inf")
    for _ in range(turns):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best * 1000


def a_stay(seed: int = 3) -> Seen:
    rng = np.random.default_rng(seed)
    hours = np.arange(MINUTES) / 60
    flow = np.round(np.maximum(250 * np.exp(-0.03 * hours) * np.exp(0.1 * rng.standard_normal(MINUTES)), 0) / 5) * 5
    usable = rng.random(MINUTES) > 0.03
    drive = 20 + 0.3 * rng.standard_normal(MINUTES)
    return Seen(flow, np.maximum(flow - 2.5, 0), flow + 2.5, drive, usable, np.zeros(MINUTES, np.int8))


def general(kind: Any, n: int, length: int) -> Any:
    """A general model of n states, Gaussian in log(1 + flow), walking by the same kernel."""
    peer = kind(n, covariance_type="diag", implementation="scaling")
    off = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    peer.startprob_ = np.full(n, 1 / n)
    peer.transmat_ = 0.2**off / (0.2**off).sum(axis=1, keepdims=True)
    peer.means_ = np.linspace(0, np.log1p(4000), n)[:, None]
    peer.covars_ = np.full((n, 1), 0.04)
    return peer


def seen_by_general(stay: Seen, length: int) -> np.ndarray:
    return np.log1p(stay.flow[:length])[:, None]


def main() -> None:
    model = shipped_model()
    stay, links = a_stay(), chain(model.trend)
    print(f"kernels {'compiled' if kernels.COMPILED else 'INTERPRETED'}; {MINUTES} minutes; size filter "
          f"{model.size.cells} cells, trend {len(links)} states ({len(links.weight)} links) every 10 min")  # fmt: skip
    ours = cpu_ms(lambda: run_filter(stay, (20.0,)))
    trend = cpu_ms(lambda: run_trend(blocks(stay), model.trend))
    print(f"filter, both parts, with chance at one limit and quantiles: {ours:.2f} ms (trend part {trend:.2f} ms)")
    try:
        from hmmlearn.hmm import GaussianHMM
    except ImportError:
        print("hmmlearn is not installed: no peer to compare with (install it in a scratch venv, set PYTHONPATH)")
    else:
        for n, length, own in ((model.size.cells, MINUTES, ours - trend), (len(links), MINUTES // 10, trend)):
            theirs = cpu_ms(lambda: general(GaussianHMM, n, length).score(seen_by_general(stay, length)), 3)  # noqa: B023
            print(f"hmmlearn, forward pass, {n} states, {length} steps: {theirs:.2f} ms, {theirs / own:.1f} times ours")
    clause, habit = AirClause(20.0, 480, None), Habit(0.4, 0.4, 0.1, 0.2)
    state = run_filter(stay, ()).trend_state
    for days in (2, 7):
        length = days * 1440
        exact = cpu_ms(lambda: air_times(state, model, links, 20.0, clause, habit, 0.0, hour=9.0, horizon_min=length))  # noqa: B023
        quiet = keeps_clause(links, 20.0, 20.0, habit, model.record)
        quiet = quiet[shares_ahead(habit, days * 144, 9.0, model.record)]

        def paths() -> np.ndarray:
            kept = sampled_records(links, state, quiet, days * 144, 2_000, 1)  # noqa: B023
            return first_run_blocks(kept, 48)

        sampled = cpu_ms(paths, 1)
        print(f"air forecast over {days} days: {exact:.2f} ms; sampler of 2,000 paths {sampled:.0f} ms, "
              f"{sampled / exact:.0f} times")  # fmt: skip
    live = Live(DRAINS)
    flow = np.abs(np.random.default_rng(1).normal(40, 30, DRAINS))
    drive, usable, limits = np.full(DRAINS, 20.0), np.ones(DRAINS, np.int8), np.full(DRAINS, 20.0)
    tick = cpu_ms(lambda: live.minute(np.maximum(flow - 2.5, 0), flow + 2.5, flow, drive, usable, limits), 50)
    print(f"a live minute of {DRAINS} drains: {tick:.3f} ms, {tick * 1000 / DRAINS:.2f} µs a drain")


if __name__ == "__main__":
    main()
