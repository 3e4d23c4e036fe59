"""From the bytes of a log to an assessment, against what general CSV readers take merely to parse them.

File: 432,000 rows (5 days at 1 Hz), four columns `time,flow,pressure,set` separated by commas: ISO 8601 naive
stamps, whole mL/min in steps of 10, hPa with one decimal, a blank flow every 900th row; about 15 MB, from a seed.
Everything runs in one process, turn about, single-threaded where the reader lets us, median of the rounds, CPU time.
Peers (used if installed) at the best setting we found: pyarrow.csv with use_threads off and on, stamps typed;
polars read_csv with try_parse_dates; pandas C engine with ISO inferred (giving it a format is slower).

    python bench/ingest.py [rounds]
"""

from __future__ import annotations

import io
import statistics
import sys
import time
from collections.abc import Callable

import numpy as np

from slackwater.assessment.assess import assess
from slackwater.protocol.shipped import shipped
from slackwater.reading.layout import Layout
from slackwater.reading.read import read_log

ROWS = 432_000
LAYOUT = """
unconfirmed = []
[log]
separator = ","
decimal = "."
encoding = "utf-8"
skip_lines = 0
units_line = false
quote = '"'
missing = [""]
[time]
columns = ["time"]
format = "iso"
zone = "UTC"
marks = "end"
every = "1 s"
[flow]
column = "flow"
unit = "mL/min"
step = "10 mL/min"
rounding = "nearest"
statistic = "mean"
[pressure]
column = "pressure"
unit = "hPa"
suction_is = "negative"
[set_suction]
column = "set"
unit = "hPa"
"""


def log_bytes(seed: int = 1) -> bytes:
    """The file, from a seed."""
    rng = np.random.default_rng(seed)
    stamps = np.datetime_as_string(np.datetime64("2041-03-04T00:00:01") + np.arange(ROWS), unit="s")
    level = 300 * np.exp(-np.arange(ROWS) / 90_000)
    flow = (np.maximum(level + rng.normal(0, 12, ROWS), 0) / 10).round().astype(int) * 10
    pressure = -15 + 1.5 * np.sin(np.arange(ROWS) * 2 * np.pi / 3.9) + rng.normal(0, 0.3, ROWS)
    out = io.StringIO()
    out.write("time,flow,pressure,set\n")
    for i in range(ROWS):
        out.write(f"{stamps[i]},{'' if i % 900 == 450 else flow[i]},{pressure[i]:.1f},-15.0\n")
    return out.getvalue().encode()


def peers(data: bytes) -> dict[str, Callable[[], object]]:
    """The readers that are installed, each at its best setting."""
    found: dict[str, Callable[[], object]] = {}
    try:
        from pyarrow import csv

        for threads in (False, True):
            options = csv.ReadOptions(use_threads=threads)
            found[f"pyarrow {'threads' if threads else 'one thread'}"] = lambda options=options: csv.read_csv(
                io.BytesIO(data), read_options=options
            )
    except ImportError:
        print("pyarrow is not installed: pip install pyarrow", file=sys.stderr)
    try:
        import pandas

        found["pandas"] = lambda: pandas.read_csv(io.BytesIO(data), parse_dates=["time"])
    except ImportError:
        print("pandas is not installed: pip install pandas", file=sys.stderr)
    import polars

    found["polars"] = lambda: polars.read_csv(data, try_parse_dates=True)
    return found


def main(rounds: int = 9) -> None:
    data = log_bytes()
    layout = Layout.from_toml(LAYOUT, "bench.toml")
    rule = shipped("air-50-8h")
    log = read_log(data, layout, "bench.csv")
    runs: dict[str, Callable[[], object]] = {
        **peers(data),
        "slackwater: read": lambda: read_log(data, layout, "bench.csv"),
        "slackwater: assess, after reading": lambda: assess([log], protocol=rule),
        "slackwater: bytes to assessment": lambda: assess([read_log(data, layout, "bench.csv")], protocol=rule),
    }
    taken: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(rounds):
        for name, run in runs.items():
            before = time.process_time()
            run()
            taken[name].append((time.process_time() - before) * 1000)
    middle = {name: statistics.median(times) for name, times in taken.items()}
    fastest = min(value for name, value in middle.items() if not name.startswith("slackwater"))
    print(f"{ROWS} rows, {len(data) / 1e6:.1f} MB, median of {rounds} rounds, CPU time")
    for name, value in middle.items():
        print(f"  {name:<36} {value:8.1f} ms   {value / fastest:5.2f} x the fastest reader")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 9)
