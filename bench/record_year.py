"""A ward's year: drains recorded, backed up, restored elsewhere, and still judged the same.

The drains are the simulator's cohort (seed 1): any course, unit, charting, up to three faults, 24 to 160 h, 1 to 60 s
rows. They are simulated once into a folder and found there again. Each is recorded as `slackwater record FOLDER`
does: files read, logs and chart put on the disk, one act, tables worked out, one act. Then the record is verified,
backed up (which reads the backup back), restored to another place (which verifies it), and twenty drains drawn at
random must give the same JSON document in both places, to the letter. Seconds by the clock and of the processor;
sizes are sums of file sizes.

    python bench/record_year.py [--drains 100] [--workers 1] [--stays FOLDER] [--record PLACE] [--to PLACE]

--record, --to: empty places, folders or postgresql://...; by default folders that are deleted at the end.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from typing import Any

SEED, ASKED = 1, 20


def stay_folder(stays: Path, number: int) -> Path:
    """The folder of stay `number` of the cohort, simulated if it is not there."""
    folder = stays / f"{number:04d}"
    if not folder.exists():
        import numpy as np

        from slackwater.simulate import simulate, write_bundle
        from slackwater.simulate.draw import draw_scenario

        rng = np.random.default_rng(np.random.SeedSequence(SEED, spawn_key=(number,)))
        drawn = draw_scenario(rng, f"stay-{number:04d}")
        drawn = replace(drawn, patient=replace(drawn.patient, id=f"SIM-{SEED}-{number:04d}"))
        beside = stays / f".{number:04d}"
        write_bundle(simulate(drawn, int(rng.integers(2**31))), beside)
        beside.rename(folder)  # so that one that was stopped is made again
    return folder


@cache
def opened(place: str) -> Any:
    """One open record for each process and place."""
    from slackwater.store import open_record

    return open_record(place, create=True)


def record_one(place: str, folder: Path) -> tuple[float, float, int]:
    """Record a drain's folder; returns seconds, those of the processor, and the bytes that were given."""
    from slackwater.cli.bundles import bundles_of
    from slackwater.store.take_in import take_in

    before, used = time.perf_counter(), time.process_time()
    take_in(opened(place), bundles_of(folder, "air-50-8h", None, 1.0), by="bench")
    given = sum(path.stat().st_size for path in folder.iterdir() if not path.name.startswith("truth"))
    return time.perf_counter() - before, time.process_time() - used, given


def judged(place: str, drain: str) -> str:
    """The JSON document of a recorded drain."""
    from slackwater.assessment.document import document
    from slackwater.store.read_out import assess_drain

    return json.dumps(document(assess_drain(opened(place), drain)), ensure_ascii=False, allow_nan=False)


def spread(doing: str, function: Callable[[Any], Any], items: Iterable[Any], processes: int) -> list[Any]:
    """`map` over processes, with progress on stderr."""
    from slackwater.audit.workers import workers
    from slackwater.cli.progress import Progress

    todo, found = list(items), []
    with workers(processes) as over, Progress(doing, len(todo), "drains") as progress:
        for one in over(function, todo):
            found.append(one)
            progress.at(len(found))
    return found


def timed(what: str, function: Callable[[], Any]) -> Any:
    before, used = time.perf_counter(), time.process_time()
    found = function()
    print(f"{what:<44} {time.perf_counter() - before:8.1f} s  processor {time.process_time() - used:.1f} s")
    return found


def size(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def main() -> int:
    asked = argparse.ArgumentParser(description="A ward's year of drains in a record.")
    asked.add_argument("--drains", type=int, default=100)
    asked.add_argument("--workers", type=int, default=1)
    asked.add_argument("--stays", type=Path, default=Path(tempfile.gettempdir(), "slackwater-bench-stays"))
    asked.add_argument("--record")
    asked.add_argument("--to")
    told = asked.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        return measured(told, Path(scratch))


def measured(told: argparse.Namespace, scratch: Path) -> int:
    from slackwater.store.backup import backup, restore
    from slackwater.store.verify import verify

    place, elsewhere = told.record or str(scratch / "record"), told.to or str(scratch / "elsewhere")
    told.stays.mkdir(parents=True, exist_ok=True)
    simulated = partial(stay_folder, told.stays)
    folders = spread("simulating", simulated, range(1, told.drains + 1), told.workers)
    if opened(place).head() is not None:
        print(f"{place} holds a record already: give an empty place", file=sys.stderr)
        return 2

    before = time.perf_counter()
    took = spread("recording", partial(record_one, place), folders, told.workers)
    wall, seconds = time.perf_counter() - before, sorted(one for one, _, _ in took)
    processor, given = sum(one for _, one, _ in took), sum(one for _, _, one in took)
    record = opened(place)
    kept = size(record.place.folder)
    count = len(folders)
    print(
        f"{count} drains, {given / 1e6:.0f} MB of files, recorded by {told.workers} process(es) in {record.place.says}"
    )
    print(f"{'recorded, all of them':<44} {wall:8.1f} s  processor {processor:.1f} s")
    print(f"{'  a drain, on average':<44} {wall / count:8.2f} s  processor {processor / count:.2f} s")
    print(f"{'  one drain: middle, 99th of 100, longest':<44} {seconds[count // 2]:8.2f} s "
          f"{seconds[min(count - 1, count * 99 // 100)]:.2f} s {seconds[-1]:.2f} s")  # fmt: skip
    print(f"{'  on the disk':<44} {kept / 1e6:8.1f} MB {kept / count / 1e3:.0f} kB a drain, "
          f"{kept / given:.2f} of what was given")  # fmt: skip

    found = timed("verified", lambda: verify(record))
    made = timed("backed up and read back", lambda: backup(record, scratch / "backup"))
    print(
        f"{'  the backup':<44} {size(scratch / 'backup') / 1e6:8.1f} MB {made['acts']} acts, {len(made['files'])} files"
    )
    back = timed("restored elsewhere and verified", lambda: restore(scratch / "backup", elsewhere))
    chosen = random.Random(SEED).sample([drain.key for drain in record.things("drain")], min(ASKED, count))
    same = sum(judged(place, drain) == judged(elsewhere, drain) for drain in chosen)
    print(f"{'the same document in both places':<44} {same:8d} of {len(chosen)}")
    largest = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10
    print(f"{'largest resident size of this process':<44} {largest:8d} MB")
    whole = not found.faults and not back.faults and back.head == found.head == made["head"]
    print(f"{'one head, no fault':<44} {'yes' if whole else 'NO':>8}")
    return 0 if whole and same == len(chosen) else 1


if __name__ == "__main__":
    sys.exit(main())
