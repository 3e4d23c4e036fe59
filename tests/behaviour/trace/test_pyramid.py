"""Blocks of 64 s."""

from __future__ import annotations

from behaviour.trace.made_log import NOON, SECOND, made_log
from slackwater.reading.log import NONE
from slackwater.trace.join import place
from slackwater.trace.pyramid import BLOCK_MS, pyramid


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
