"""Blocks of 64 s, built at once or in pieces."""

from __future__ import annotations

import numpy as np
import pytest

from behaviour.trace.made_log import NOON, SECOND, made_log
from slackwater.errors import UsageError
from slackwater.reading.log import NONE
from slackwater.trace.join import place
from slackwater.trace.pyramid import BLOCK_MS, merge, pyramid


def test_a_block_holds_the_extremes_and_the_time_covered() -> None:
    trace = place([made_log([0, 1, 2, 64, 65], [30, None, 10, 50, 70])])
    blocks = pyramid(trace, NOON, NOON + 192 * SECOND)
    assert blocks.low.tolist() == [10_000, 50_000, NONE]
    assert blocks.high.tolist() == [30_000, 70_000, NONE]
    assert blocks.covered_ms.tolist() == [2000, 2000, 0]


def test_a_row_counts_in_both_blocks_it_touches() -> None:
    blocks = pyramid(place([made_log([60], [20], every=10)]), NOON, NOON + 2 * BLOCK_MS)
    assert blocks.low.tolist() == [20_000, 20_000]
    assert blocks.covered_ms.tolist() == [4000, 6000]


def test_the_last_block_is_whole() -> None:
    assert len(pyramid(place([made_log([0], [0])]), NOON, NOON + 1).low) == 1


def test_pieces_merge_to_what_one_pass_gives() -> None:
    seconds = np.flatnonzero(np.arange(1000) % 7).tolist()
    flow = [None if s % 11 == 0 else s % 90 * 10 for s in seconds]
    whole = pyramid(place([made_log(seconds, flow)]), NOON, NOON + 1000 * SECOND)
    cut = 500
    first = pyramid(place([made_log(seconds[:cut], flow[:cut])]), NOON, NOON + seconds[cut] * SECOND)
    start = NOON + seconds[cut] * SECOND // BLOCK_MS * BLOCK_MS
    second = pyramid(place([made_log(seconds[cut:], flow[cut:])]), start, NOON + 1000 * SECOND)
    for joined in (merge(first, second), merge(second, first)):
        assert joined.start_ms == whole.start_ms
        assert joined.low.tolist() == whole.low.tolist()
        assert joined.high.tolist() == whole.high.tolist()
        assert joined.covered_ms.tolist() == whole.covered_ms.tolist()


def test_blocks_between_two_pieces_are_empty() -> None:
    trace = place([made_log([0, 300], [10, 20])])
    joined = merge(pyramid(trace, NOON, NOON + BLOCK_MS), pyramid(trace, NOON + 4 * BLOCK_MS, NOON + 5 * BLOCK_MS))
    assert joined.low.tolist() == [10_000, NONE, NONE, NONE, 20_000]
    assert joined.covered_ms.tolist() == [1000, 0, 0, 0, 1000]


def test_pieces_that_lie_on_two_grids_are_refused() -> None:
    trace = place([made_log([0], [0])])
    with pytest.raises(UsageError, match="do not lie on one grid"):
        merge(pyramid(trace, NOON, NOON + BLOCK_MS), pyramid(trace, NOON + 1, NOON + 2))


def test_a_time_that_ends_before_it_starts_is_refused() -> None:
    with pytest.raises(UsageError, match="Let it end after its start"):
        pyramid(place([made_log([0], [0])]), NOON, NOON - 1)
