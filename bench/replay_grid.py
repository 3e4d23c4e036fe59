"""First time that 50 rules (10 limits x 5 lengths) held in stays of 5 days at 1 Hz, all in memory.

Against the fastest way with numpy that we know (edges of the runs below each limit), and against one pass over the
same bytes (numpy's maximum). Answers of both ways must be the same. Also: what 1, 50, 500 and 5,000 rules cost, and
the same from disk (Parquet of int16), against merely reading that column.

    python bench/replay_grid.py [--stays 1000] [--kinds 40]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import polars
from numpy.typing import NDArray

from slackwater.audit.first_hold import NO_VALUE, blocks_of, first_holds

DAY = 86_400
LENGTH = 5 * DAY
LIMITS = np.arange(1, 11)  # device steps of 10 mL/min: under 10 to under 100
LENGTHS = np.array([4, 6, 8, 10, 12]) * 3600

Shorts = NDArray[np.int16]


def stay(rng: np.random.Generator) -> Shorts:
    """A leak that fades, breathing on it, coughs, gaps. Invented: only its bytes and branches matter."""
    t = np.arange(LENGTH)
    level = rng.uniform(20, 600) * np.exp(-t / (rng.lognormal(np.log(2.0), 0.6) * DAY))
    flow = level * (1 + 0.3 * np.sin(2 * np.pi * t / 4)) + rng.normal(0, 6, LENGTH)
    for at in rng.integers(0, LENGTH, 60):
        flow[at : at + 5] += rng.uniform(20, 300)
    steps = np.clip(np.rint(flow / 10), 0, 3000).astype(np.int16)
    for at in rng.integers(0, LENGTH, rng.integers(0, 6)):
        steps[at : at + rng.integers(10, 4000)] = NO_VALUE
    return steps


def run_edges(values: Shorts, limits: NDArray[np.int64], lengths: NDArray[np.int64]) -> NDArray[np.int64]:
    """numpy: where each limit is broken, and how long nothing broke it before."""
    out = np.full((len(limits), len(lengths)), -1, np.int64)
    gap = values == NO_VALUE
    for i, limit in enumerate(limits):
        bad = np.flatnonzero((values >= limit) | gap)
        edges = np.concatenate(([-1], bad, [len(values)]))
        runs = np.diff(edges) - 1
        for j, length in enumerate(lengths):
            first = np.argmax(runs >= length)
            if runs[first] >= length:
                out[i, j] = edges[first] + 1 + length
    return out


def timed(body: Callable[[], object]) -> float:
    began = time.process_time()
    body()
    return time.process_time() - began


def from_disk(stays: Sequence[Shorts]) -> None:
    """Files of one column each, as small as Parquet makes them; in the page cache when they are read."""
    with tempfile.TemporaryDirectory() as place:
        paths = [Path(place) / f"{number}.parquet" for number in range(len(stays))]
        for path, one in zip(paths, stays, strict=True):
            polars.DataFrame({"flow": one}).write_parquet(path, compression="zstd", statistics=False)

        def read(path: Path) -> Shorts:
            return polars.read_parquet(path)["flow"].to_numpy()

        rounds = []
        for _ in range(5):
            reading = timed(lambda: [read(path) for path in paths]) / len(paths)
            whole = timed(lambda: [first_holds(read(path), LIMITS, LENGTHS) for path in paths]) / len(paths)
            rounds.append((whole / reading, reading, whole))
        ratio, reading, whole = sorted(rounds)[2]
        print(f"from disk: {whole * 1e3:.2f} ms a stay, {ratio:.2f}x reading the column ({reading * 1e3:.2f} ms)")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--stays", type=int, default=1000)
    parser.add_argument("--kinds", type=int, default=40, help="different stays; the rest are copies in other memory")
    given = parser.parse_args()
    rng = np.random.default_rng(1)
    kinds = [stay(rng) for _ in range(given.kinds)]
    stays = [kinds[n % len(kinds)].copy() for n in range(given.stays)]
    wrong = sum(not np.array_equal(first_holds(one, LIMITS, LENGTHS), run_edges(one, LIMITS, LENGTHS)) for one in kinds)
    print(f"{len(kinds)} different stays, {wrong} with another answer than numpy's")

    some = stays[: max(1, min(len(stays), 100))]
    rounds = []
    for _ in range(3):
        whole = timed(lambda: [one.max() for one in stays]) / len(stays)
        ours = timed(lambda: [first_holds(one, LIMITS, LENGTHS) for one in stays]) / len(stays)
        theirs = timed(lambda: [run_edges(one, LIMITS, LENGTHS) for one in some]) / len(some)
        rounds.append((theirs / ours, ours / whole, whole, ours, theirs))
    ratio, passes, whole, ours, theirs = sorted(rounds)[1]
    print(
        f"a stay: one pass {whole * 1e3:.3f} ms, ours {ours * 1e3:.3f} ms, numpy {theirs * 1e3:.2f} ms of CPU; "
        f"{ratio:.0f}x numpy, {passes:.2f} passes; {len(stays)} stays: {ours * len(stays):.2f} s"
    )
    from_disk(some)
    kept = [blocks_of(one) for one in some]
    stored = timed(lambda: [first_holds(v, LIMITS, LENGTHS, blocks=b) for v, b in zip(some, kept, strict=True)])
    print(f"a stay whose blocks are kept: {stored / len(some) * 1e3:.3f} ms")
    for limits, lengths in ((1, 1), (10, 5), (50, 10), (100, 50)):
        ask = np.arange(1, limits + 1), np.linspace(4, 12, lengths).astype(np.int64) * 0 + 4 * 3600
        spans = 4 * 3600 + np.arange(lengths, dtype=np.int64) * (8 * 3600 // max(1, lengths - 1 or 1))
        took = timed(lambda ask=ask[0], spans=spans: [first_holds(one, ask, spans) for one in some]) / len(some)
        print(f"{limits * lengths:5d} rules: {took * 1e3:.3f} ms a stay")


if __name__ == "__main__":
    main()
