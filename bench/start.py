"""A cold command: process time and memory of `--help` and of one `assess` on a 3-day log of one row a minute.

The log is simulated from a seed by our own simulator (4,320 rows, chart and episode beside it). Each command runs
as a process of its own, byte code present, disk warm; the figure is user + system time of that process, median and
least of the rounds, and its largest resident size. The goals: 0.15 s for `--help`, 0.6 s for `assess`, under 300 MB
(the last also on five days at 1 Hz: `--large`).

    python bench/start.py [rounds] [--large]
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
from pathlib import Path

COMMAND = [sys.executable, "-m", "slackwater"]


def run(arguments: list[str], folder: str) -> tuple[float, float]:
    """(seconds of processor time, MB at the most) of one process."""
    child = os.fork()
    if child == 0:
        os.chdir(folder)
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.execv(COMMAND[0], [*COMMAND, *arguments])
    _, _, used = os.wait4(child, 0)
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def written(folder: Path, cadence_s: int, days: float) -> list[str]:
    """Write a stay and return the arguments that judge it."""
    from dataclasses import replace

    from slackwater.simulate import scenario, simulate, write_bundle

    chosen = scenario("healing")
    chosen = replace(chosen, hours=24 * days, unit=replace(chosen.unit, cadence_s=cadence_s))
    write_bundle(simulate(chosen, 1), folder)
    return ["assess", "log.csv", "--layout", "layout.toml", "--chart", "chart.csv", "--episode", "episode.toml",
            "--protocol", "air-50-8h"]  # fmt: skip


def main() -> None:
    rounds = next((int(a) for a in sys.argv[1:] if a.isdecimal()), 7)
    with tempfile.TemporaryDirectory() as scratch:
        small, large = Path(scratch, "small"), Path(scratch, "large")
        tasks = {"--help": ["--help"], "assess, 3 days, a row a minute": written(small, 60, 3)}
        folders = dict.fromkeys(tasks, str(small))
        if "--large" in sys.argv:
            tasks["assess, 5 days at 1 Hz"] = written(large, 1, 5)
            folders["assess, 5 days at 1 Hz"] = str(large)
        for name, arguments in tasks.items():
            run(arguments, folders[name])
            taken = [run(arguments, folders[name]) for _ in range(rounds)]
            seconds = [t for t, _ in taken]
            middle, least, memory = statistics.median(seconds), min(seconds), max(m for _, m in taken)
            print(f"{name:<34} {middle:.3f} s (least {least:.3f}), {memory:.0f} MB")


if __name__ == "__main__":
    main()
