"""The pattern's word against truth: a confusion matrix over drawn stays, so many of each course.

    python bench/truth/score_patterns.py --each 12 --seed 13

A course is drawn with all that comes with it (unit, suction, faults). What a word is due is told from the true
conductance, in minutes whose way was open and whose record is not in doubt, and only from what the record can have
shown: a recurrence is due only where the return lies within it. Between two words either is right.
"""

from __future__ import annotations

import argparse
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

import slackwater
from slackwater.leak.filter.pattern import PATTERNS
from slackwater.leak.state import LeakTrace
from slackwater.leak.stretches import long_enough
from slackwater.simulate import Scenario, Stay, draw_scenario, simulate
from slackwater.simulate.course import PATTERNS as COURSES

Flags = NDArray[np.bool_]
WORDS = (*PATTERNS, None)
DAY = 24 * 60


class Judged(NamedTuple):
    course: str
    due: frozenset[str | None]
    word: str | None
    faultless: bool


def judged(job: tuple[int, str, int]) -> Judged:
    """Draw one stay of the course, assess it at its end, and compare."""
    seed, course, number = job
    rng = np.random.default_rng([seed, COURSES.index(course), number])
    plan = draw_scenario(rng)
    while plan.course.pattern != course:
        plan = draw_scenario(rng)
    stay = simulate(plan, int(rng.integers(2**31)))
    layout = slackwater.Layout.from_toml(stay.layout_toml, "layout.toml")
    found = slackwater.assess(
        [slackwater.read_log(log, layout, "log.csv") for log in stay.logs],
        chart=slackwater.read_chart(stay.chart_csv.encode(), "chart.csv", plan.zone),
        episode=slackwater.read_episode(stay.episode_toml.encode(), "episode.toml"),
        protocol=slackwater.shipped_protocol("air-20-8h"),
    )
    leak = found.leak_trace
    assert leak is not None
    return Judged(course, due(plan, stay, leak), leak.pattern.word, not plan.faults)


def due(plan: Scenario, stay: Stay, leak: LeakTrace) -> frozenset[str | None]:
    """The words that would be right."""
    truth = stay.truth
    n = min(truth.minutes, len(leak.given))
    seen = leak.given.usable[:n] & truth.tube_open[:n]
    if seen.sum() < 60:
        return frozenset({None})
    rest, level = truth.leak_rest_ml_per_min[:n], leak.filtered.limits_ml_per_min[1]
    plain, perhaps = (_on_end(seen, rest >= least) for least in (level, level / 2))
    if plan.course.pattern == "none":
        return frozenset({"none"})
    if not perhaps.any():
        return _with_effort(stay, leak, seen, n)
    if not plain.any():
        return _at_rest(plan, stay, seen, perhaps, n) | {"none", "effort_only"}
    return _at_rest(plan, stay, seen, plain, n)


def _on_end(seen: Flags, leaking: Flags) -> Flags:
    at = np.flatnonzero(seen)
    out = np.zeros(len(seen), dtype=np.bool_)
    out[at] = long_enough(leaking[at], 20)
    return out


def _with_effort(stay: Stay, leak: LeakTrace, seen: Flags, n: int) -> frozenset[str | None]:
    opens = stay.truth.effort_conductance_ml_per_min_per_cmh2o[:n] * 20.0 >= 15.0
    bursts = seen & opens & (stay.truth.leak_effort_ml_per_min[:n] >= 3.0)
    if not (leak.found.visible and bursts.any()):
        return frozenset({"none"})
    at = np.flatnonzero(seen)
    lately = int(bursts[at[-DAY] if len(at) >= DAY else 0 :].sum())
    if lately >= 6:
        return frozenset({"effort_only"})
    if bursts.sum() >= 6:
        return frozenset({"effort_only", "healing"} if lately >= 2 else {"healing"})
    return frozenset({"none", "effort_only", "healing"})


def _at_rest(plan: Scenario, stay: Stay, seen: Flags, shown: Flags, n: int) -> frozenset[str | None]:
    """shown: minutes of a true leak long and large enough to be recorded."""
    conductance, course = stay.truth.conductance_ml_per_min_per_cmh2o[:n], plan.course
    true = conductance > 0.0
    gone = int(seen[int(np.flatnonzero(true)[-1]) + 1 :].sum())
    if course.pattern == "intermittent":
        if gone > 5 * 60:
            return frozenset({"healing"} if gone > DAY else {"healing", "intermittent"})
        opened = np.flatnonzero(np.diff((seen & true).astype(np.int8), prepend=0) == 1)
        if (opened > n - DAY).sum() >= 5:
            return frozenset({"intermittent"})
        return frozenset({"intermittent", "persistent", "healing", "recurring"})
    stops, back = (round(60 * h) for h in (course.lasting_h, course.lasting_h + course.back_after_h)) if (
        course.pattern == "recurring"
    ) else (n, n)  # fmt: skip
    if back + 60 < n:
        if shown[:stops].any() and shown[back:].any() and seen[stops:back].sum() >= 6 * 60:
            return frozenset({"recurring"})
        return frozenset({"recurring", "persistent", "healing", None})
    unseen = int(seen[int(np.flatnonzero(shown)[-1]) + 1 :].sum())
    if gone < 60 and unseen > 6 * 60:  # still there, and hidden by the display or by less suction
        return frozenset({None, "persistent", "healing", "recurring"})
    if gone >= 30:
        return frozenset({"healing"} if gone >= 90 else {"healing", "persistent"})
    at = np.flatnonzero(shown & true)
    at = at[at >= n - DAY]
    spell = min(180, len(at) // 3)
    fell = np.median(conductance[at[-spell:]]) / np.median(conductance[at[:spell]]) if len(at) >= 60 else 0.75
    if 0.6 < fell <= 0.9:
        return frozenset({"healing", "persistent"})
    return frozenset({"healing"} if fell <= 0.6 else {"persistent"})


def show(found: list[Judged]) -> None:
    """Rows: what was due; columns: what was said."""
    rows: dict[str, Counter[str | None]] = {}
    for one in found:
        name = next(iter(one.due)) if len(one.due) == 1 else "either of several"
        rows.setdefault(str(name), Counter())[one.word] += 1
    right = Counter(
        (str(next(iter(one.due))) if len(one.due) == 1 else "either of several") for one in found if one.word in one.due
    )
    print(f"{'due':<20}" + "".join(f"{word or 'cannot tell':>13}" for word in WORDS) + f"{'right':>13}")
    for name in sorted(rows, key=lambda row: (row == "either of several", row)):
        counts = rows[name]
        tally = f"{right[name]} of {counts.total()}"
        print(f"{name:<20}" + "".join(f"{counts[word] or '':>13}" for word in WORDS) + f"{tally:>13}")
    for what, part in (("all", found), ("without faults", [one for one in found if one.faultless])):
        print(f"right, {what}: {sum(one.word in one.due for one in part)} of {len(part)}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=12)
    parser.add_argument("--seed", type=int, default=13)
    given = parser.parse_args()
    jobs = [(given.seed, course, number) for course in COURSES for number in range(given.each)]
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        show(list(pool.map(judged, jobs, chunksize=4)))


if __name__ == "__main__":
    main()
