"""All limits and lengths in one pass: what asking each one, value by value, says."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from slackwater.audit.first_hold import NO_VALUE, blocks_of, first_holds
from slackwater.errors import UsageError

Shorts = NDArray[np.int16]


def one_by_one(values: Shorts, limits: list[int], lengths: list[int], gaps_break: bool) -> list[list[int]]:
    """The definition, written down: count how long nothing has broken the limit."""
    out = [[-1] * len(lengths) for _ in limits]
    for i, limit in enumerate(limits):
        run = 0
        for passed, value in enumerate(values.tolist(), start=1):
            run = 0 if value >= limit or (value == NO_VALUE and gaps_break) else run + 1
            for j, length in enumerate(lengths):
                if out[i][j] < 0 and run >= length:
                    out[i][j] = passed
    return out


def drawn(rng: np.random.Generator, longest: int) -> Shorts:
    n = int(rng.integers(0, longest))
    levels = np.repeat(rng.integers(0, 8, n // 50 + 1), 50)[:n]
    values = np.where(rng.random(n) < 0.92, levels, rng.integers(0, 8, n)).astype(np.int16)
    values[rng.random(n) < rng.random() ** 2 * 0.1] = NO_VALUE
    return values


@pytest.mark.parametrize("gaps_break", [True, False])
def test_every_limit_and_length_is_that_of_the_definition(gaps_break: bool) -> None:
    rng = np.random.default_rng(7)
    for _ in range(60):
        values = drawn(rng, 900)
        limits = np.unique(rng.integers(0, 9, 4)).tolist()
        lengths = np.unique(rng.integers(1, 300, 4)).tolist()
        found = first_holds(values, limits, lengths, gaps_break=gaps_break)
        assert found.tolist() == one_by_one(values, limits, lengths, gaps_break)


def test_blocks_that_are_kept_give_the_same() -> None:
    rng = np.random.default_rng(8)
    for _ in range(20):
        values = drawn(rng, 3000)
        kept = first_holds(values, [1, 3, 6], [70, 200, 500], blocks=blocks_of(values))
        assert kept.tolist() == first_holds(values, [1, 3, 6], [70, 200, 500]).tolist()


def test_what_else_is_asked_delays_it_within_the_run_alone() -> None:
    values = np.array([0, 0, 0, 0, 9, 0, 0, 0, 0, 0], np.int16)
    fits = np.array([[8, 8, 8, 8, 8, 8, 8, 8, 8, 10]], np.int64)  # all else holds at the ninth value alone
    assert first_holds(values, [5], [3], next_fit=fits).tolist() == [[9]]
    assert first_holds(values, [5], [3], next_fit=np.full((1, 10), 10, np.int64)).tolist() == [[-1]]


@pytest.mark.parametrize(
    ("length", "held"), [(8 * 60, 480), (8 * 60 + 1, -1)]
)  # "windows of exactly W are enough, W minus one unit are not": invariant M28
def test_a_run_of_just_the_length_is_enough(length: int, held: int) -> None:
    assert first_holds(np.zeros(480, np.int16), [1], [length]).tolist() == [[held]]


def test_a_value_at_the_limit_breaks_it() -> None:
    """'< 50 mL/min': 49.9 holds and 50.0 does not (rule of JTCVS Open 2024, check value 44), here in steps of 10."""
    assert first_holds(np.full(48, 4, np.int16), [5], [48]).tolist() == [[48]]
    assert first_holds(np.full(48, 5, np.int16), [5], [48]).tolist() == [[-1]]


@pytest.mark.parametrize(("limits", "lengths"), [([3, 3], [5]), ([3, 1], [5]), ([3], [5, 2]), ([3], [0])])
def test_numbers_out_of_order_are_refused(limits: list[int], lengths: list[int]) -> None:
    with pytest.raises(UsageError, match="increase"):
        first_holds(np.zeros(5, np.int16), limits, lengths)


def test_nothing_asked_and_nothing_recorded_are_answered() -> None:
    assert first_holds(np.zeros(5, np.int16), [], [5]).shape == (0, 1)
    assert first_holds(np.zeros(0, np.int16), [2], [5]).tolist() == [[-1]]
