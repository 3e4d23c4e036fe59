"""Charted amounts become intervals: from the entry before to this one, and a blank is not zero."""

from __future__ import annotations

import math

from behaviour.episode.typed_chart import amount, at, chart, level, row
from behaviour.episode.typed_fluid import hours, record
from slackwater.episode.chart import known_at
from slackwater.episode.fluid import last_entry_end, total

INF = math.inf


def test_an_amount_is_what_came_since_the_entry_before_and_the_first_since_connection() -> None:
    assert hours(record(chart(amount(8, 100), amount(12, 50)))) == [
        (6, 8, 100, 100, "known"),
        (8, 12, 50, 50, "known"),
    ]


def test_a_blank_makes_its_own_interval_missing_and_no_other() -> None:
    assert hours(record(chart(amount(8, 100), amount(12, ""), amount(16, 30)))) == [
        (6, 8, 100, 100, "known"),
        (8, 12, 0, INF, "blank"),
        (12, 16, 30, 30, "known"),
    ]


def test_a_zero_is_zero() -> None:
    assert hours(record(chart(amount(8, 0)))) == [(6, 8, 0, 0, "known")]


def test_two_amounts_that_disagree_make_their_interval_missing() -> None:
    assert hours(record(chart(amount(8, 100), amount(8, 200), amount(12, 50)))) == [
        (6, 8, 0, INF, "conflict"),
        (8, 12, 50, 50, "known"),
    ]


def test_without_a_connection_the_first_amount_has_no_beginning_and_no_upper_bound() -> None:
    read = record(chart(amount(8, 100), amount(12, 50)), connected=None)
    assert hours(read)[0] == (None, 8, 100, INF, "unknown")
    assert total(read, at(8), at(12)).high_ml == 50
    early = total(read, at(7), at(12))
    assert (early.low_ml, early.high_ml) == (50, INF)


def test_entries_before_the_connection_count_for_nothing_and_are_noted() -> None:
    read = record(chart(amount(5, 900), amount(8, 100)))
    assert hours(read) == [(6, 8, 100, 100, "known")]
    assert "line 2" in read.notes[0]


def test_an_amount_at_the_instant_of_connection_came_in_that_instant() -> None:
    read = record(chart(amount(6, 400), amount(8, 100)))
    assert total(read, at(6) - 1, at(8)).low_ml == 500
    assert total(read, at(6), at(8)).low_ml == total(read, at(6), at(8)).high_ml == 100


def test_order_is_by_the_time_charted_for_not_by_when_it_was_written() -> None:
    late = chart(amount(12, 50), amount(8, 100, recorded=13), amount(10, 20, recorded=9))
    assert [one[:3] for one in hours(record(late))] == [(6, 8, 100), (8, 10, 20), (10, 12, 50)]


def test_at_an_earlier_moment_a_late_entry_was_not_there() -> None:
    read = chart(amount(8, 100), amount(10, 20, recorded=14), amount(12, 50))
    assert [one[:3] for one in hours(record(known_at(read, at(13))))] == [(6, 8, 100), (8, 12, 50)]
    assert last_entry_end(record(known_at(read, at(7)))) is None


def test_fluid_put_in_is_shown_and_never_subtracted() -> None:
    read = record(chart(row(7, "instilled", 50, "mL"), amount(8, 100)))
    assert [(put.time, put.ml, put.line) for put in read.instilled] == [(at(7), 50.0, 2)]
    assert total(read, at(6), at(8)).high_ml == 100


def test_fluid_drained_before_is_in_no_total() -> None:
    assert hours(record(chart(row(7, "drained_before", 900, "mL"), amount(8, 100)))) == [(6, 8, 100, 100, "known")]


def test_levels_are_not_used_where_amounts_are_charted_be_they_blank() -> None:
    assert hours(record(chart(level(7, 10), amount(8, ""), level(9, 20)))) == [(6, 8, 0, INF, "blank")]


def test_without_fluid_charted_nothing_is_known() -> None:
    read = record(chart(row(8, "swing", "present")))
    assert (len(read), read.source, last_entry_end(read)) == (0, "none", None)
    assert total(read, at(6), at(8)).high_ml == INF


def test_each_drain_has_its_own_intervals() -> None:
    read = chart(amount(8, 100, drain="1"), amount(10, 7, drain="2"), amount(12, 50, drain="1"))
    assert [one[:3] for one in hours(record(read, drain="1", known=("1", "2")))] == [(6, 8, 100), (8, 12, 50)]
    assert [one[:3] for one in hours(record(read, drain="2", known=("1", "2")))] == [(6, 10, 7)]


def test_rows_without_a_drain_are_counted_for_the_only_one_known() -> None:
    assert hours(record(chart(amount(8, 100)), drain="1", known=("1",))) == [(6, 8, 100, 100, "known")]


def test_rows_without_a_drain_are_counted_for_none_of_several_but_may_be_this_ones() -> None:
    read = record(chart(amount(8, 100, "1"), amount(10, 70), amount(12, 50, "1")), drain="1", known=("1", "2"))
    assert hours(read) == [(6, 8, 100, 100, "known"), (8, 12, 50, 120, "unknown")]
    assert read.not_placed == (3,)
    assert "counted for none: line 3" in read.notes[0]


def test_losing_the_label_of_a_row_never_makes_the_total_look_smaller() -> None:
    whole, lost = (
        total(
            record(
                chart(amount(8, 100, "1"), amount(10, 200, label), amount(12, 50, "1")),
                drain="1",
                known=("1", "2"),
            ),
            at(6),
            at(12),
        )
        for label in ("1", "")
    )
    assert (whole.low_ml, whole.high_ml) == (350, 350)
    assert lost.low_ml <= 350 <= lost.high_ml


def test_a_blank_row_without_a_drain_leaves_no_upper_bound() -> None:
    read = record(chart(amount(8, 100, "1"), amount(10, ""), amount(12, 50, "1")), drain="1", known=("1", "2"))
    assert hours(read)[1] == (8, 12, 50, INF, "unknown")
