"""Paths through the trend filter's chain, one by one: the check of the exact recursion. Slow on purpose and plain."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.filter.trend import Chain

Floats = NDArray[np.float64]


def sampled_records(
    links: Chain, state: Floats, quiet: Floats, blocks: int, paths: int, seed: int
) -> NDArray[np.bool_]:
    """paths x blocks: does the block's record keep the clause? From the chances of each state now (`state`)
    and, blocks x states, of each state's block keeping it (`quiet`)."""
    rng = np.random.default_rng(seed)
    at = rng.choice(len(links), size=paths, p=state / state.sum())
    cumulated = np.cumsum(links.passes, axis=1)
    kept = np.empty((paths, blocks), dtype=np.bool_)
    for k in range(blocks):
        at = (cumulated[at] < rng.random(paths)[:, None]).sum(axis=1).clip(0, len(links) - 1)
        kept[:, k] = rng.random(paths) < quiet[k, at]
    return kept


def first_run_blocks(kept: NDArray[np.bool_], lasting: int, under_way: int = 0) -> Floats:
    """Blocks until a run of `lasting` kept blocks first completes; inf where it does not. `under_way`: kept so far.

    >>> first_run_blocks(np.array([[True, True, False, True, True]]), 3, under_way=1).tolist()
    [2.0]
    """
    run = np.full(len(kept), under_way)
    out = np.full(len(kept), np.inf)
    for k in range(kept.shape[1]):
        run = np.where(kept[:, k], run + 1, 0)
        now = (run >= lasting) & np.isinf(out)
        out[now] = k + 1
    return out
