"""A total over a window is a range; what was not charted is not zero."""

from __future__ import annotations

import math

import numpy as np
import pytest

from behaviour.episode.typed_chart import HOUR, amount, at, changed, chart, level
from behaviour.episode.typed_fluid import record
from slackwater.episode.fluid import (
    Bounds,
    last_entry_end,
    last_entry_end_over_drains,
    total,
    total_over_drains,
    totals_at,
)
from slackwater.errors import UsageError

INF = math.inf
READ = record(chart(amount(8, 100), amount(12, 50), amount(16, ""), amount(20, 30)))


def bounds(start: float, end: float) -> tuple[float, float]:
    found = total(READ, at(start), at(end))
    return found.low_ml, found.high_ml


def test_intervals_inside_the_window_count_whole() -> None:
    assert total(READ, at(6), at(12)) == Bounds(150.0, 150.0, 1.0, (2, 3))


def test_an_interval_that_the_window_cuts_gives_a_low_and_a_high_bound() -> None:
    assert bounds(7, 12) == (50, 150)
    assert bounds(6, 10) == (100, 150)
    assert bounds(9, 11) == (0, 50)


def test_a_missing_interval_leaves_no_upper_bound() -> None:
    assert bounds(8, 20) == (80, INF)
    assert bounds(15, 20) == (30, INF)
    assert bounds(16, 20) == (30, 30)


def test_time_before_the_connection_and_after_the_last_entry_is_not_covered() -> None:
    assert bounds(5, 12) == (150, INF)
    assert bounds(16, 21) == (30, INF)
    assert bounds(30, 40) == (0, INF)


def test_the_share_that_is_covered_is_that_of_known_intervals() -> None:
    assert total(READ, at(8), at(20)).covered == pytest.approx(8 / 12)
    assert total(READ, at(4), at(8)).covered == 0.5


def test_a_window_of_no_length_holds_nothing_and_one_that_ends_first_is_refused() -> None:
    assert bounds(9, 9) == (0, 0)
    with pytest.raises(UsageError, match="ends before it begins"):
        bounds(9, 8)


def test_drains_add_up_and_one_that_is_unknown_leaves_the_sum_unknown() -> None:
    read = chart(amount(8, 100, "1"), amount(12, 50, "1"), amount(10, 7, "2"))
    one, two = (record(read, drain=label, known=("1", "2")) for label in ("1", "2"))
    assert total_over_drains([one, two], at(6), at(8)) == Bounds(100.0, 107.0, 1.0, (2, 4))
    assert total_over_drains([one, two], at(6), at(12)).low_ml == 157
    assert total_over_drains([one, two], at(6), at(12)).high_ml == INF
    assert last_entry_end_over_drains([one, two]) == at(10)


def test_no_drain_at_all_is_not_a_total_of_zero() -> None:
    assert total_over_drains([], at(6), at(8)) == Bounds(0.0, INF, 0.0, ())
    empty = record(chart())
    assert last_entry_end_over_drains([READ, empty]) is None
    assert last_entry_end_over_drains([]) is None
    assert last_entry_end(READ) == at(20)


def test_totals_at_many_moments_are_those_at_each() -> None:
    ends = np.array([[at(h) for h in (6, 7, 8, 9, 12)], [at(h) for h in (13, 16, 18, 20, 40)]], dtype=np.int64)
    low, high = totals_at(READ, ends, 4 * HOUR)
    each = [total(READ, int(end) - 4 * HOUR, int(end)) for end in ends.ravel()]
    assert low.tolist() == np.reshape([one.low_ml for one in each], ends.shape).tolist()
    assert high.tolist() == np.reshape([one.high_ml for one in each], ends.shape).tolist()


def test_totals_of_an_empty_record_are_unknown() -> None:
    low, high = totals_at(record(chart()), np.array([at(8)], dtype=np.int64), HOUR)
    assert (low.tolist(), high.tolist()) == ([0.0], [INF])
    with pytest.raises(UsageError, match="no length"):
        totals_at(READ, np.array([at(8)], dtype=np.int64), 0)


def test_sums_of_decimals_are_exact() -> None:
    tenths = record(chart(*(amount(7 + i / 10, 0.1) for i in range(10))))
    assert total(tenths, at(6), at(7.9)).high_ml == 1.0


# Check values of the published rules, as arithmetic; the rules themselves are judged elsewhere.


def test_twelve_hours_with_220_ml_do_not_answer_for_24_hours() -> None:
    read = record(chart(amount(10, 120), amount(18, 100)))
    assert total(read, at(6), at(18)).high_ml == 220
    day = total(read, at(-6), at(18))
    assert (day.low_ml, day.high_ml, day.covered) == (220, INF, 0.5)


def test_a_canister_changed_from_480_to_0_inside_the_window_gives_the_sum_of_both_parts() -> None:
    read = record(chart(level(6, 0), level(14, 480), changed(14), level(14, 0), level(20, 75)))
    found = total(read, at(6), at(20))
    assert found.low_ml == found.high_ml == 555


@pytest.mark.parametrize(("ml", "below"), [(29, True), (30, False)])
def test_a_child_of_5_kg_and_6_ml_per_kg_over_8_hours(ml: float, below: bool) -> None:
    # Crit Care Explor 2025;7:e1271: under 6 mL/kg over 8 h.
    found = total(record(chart(amount(14, ml))), at(6), at(14))
    assert (found.high_ml / 5 < 6) is below


def test_80_kg_and_the_first_two_hours() -> None:
    # Ann Thorac Surg 2021, PMID 32896545: 2.73 mL/kg in the first 2 h is 218.4 mL at 80 kg.
    found = total(record(chart(amount(7, 118.4), amount(8, 100))), at(6), at(8))
    assert found.low_ml == 218.4
    assert found.low_ml / 80 == pytest.approx(2.73)
