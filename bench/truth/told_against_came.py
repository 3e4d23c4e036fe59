"""Were the air clause's chances right? Before and now, on stays no number was learnt or tuned on, of two worlds.

    python bench/truth/told_against_came.py FOLDER                     held-out seeds; stays made once in FOLDER
    python bench/truth/told_against_came.py FOLDER --learn FILE        the correction anew, on the seeds it is learnt on
    python bench/truth/told_against_came.py FOLDER --one-world         learnt on one world, told in the other

Beside each chance stands what came, looking back, each stay followed 48 h and more beyond the moment. `held 80 %`: how
often the middle 80 % of the chance told held what came, a jump of the chance shared out (randomised PIT: Czado,
Gneiting & Held, Biometrics 65 (2009) 1254, from memory). ECE: ten bins of as many; `floor`: what right chances of as
many forecasts would show. All simulated: it is not clinical validation.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from told_rows import RULES, Row, rows

from slackwater.audit.statistics.bootstrap import bootstrap
from slackwater.audit.statistics.calibration import slope
from slackwater.audit.statistics.told_times import came_by, slope_by
from slackwater.forecast.air import Floats, Times, calibrated, leaned
from slackwater.forecast.learn import GRID_H, HORIZON_H, calibration
from slackwater.forecast.score import concordance, crps_h, mean_h
from slackwater.leak.filter.model import Calibration, FilterModel, PastModel, shipped_model, to_toml

LEARNT_ON = (("cohort", 801, 160), ("cohort", 802, 160), ("minutes", 5101, 80), ("second", 6101, 50))
HELD_OUT = (("cohort", 911, 120), ("cohort", 912, 120), ("second", 7101, 60), ("second", 7102, 60))
FIRST, SECOND = ("cohort", "minutes"), "second"
SHARES = {"20-every": 0.15, "50-mean": 0.25}  # of the plain rate: set on LEARNT_ON, by fifths of the stays left out
GROUPS_MIN = (0, 30, 120, 300)  # of how long the run had lasted, as `PastModel` has them
# The correction as it was before: one curve for every hour ahead, and no plain rate for means.
KNOTS = np.linspace(0.0, 1.0, 9)
BEFORE = {
    "20-every": (0.0, 0.085, 0.21, 0.355, 0.48, 0.585, 0.75, 0.835, 1.0),
    "50-mean": (0.0, 0.245, 0.39, 0.515, 0.64, 0.765, 0.85, 0.915, 0.98),
}
HOURS = (12, 24, 48)
PASSES = 30  # each is pulled to the one before, so that nothing is left of where the first began
DRAWS, LEVEL = 400, 0.99


@dataclass(frozen=True, eq=False)
class Told:
    """Forecasts of one clause in one world. F: chances on GRID_H; time_h: inf where it had not come by the horizon."""

    rows: Sequence[Row]
    chances: Floats
    time_h: Floats

    def some(self, keep: Floats) -> Told:
        return Told(
            [row for row, one in zip(self.rows, keep, strict=True) if one], self.chances[keep], self.time_h[keep]
        )


def followed(found: Sequence[Row], clause: str) -> tuple[list[Row], Floats]:
    """Those of whom it is known when it came, or that it did not within the horizon."""
    kept = [
        row
        for row in found
        if row.clause == clause and (row.full.came_h is not None or (row.full.followed_h or 0.0) >= HORIZON_H)
    ]
    return kept, np.array([np.inf if row.full.came_h is None else row.full.came_h for row in kept])


# --- the ways of telling ----------------------------------------------------------------------------


def alone(row: Row) -> Times:
    return row.pure


def before(row: Row) -> Times:
    past = replace(shipped_model().past, share=0.25 if row.clause == "20-every" else 0.0)
    times = leaned(row.pure, past, row.air, row.run_min)
    return Times(times.minutes, np.interp(times.chance, KNOTS, BEFORE[row.clause]))


def by(model: FilterModel) -> Callable[[Row], Times]:
    def now(row: Row) -> Times:
        times = leaned(row.pure, model.past_for(row.air.bin_min), row.air, row.run_min)
        return calibrated(times, model.calibration_for(row.air.bin_min))

    return now


def told(found: Sequence[Row], clause: str, way: Callable[[Row], Times]) -> Told:
    kept, times = followed(found, clause)
    return Told(kept, np.array([way(row).at(GRID_H * 60.0) for row in kept]), times)


# --- learning the correction ------------------------------------------------------------------------


def learnt(found: Sequence[Row], model: FilterModel) -> FilterModel:
    """The plain rate of means, and both corrections. Every forecast counts alike."""
    means, _ = followed(found, "50-mean")
    model = replace(
        model, past=replace(model.past, share=SHARES["20-every"]), past_of_means=past_of(means, model.past.hours),
        calibration=Calibration(), calibration_of_means=Calibration(),
    )  # fmt: skip
    fitted = {}
    for clause in RULES:
        part = told(found, clause, by(model))
        fitted[clause] = Calibration()
        for _ in range(PASSES):
            fitted[clause] = calibration(part.chances, part.time_h.tolist(), fitted[clause])
    return replace(model, calibration=fitted["20-every"], calibration_of_means=fitted["50-mean"])


def past_of(found: Sequence[Row], hours: tuple[float, ...]) -> PastModel:
    """How they went on, by how long the run had lasted, from when the clause could hold at the earliest."""
    group = np.searchsorted(GROUPS_MIN, [row.run_min for row in found], side="right") - 1
    since = np.array([(row.full.came_h or np.inf) - (row.air.lasting_min - row.run_min) / 60.0 for row in found])
    curves = [tuple(round(float((since[group == k] <= hour + 1 / 6).mean()), 3) for hour in hours) for k in range(4)]
    return PastModel(SHARES["50-mean"], hours, *curves)


# --- figures ----------------------------------------------------------------------------------------


def held(part: Told, low: float = 0.1, high: float = 0.9) -> Floats:
    """Share of each outcome's own step of the chance that lies within."""
    at = np.searchsorted(GRID_H, part.time_h - 1e-9)
    edges = np.concatenate((np.zeros((len(at), 1)), part.chances, np.ones((len(at), 1))), axis=1)
    begin, end = (edges[np.arange(len(at)), at + more] for more in (0, 1))
    return np.clip(np.minimum(end, high) - np.maximum(begin, low), 0.0, None) / np.maximum(end - begin, 1e-12)


def ece(chance: Floats, came: Floats, bins: int = 10) -> float:
    order = np.argsort(chance, kind="stable")
    parts = np.array_split(order, bins)
    return float(sum(abs(chance[one].mean() - came[one].mean()) * len(one) for one in parts) / len(chance))


def floor(chance: Floats) -> float:
    draw = np.random.default_rng(1)
    return float(np.mean([ece(chance, (draw.random(len(chance)) < chance).astype(float)) for _ in range(100)]))


def skill(part: Told, hours: int) -> str:
    """Brier score against that of the mean rate: share saved, with its interval by stays."""
    chance, came = at(part, hours)

    def saved(some: Floats) -> float:
        rate = came[some].mean()
        return float(1.0 - ((chance[some] - came[some]) ** 2).mean() / (rate * (1.0 - rate)))

    whose = np.array([row.stay for row in part.rows])
    found = bootstrap(saved, whose, np.random.default_rng(2), DRAWS, LEVEL, "percentile")
    ends = "" if found.low is None or found.high is None else f" ({found.low:+.2f} to {found.high:+.2f})"
    return f"{found.value:.2f}{ends}"


def at(part: Told, hours: int) -> tuple[Floats, Floats]:
    chance = part.chances[:, int(np.searchsorted(GRID_H, hours - 1e-9))]
    return chance, (part.time_h <= hours).astype(np.float64)


def show(name: str, part: Told) -> None:
    crps = np.mean([crps_h(GRID_H, row, time) for row, time in zip(part.chances, part.time_h, strict=True)])
    expected = [mean_h(GRID_H, row) for row in part.chances]
    tenths = " ".join(f"{100 * held(part, k / 5, (k + 1) / 5).mean():.0f}" for k in range(5))
    print(
        f"  {name:<18} CRPS {crps:.2f} h, C {concordance(part.time_h.tolist(), expected, HORIZON_H):.3f}, "
        f"held 80 %: {100 * held(part).mean():.1f} %, fifths of the chance held {tenths} %"
    )
    for hours in HOURS:
        chance, came = at(part, hours)
        inside = (chance > 1e-4) & (chance < 1.0 - 1e-4)
        steep = slope(chance[inside], came[inside]).value
        print(
            f"    within {hours} h: told {100 * chance.mean():.1f} %, came {100 * came.mean():.1f} %, "
            f"slope {'none' if steep is None else f'{steep:.2f}'}, ECE {ece(chance, came):.3f} "
            f"(floor {floor(chance):.3f}), Brier skill {skill(part, hours)}"
        )


def as_audited(found: Sequence[Row], clause: str, way: Callable[[Row], Times]) -> None:
    """The audit's own figures beside those of stays followed on: of whom removal came first is told by Kaplan-Meier."""
    for name, of in (("followed on", lambda row: row.full), ("to the removal", lambda row: row.audit)):
        seen = [(row, came) for row in found if row.clause == clause and (came := of(row)) is not None and row.audit]
        ended = np.array([came.came_h is not None for _, came in seen])
        time = np.array([came.followed_h if came.came_h is None else came.came_h for _, came in seen])
        chance = np.array([round(way(row).by(24 * 60.0), 4) for row, _ in seen])
        inside = (chance > 0.0) & (chance < 1.0)
        print(
            f"    audit's figures within 24 h, {name}: came less told "
            f"{100 * (came_by(time, ended, 24.0) - chance.mean()):+.1f} points, "
            f"slope {slope_by(chance[inside], time[inside], ended[inside], 24.0):.2f} ({len(seen)} forecasts)"
        )


STRATA: dict[str, Callable[[Row], str]] = {
    "moment": lambda row: "to 24 h" if row.moment_h <= 24 else "to 48 h" if row.moment_h <= 48 else "later",
    "run": lambda row: "no run" if row.run_min < 30 else "run under way",
    "display": lambda row: "step to 2" if row.about["step"] <= 2 else "coarser step",
    "last 8 h": lambda row: "some doubt" if row.about["doubt"] else "no doubt",
    "hour": lambda row: "told by day" if 6 <= (row.about["hour"] + row.moment_h) % 24 < 20 else "told by night",
    "faults": lambda row: "a fault drawn" if row.about["faults"] else "none drawn",
    "course": lambda row: row.about["pattern"],
}


def by_strata(part: Told) -> None:
    for what, group in STRATA.items():
        words = np.array([group(row) for row in part.rows])
        inside = [
            f"{word} {100 * held(part.some(words == word)).mean():.0f} ({int((words == word).sum())})"
            for word in sorted(set(words))
        ]
        print(f"    held 80 % by {what}: " + ", ".join(inside))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--learn", type=Path, metavar="FILE", help="write the numbers with the correction learnt anew")
    parser.add_argument("--one-world", action="store_true", help="the correction of one world, told in the other")
    given = parser.parse_args()

    def drawn(seeds: Sequence[tuple[str, int, int]], *worlds: str) -> list[Row]:
        return [row for one in seeds if one[0] in worlds for row in rows(given.folder, *one)]

    if given.learn:
        given.learn.write_text(to_toml(learnt(drawn(LEARNT_ON, *FIRST, SECOND), shipped_model())))
        return
    for world, others in (("cohort", (SECOND,)), (SECOND, FIRST)):
        found = drawn(HELD_OUT, world)
        seeds = ", ".join(str(seed) for name, seed, _ in HELD_OUT if name == world)
        ways: dict[str, Callable[[Row], Times]] = {"chain alone": alone, "before": before, "now": by(shipped_model())}
        if given.one_world:
            ways = {f"learnt on {others[0]}": by(learnt(drawn(LEARNT_ON, *others), shipped_model()))}
        for clause, rule in RULES.items():
            kept, _ = followed(found, clause)
            print(f"\n{world}, seeds {seeds}, {rule}: {len(kept)} forecasts of {len({row.stay for row in kept})} stays")
            for name, way in ways.items():
                show(name, told(found, clause, way))
            if world == "cohort":
                as_audited(found, clause, list(ways.values())[-1])
            by_strata(told(found, clause, list(ways.values())[-1]))


if __name__ == "__main__":
    main()
