"""Every point of every scenario, as a table: python tests/durability/full.py [SCENARIO...]

Takes two to three hours on one core; `--jobs 2` takes two sweeps at once. Ends with 1 where there was a fault.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from durability.scenarios import SCENARIOS
from durability.shim import built, why_not
from durability.sweep import Report, run

SWEEPS = ("kills", "errors", "power")
TORN = 16  # torn images of each moment
COLUMNS = ("scenario", "sweep", "points", "lost", "doubled", "half", "other faults", "worst reopening and check")
LIMITS = """Kills end the process, not the kernel. The loss of power is a model: it trusts a sync that succeeded, and
never halves a sector. None in n points is at most 3 in n, at 95 %, of what such points can show; it is no rate."""


def table(reports: list[Report]) -> Iterator[str]:
    yield "| " + " | ".join(COLUMNS) + " |"
    yield "|" + " --- |" * len(COLUMNS)
    for report in reports:
        known = [report.faults.get(kind, 0) for kind in ("lost", "doubled", "half")]
        cells = [report.points, *known, sum(report.faults.values()) - sum(known), f"{report.worst_s:.2f} s"]
        yield f"| {report.scenario} | {report.sweep} | " + " | ".join(str(cell) for cell in cells) + " |"
    yield f"| all | | {sum(report.points for report in reports)} | | | | | |"


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("scenario", nargs="*", help="all, if none is named")
    words.add_argument("--every", type=int, default=1, help="one point in so many")
    words.add_argument("--jobs", type=int, default=1)
    asked = words.parse_args()
    reason = why_not()
    if reason is not None:
        print(reason, file=sys.stderr)
        return 1
    names = asked.scenario or [scenario.name for scenario in SCENARIOS]
    started = time.perf_counter()
    with tempfile.TemporaryDirectory(prefix="shim-") as folder, ThreadPoolExecutor(asked.jobs) as threads:
        library = built(Path(folder))

        def one(what: tuple[str, str]) -> Report:
            report = run(library, "scenarios", *what, every=asked.every, torn=TORN)
            print(f"{time.perf_counter() - started:5.0f} s  {report}", file=sys.stderr, flush=True)
            return report

        reports = list(threads.map(one, [(name, sweep) for name in names for sweep in SWEEPS]))
    print("\n".join(table(reports)))
    print(f"\n{LIMITS}")
    return int(any(report.faults for report in reports))


if __name__ == "__main__":
    sys.exit(main())
