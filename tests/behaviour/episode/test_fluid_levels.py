"""Where only canister levels are charted, what drained is how they rise, through every change of canister."""

from __future__ import annotations

import math

from behaviour.episode.typed_chart import at, changed, chart, level, row
from behaviour.episode.typed_fluid import hours, record
from slackwater.episode.fluid import total

INF = math.inf


def test_within_one_canister_the_rise_is_what_drained() -> None:
    read = record(chart(level(6, 0), level(8, 100), level(12, 150)))
    assert read.source == "levels"
    assert hours(read) == [(6, 8, 100, 100, "known"), (8, 12, 50, 50, "known")]


def test_from_connection_to_the_first_level_came_at_most_that_level() -> None:
    assert hours(record(chart(level(8, 100)))) == [(6, 8, 0, 100, "unknown")]


def test_a_fresh_canister_at_connection_settles_it() -> None:
    assert hours(record(chart(changed(6), level(8, 100)))) == [(6, 8, 100, 100, "known")]


def test_changed_with_both_levels_at_the_change_the_output_is_the_sum_of_both_parts() -> None:
    read = record(chart(level(6, 0), level(8, 300), level(10, 480), changed(10), level(10, 0), level(12, 120)))
    assert [one[2:4] for one in hours(read)] == [(300, 300), (180, 180), (120, 120)]
    assert total(read, at(6), at(12)).high_ml == total(read, at(6), at(12)).low_ml == 600


def test_changed_with_the_full_level_at_the_change_the_fresh_one_begins_at_zero() -> None:
    read = record(chart(level(8, 300), level(10, 480), changed(10), level(12, 120)))
    assert [one[2:4] for one in hours(read)][1:] == [(180, 180), (120, 120)]


def test_changed_without_a_level_what_came_before_the_change_is_unknown() -> None:
    read = record(chart(level(8, 300), changed(10), level(12, 120)))
    assert hours(read)[1:] == [(8, 10, 0, INF, "unknown"), (10, 12, 120, 120, "known")]


def test_a_zero_at_the_change_is_the_fresh_canister_and_says_nothing_of_the_full_one() -> None:
    read = record(chart(level(6, 0), changed(10), level(10, 0), level(12, 120)))
    assert hours(read) == [(6, 10, 0, INF, "unknown"), (10, 12, 120, 120, "known")]


def test_a_lower_level_at_the_change_is_the_fresh_canister() -> None:
    read = record(chart(level(8, 300), changed(10), level(10, 20), level(12, 120)))
    assert hours(read)[1:] == [(8, 10, 0, INF, "unknown"), (10, 12, 100, 100, "known")]


def test_a_level_that_falls_by_itself_is_a_conflict_and_never_negative() -> None:
    read = record(chart(level(6, 0), level(8, 300), level(10, 200), level(12, 260)))
    assert hours(read)[1:] == [(8, 10, 0, INF, "conflict"), (10, 12, 60, 60, "known")]


def test_a_blank_level_makes_the_stretches_beside_it_missing() -> None:
    read = record(chart(level(6, 0), level(8, ""), level(10, 200), level(12, 260)))
    assert hours(read) == [(6, 8, 0, INF, "blank"), (8, 10, 0, INF, "blank"), (10, 12, 60, 60, "known")]


def test_two_levels_that_disagree_make_the_stretches_beside_them_missing() -> None:
    read = record(chart(level(6, 0), level(8, 100), level(8, 110), level(10, 200)))
    assert hours(read) == [(6, 8, 0, INF, "conflict"), (8, 10, 0, INF, "blank")]


def test_a_change_left_blank_may_be_a_change() -> None:
    read = record(chart(level(6, 0), row(8, "canister", ""), level(10, 200)))
    assert [one[3] for one in hours(read)] == [INF, INF]


def test_without_a_connection_the_first_level_only_begins_the_count() -> None:
    read = record(chart(level(8, 100), level(10, 150)), connected=None)
    assert hours(read) == [(None, 8, 0, INF, "unknown"), (8, 10, 50, 50, "known")]
