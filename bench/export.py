"""Five days of a drain, judged, as a FHIR bundle with its trend minute by minute; and de-identified, and as tables.

The stay is simulated (healing, seed 1, cut or drawn out to 120 h, a reading every 2 s). Figures are medians of the
rounds in milliseconds. Goal: the bundle built, written as text and checked within 1 s.

    python bench/export.py [rounds]
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

HOURS = 120.0
GOAL_MS = 1000


def main(rounds: int) -> None:
    import slackwater
    from slackwater.export.bundle import bundle, bundle_json
    from slackwater.export.material import of_files
    from slackwater.export.tables import files
    from slackwater.export.unnamed import unnamed
    from slackwater.export.valid import faults, library
    from slackwater.simulate import scenario, simulate

    made = simulate(replace(scenario("healing"), hours=HOURS), 1)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    found = slackwater.assess(
        [slackwater.read_log(data, layout, "log.csv") for data in made.logs],
        chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv"),
        episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        protocol=slackwater.shipped_protocol("air-50-8h"),
    )
    of = of_files(found)
    assert found.leak_trace is not None
    began = time.perf_counter()
    library()
    loading_ms = 1000 * (time.perf_counter() - began)
    print(f"{len(found.leak_trace.minutes)} minutes; loading the library, once: {loading_ms:.0f} ms")
    whole = bundle(of, found.as_of_ms)
    text = bundle_json(whole)

    def one() -> Any:
        made = bundle(of, found.as_of_ms)
        return faults(made, bundle_json(made))

    print(f"bundle {len(text) / 1000:.0f} kB, {len(whole['entry'])} resources")
    took = timed("bundle built, as text and checked", one, rounds)
    timed("  of it: built, as text", lambda: bundle_json(bundle(of, found.as_of_ms)), rounds)
    timed("de-identified: stripped, moved, judged again", lambda: unnamed(of, bytes(16)), rounds)
    timed("tables as CSV", lambda: files(of, "csv"), rounds)
    timed("tables as Parquet", lambda: files(of, "parquet"), rounds)
    print(f"goal {GOAL_MS} ms: {'held' if took <= GOAL_MS else 'MISSED'}")


def timed(what: str, call: Callable[[], Any], rounds: int) -> float:
    took = []
    for _ in range(rounds):
        began = time.perf_counter()
        call()
        took.append(1000 * (time.perf_counter() - began))
    print(f"{what}: {statistics.median(took):.0f} ms (largest {max(took):.0f})")
    return statistics.median(took)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
