"""The published replay of 400 courses, on a simulated cohort of as many: does ours show what that one showed?

JTCVS Open 2024 tried rules from under 10 to under 100 mL/min over 4 to 12 h on 400 courses after lung resection, in
10-minute means. It found: stricter than 50 mL/min takes longer to be met, shorter than 8 h gives more and larger
recurrences (both P < .0001). The cohort here is drawn by `simulate --cohort`: how many leak, and how long, follows the
published durations after lobectomy (Okereke 2005); flows by the hour are our own assumption.

    python bench/published_replay.py [--stays 400] [--seed 7]
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import replace
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import cast

import numpy as np

from replay_scale import stay_of
from slackwater.audit.cohort import Cohort
from slackwater.audit.collect import How, Job, collect
from slackwater.audit.engines import Failed, engine
from slackwater.audit.replay import MET
from slackwater.audit.replays import Row, Summed, replay_grid, summed_grid
from slackwater.audit.shelf import Folder
from slackwater.audit.variants import Grid
from slackwater.protocol.load import load_protocol
from slackwater.protocol.shipped import shipped_bytes
from slackwater.simulate import cohort as simulated
from slackwater.simulate import write_bundle

LIMITS = tuple(float(limit) for limit in range(10, 101, 10))
HOURS = (4, 6, 8, 10, 12)
GRID = Grid(LIMITS, tuple(3600.0 * hours for hours in HOURS), bins_min=(10,))


def made(folder: Path, stays: int, seed: int) -> Cohort:
    for name, stay in simulated(stays, seed):
        write_bundle(stay, folder / "past" / name, removed=True)
    past = sorted((folder / "past").iterdir())
    jobs = [Job(str(one), order, partial(stay_of, one)) for order, one in enumerate(past, start=1)]
    with engine("2") as over:
        *_, cohort = collect(jobs, How(Folder(folder / "cohort"), bytes(32), "UTC", forecasts=False), over)
    return cast(Cohort, cohort)


def earlier_though_stricter(rows: list[list[Row]]) -> tuple[int, int]:
    """Pairs of neighbouring rules in one drain of which the stricter was met earlier, or alone: by limit, by hours.

    Of whole rules a longer run may be met first: the guard asks that the tube was shown open about its start.
    """
    by_limit = by_hours = 0
    for drain in rows:
        met = np.array([row.to_met_h if row.verdict == MET else np.inf for row in drain])
        met = met.reshape(len(LIMITS), len(HOURS))
        by_limit += int((met[1:] > met[:-1]).sum())
        by_hours += int((met[:, 1:] < met[:, :-1]).sum())
    return by_limit, by_hours


def told(rows: list[list[Row]], found: list[Summed]) -> None:
    """What the published replay looked at, by limit and hours."""
    sizes = np.nan_to_num(np.array([[row.largest for row in drain] for drain in rows]))  # nothing came: 0
    came = np.isfinite(np.array([[row.back_h for row in drain] for drain in rows]))
    by_limit, by_hours = earlier_though_stricter(rows)
    print(f"  stricter and yet earlier: {by_limit} by the limit, {by_hours} by the hours")
    hours = [float("nan") if one.to_met_h.value is None else one.to_met_h.value for one in found]
    for title, cells in (
        ("hours from connection until met, median of all", hours),
        ("air again after it was met, of 100 drains", list(100 * came.mean(axis=0))),
        ("the largest mean that came again, mL/min, averaged over all drains (none: 0)", list(sizes.mean(axis=0))),
    ):
        print(f"  {title}\n            " + "".join(f"{h:>8} h" for h in HOURS))
        for i, limit in enumerate(LIMITS):
            row = cells[i * len(HOURS) : (i + 1) * len(HOURS)]
            print(f"      <{limit:4.0f}  " + "".join(f"{one:10.1f}" for one in row))
    fewer = [came[:, place].sum() for place in range(len(GRID))]
    rises = sum(int(b > a) for i in range(0, len(GRID), len(HOURS)) for a, b in pairwise(fewer[i : i + len(HOURS)]))
    print(
        f"  a longer run with more recurrences than a shorter one: {rises} of {len(LIMITS) * (len(HOURS) - 1)} pairs\n"
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--stays", type=int, default=400)
    parser.add_argument("--seed", type=int, default=7)
    given = parser.parse_args()
    whole = load_protocol(shipped_bytes("air-50-8h"), "air-50-8h.toml")
    alone = replace(whole, tube_open=None, effort_seen=None, guards_waived=True)
    with tempfile.TemporaryDirectory() as place:
        cohort = made(Path(place), given.stays, given.seed)
        for name, rule in (("flow alone, as was published", alone), ("the whole rule, guards and all", whole)):
            with engine("2") as over:
                found = list(replay_grid(cohort, rule, GRID, over))
            print(f"{name}: {len(cohort.drains)} drains, {len(GRID)} rules", flush=True)
            told([one for one in found if not isinstance(one, Failed)], [one for _, one in summed_grid(GRID, found)])


if __name__ == "__main__":
    main()
