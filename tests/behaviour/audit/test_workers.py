"""`map` over several processes: as `map`, and gone afterwards."""

from __future__ import annotations

import math
import multiprocessing

import pytest

from slackwater.audit.workers import workers


def test_results_come_in_order_whatever_the_number_of_items() -> None:
    with workers(2) as over:
        for items in ([], [4], list(range(40))):
            assert list(over(math.sqrt, items)) == [math.sqrt(item) for item in items]


def test_one_is_map_itself() -> None:
    with workers(1) as over:
        assert over is map


def test_a_fault_there_is_raised_here_and_leaves_no_process() -> None:
    with pytest.raises(ValueError, match="math domain error"), workers(2) as over:
        list(over(math.sqrt, [1.0, -1.0, 4.0]))
    assert multiprocessing.active_children() == []
