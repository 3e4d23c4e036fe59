"""The fluid forecast against truth: when will the total over 24 h first be within the limit, the future hidden?

    python bench/truth/score_fluid.py --stays 80 --seed 4302

Stays are drawn with 48 h after the latest cut. T is when the clause first held, by the rule itself on the full chart,
so it falls on an entry. Scored on min(T, 48 h), at cuts where the clause did not hold yet. Kaplan-Meier beside it
knows the total over the limit at the cut, from other stays; a forecast that is withheld is scored as that.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import get_context

import numpy as np
from numpy.typing import NDArray

import slackwater
from slackwater.episode.chart import known_at
from slackwater.episode.fluid.charted import fluid_intervals
from slackwater.episode.fluid.record import FluidRecord
from slackwater.episode.fluid.totals import total
from slackwater.forecast.fluid import charted_of, fluid_times, why_withheld
from slackwater.forecast.score import concordance, covers, crps_h, mean_h
from slackwater.protocol.status import Status
from slackwater.simulate import draw_scenario, simulate
from slackwater.simulate.unit_types import SHINGLE

Floats = NDArray[np.float64]
HORIZON_H = 48.0
GRID_H = np.arange(0.0, HORIZON_H + 1e-9, 0.25)
CUTS_H = (24, 36, 48, 72)
HOURS = max(CUTS_H) + HORIZON_H + 4.0
RULES = ("fluid-300", "fluid-450")
GROUPS = (1.15, 1.4, 1.8, 2.5)  # total over 24 h at the cut, over the limit; beyond: cannot be told


@dataclass(frozen=True, eq=False)
class Cut:
    rule: str
    time_h: float
    group: int
    chance: Floats | None  # ours; None where withheld


def cuts_of(number: int, seed: int) -> list[Cut]:
    """One drawn stay, judged by each rule on its full chart, and forecast at each cut from what was charted by then."""
    rng = np.random.default_rng([seed, number])
    plan = replace(draw_scenario(rng), hours=HOURS, unit=SHINGLE, exchange=None)  # the unit does not matter here
    stay = simulate(plan, int(rng.integers(2**31)))
    chart = slackwater.read_chart(stay.chart_csv.encode(), "chart.csv", plan.zone)
    episode = slackwater.read_episode(stay.episode_toml.encode(), "episode.toml")
    start = episode.connected_at
    assert start is not None
    found = []
    for rule in RULES:
        judged = slackwater.assess(
            [], chart=chart, episode=episode, protocol=slackwater.shipped_protocol(rule),
            now_ms=start + round(HOURS * 3_600_000),
        )  # fmt: skip
        assert judged.evaluation is not None
        fluid = next(one for one in judged.evaluation.criteria if one.id == "fluid")
        assert fluid.clause is not None and fluid.clause.limit is not None
        met, limit = fluid.timeline == Status.MET, fluid.clause.limit
        for hours in CUTS_H:
            if met[hours * 60 - 1]:
                continue
            now = start + hours * 3_600_000
            record = fluid_intervals(known_at(chart, now), episode.drain_number, start, ("1",))
            entries = charted_of(record, now)
            times = None if why_withheld(entries) else fluid_times(entries, limit, 24.0)
            later = np.flatnonzero(met[hours * 60 :])
            time_h = (int(later[0]) + 1) / 60.0 if len(later) else np.inf
            found.append(Cut(rule, time_h, group(record, limit), None if times is None else times.at(GRID_H * 60.0)))
    return found


def group(record: FluidRecord, limit_ml: float) -> int:
    """Which of GROUPS, by what the last entry shows; the last where there is no upper bound."""
    if not len(record):
        return len(GROUPS) + 1
    end = int(record.end_ms[-1])
    ratio = total(record, end - 86_400_000, end).high_ml / limit_ml
    return len(GROUPS) + 1 if not np.isfinite(ratio) else int(np.searchsorted(GROUPS, ratio))


def show(rule: str, cuts: list[Cut], others: list[Cut]) -> None:
    times = [cut.time_h for cut in cuts]
    # every case is followed to the horizon, so that the estimate is the plain share
    curves = [
        (np.array([c.time_h for c in others if c.rule == rule and c.group == k] or [np.inf])[:, None] <= GRID_H).mean(0)
        for k in range(len(GROUPS) + 2)
    ]
    marginal = (np.array([c.time_h for c in others if c.rule == rule])[:, None] <= GRID_H).mean(0)
    methods = {
        "Kaplan-Meier": [curves[cut.group] for cut in cuts],
        "Kaplan-Meier, one": [marginal for _ in cuts],
        "ours": [curves[cut.group] if cut.chance is None else cut.chance for cut in cuts],
    }
    came = sum(time <= HORIZON_H for time in times)
    print(
        f"\n{rule}: {len(cuts)} cuts not yet met, {came} of them within 48 h, "
        f"{sum(cut.chance is None for cut in cuts)} withheld"
    )
    print(f"{'':<20}{'CRPS, h':>9}{'cover .8':>10}{'C':>7}{'by 12 h':>9}{'24 h':>7}{'48 h':>7}")
    share = [np.mean(np.array(times) <= hours) for hours in (12, 24, 48)]
    print(f"{'what came':<20}{'':>26}" + f"{share[0]:>9.2f}{share[1]:>7.2f}{share[2]:>7.2f}")
    for name, chances in methods.items():
        crps = np.mean([crps_h(GRID_H, row, time) for row, time in zip(chances, times, strict=True)])
        inside = np.mean([covers(GRID_H, row, time) for row, time in zip(chances, times, strict=True)])
        ordered = concordance(times, [mean_h(GRID_H, row) for row in chances], HORIZON_H)
        by = [np.mean([row[int(np.searchsorted(GRID_H, hours))] for row in chances]) for hours in (12, 24, 48)]
        print(f"{name:<20}{crps:>9.2f}{inside:>10.2f}{ordered:>7.2f}{by[0]:>9.2f}{by[1]:>7.2f}{by[2]:>7.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--stays", type=int, default=80)
    parser.add_argument("--seed", type=int, default=4302, help="stays that are scored")
    parser.add_argument("--other-seed", type=int, default=4301, help="stays the curves are learnt on")
    given = parser.parse_args()
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        found = {
            seed: [cut for cuts in pool.map(partial(cuts_of, seed=seed), range(given.stays)) for cut in cuts]
            for seed in (given.seed, given.other_seed)
        }
    for rule in RULES:
        show(rule, [cut for cut in found[given.seed] if cut.rule == rule], found[given.other_seed])


if __name__ == "__main__":
    sys.exit(main())
