"""What a replay costs as a cohort grows, over processes, and against merely reading its columns.

Forty simulated stays are collected; the cohort is copies of them under other pseudonyms. Tried are 50 rules (10 limits
x 5 lengths, guards and all) on each. CPU time, that of workers included; the speed-up of two workers is wall time and
says something on a calm machine alone.

    python bench/replay_scale.py [--sizes 100,1000,10000] [--kinds 40]
"""

from __future__ import annotations

import argparse
import io
import json
import resource
import shutil
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import polars

from slackwater.audit.cohort import PARTS, SHEET, Cohort, close_cohort, part_of
from slackwater.audit.collect import How, Job, collect
from slackwater.audit.engines import engine
from slackwater.audit.replays import replay_grid, summed_grid
from slackwater.audit.shelf import Folder
from slackwater.audit.stays import Stay, of_bundle
from slackwater.audit.variants import Grid
from slackwater.cli.bundles import bundles_of, folders_of
from slackwater.protocol.load import load_protocol
from slackwater.protocol.rule import Protocol
from slackwater.protocol.shipped import shipped_bytes
from slackwater.simulate import cohort as simulated
from slackwater.simulate import write_bundle

GRID = Grid(tuple(float(limit) for limit in range(10, 101, 10)), tuple(3600.0 * hours for hours in (4, 6, 8, 10, 12)))


def kinds(folder: Path, count: int) -> Cohort:
    """Simulated stays, collected as an auditor would."""
    for number, (name, stay) in enumerate(simulated(count, 5), start=1):
        write_bundle(stay, folder / "past" / f"{number:04d}-{name}", removed=True)
    past = folders_of([str(folder / "past")])
    jobs = [Job(str(one), order, partial(stay_of, one)) for order, one in enumerate(past, start=1)]
    *_, made = collect(jobs, How(Folder(folder / "kinds"), bytes(32), "UTC", forecasts=False))
    assert isinstance(made, Cohort)
    return made


def stay_of(folder: Path, zone: str) -> Stay:
    return of_bundle(bundles_of(folder, "air-50-8h", zone, 0.05), zone)


def grown(made: Cohort, folder: Path, size: int) -> Cohort:
    """Copies under other pseudonyms."""
    at, source = Folder(folder), made.shelf
    assert isinstance(source, Folder)
    for number in range(size):
        kind = made.drains[number % len(made.drains)]
        name = f"{number:016x}"
        to = folder / part_of(name)
        shutil.copytree(source.path / part_of(kind), to)
        sheet = json.loads((to / SHEET).read_text())
        sheet["about"] |= {"drain": name, "patient": name, "order": number}
        (to / SHEET).write_text(json.dumps(sheet))
    return close_cohort(at, {"de_identified": True, "zone": "UTC", "failed": []})


def spent(body: Callable[[], object]) -> tuple[float, float]:
    """CPU (children included once they have ended) and wall seconds."""

    def cpu() -> float:
        used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
        return sum(one.ru_utime + one.ru_stime for one in used)

    cpu_then, then = cpu(), time.perf_counter()
    body()
    return cpu() - cpu_then, time.perf_counter() - then


def tried(cohort: Cohort, rule: Protocol, where: str) -> list[object]:
    with engine(where) as over:
        return list(summed_grid(GRID, replay_grid(cohort, rule, GRID, over)))


def read(cohort: Cohort) -> None:
    for drain in cohort.drains:
        for name in PARTS:
            polars.read_parquet(io.BytesIO(cohort.shelf.get(f"{part_of(drain)}/{name}.parquet")))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--sizes", default="100,1000,10000")
    parser.add_argument("--kinds", type=int, default=40)
    given = parser.parse_args()
    rule = load_protocol(shipped_bytes("air-50-8h"), "air-50-8h.toml")
    with tempfile.TemporaryDirectory() as place:
        made = kinds(Path(place), given.kinds)
        for size in (int(one) for one in given.sizes.split(",")):
            cohort = grown(made, Path(place) / f"cohort-{size}", size)
            columns, _ = spent(lambda cohort=cohort: read(cohort))
            rows: list[object] = []
            one, one_wall = spent(lambda cohort=cohort, rows=rows: rows.extend(tried(cohort, rule, "1")))
            again: list[object] = []
            two, two_wall = spent(lambda cohort=cohort, again=again: again.extend(tried(cohort, rule, "2")))
            largest = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
            print(
                f"{size:6d} drains, {len(GRID)} rules: {1000 * one / size:.2f} ms of CPU a drain "
                f"({one / columns:.1f}x reading the columns, {1000 * columns / size:.2f} ms); two workers "
                f"{one_wall / two_wall:.2f}x as fast, {1000 * two / size:.2f} ms of CPU a drain, the largest "
                f"{largest:.0f} MB; {'same' if repr(rows) == repr(again) else 'OTHER'} answers",
                flush=True,
            )
            shutil.rmtree(Path(place) / f"cohort-{size}")


if __name__ == "__main__":
    main()
