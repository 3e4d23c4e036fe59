"""Whose entry is it: this drain's, its space's, or the patient's?"""

from __future__ import annotations

import pytest

from behaviour.episode.typed_chart import amount, chart, row
from slackwater.episode.space import (
    drains_known,
    drains_not_placed,
    drains_of_space,
    entries_for,
    not_placed,
    this_drain,
)
from slackwater.episode.types import Chart, Episode
from slackwater.errors import UsageError

ONE = Episode(drain_number="1")
TWO_IN_SPACE = Episode(drain_number="1", shares_space_with=("2",), shares_space_told=True)


def lines(read: Chart) -> list[int]:
    return [entry.line for entry in read.entries]


def test_the_drains_known_are_those_of_the_episode_and_of_the_chart() -> None:
    read = chart(amount(8, 1, drain="4"), amount(9, 1), amount(10, 1, drain="1"))
    episode = Episode(drain_number="1", shares_space_with=("2",), shares_unit_with=("3",))
    assert drains_known(episode, read) == ("1", "2", "3", "4")
    assert drains_known(Episode(), chart()) == ()


def test_rows_without_a_drain_are_this_drains_if_only_one_is_known() -> None:
    read = chart(amount(8, 10), amount(9, 20, drain="1"))
    assert lines(entries_for(read, "drain", ONE)) == [2, 3]
    assert lines(entries_for(read, "drain", Episode())) == [2, 3]
    assert not_placed(read, ONE) == ()


def test_rows_without_a_drain_count_for_none_if_two_are_known() -> None:
    read = chart(amount(8, 10), amount(9, 20, drain="1"), amount(9, 5, drain="2"))
    assert lines(entries_for(read, "drain", ONE)) == [3]
    assert [entry.line for entry in not_placed(read, ONE)] == [2]
    assert lines(entries_for(read, "patient", ONE)) == [2, 3, 4]


def test_the_other_drains_rows_count_for_the_space_only_if_it_is_the_same_space() -> None:
    read = chart(amount(9, 20, drain="1"), amount(9, 5, drain="2"), amount(9, 7, drain="3"))
    assert lines(entries_for(read, "drain", TWO_IN_SPACE)) == [2]
    assert lines(entries_for(read, "space", TWO_IN_SPACE)) == [2, 3]
    assert drains_of_space(TWO_IN_SPACE, read) == ("1", "2")


def test_what_is_said_of_the_patient_counts_for_every_drain() -> None:
    read = chart(row(8, "distress", "yes", drain="2"), row(8, "spo2", 90, "%"), row(8, "swing", "absent", drain="2"))
    for scope in ("drain", "space"):
        assert lines(entries_for(read, scope, ONE)) == [2, 3]


def test_a_film_without_a_drain_counts_where_all_drains_lie_in_one_space() -> None:
    read = chart(row(8, "chest_xray", "expanded"), amount(9, 5, drain="2"))
    assert lines(entries_for(read, "drain", TWO_IN_SPACE)) == [2]
    assert lines(entries_for(read, "drain", ONE)) == []
    assert lines(entries_for(read, "patient", ONE)) == [2, 3]


def test_an_episode_without_a_number_is_the_only_drain_there_is() -> None:
    assert this_drain(Episode(), chart(amount(8, 1, drain="A"))) == "A"
    assert this_drain(Episode(), chart(amount(8, 1))) is None
    assert drains_of_space(Episode(), chart(amount(8, 1))) == (None,)


def test_which_of_two_drains_an_episode_without_a_number_means_cannot_be_told() -> None:
    read = chart(amount(8, 1, drain="A"), amount(8, 1, drain="B"))
    assert this_drain(Episode(), read) is None
    assert lines(entries_for(read, "drain", Episode())) == []


def test_drains_whose_space_is_not_said_are_named() -> None:
    read = chart(amount(8, 1, drain="1"), amount(8, 1, drain="2"))
    assert drains_not_placed(ONE, read) == ("2",)
    assert drains_not_placed(Episode(drain_number="1", shares_space_told=True), read) == ()
    assert drains_not_placed(TWO_IN_SPACE, read) == ()


def test_a_row_with_and_one_without_the_only_drain_conflict_if_they_differ() -> None:
    read = chart(amount(8, 10), amount(8, 20, drain="1"))
    assert read.conflicting == 0
    assert entries_for(read, "drain", ONE).conflicting == 2
    assert entries_for(chart(amount(8, 10), amount(8, 10, drain="1")), "drain", ONE).duplicate == 1


def test_another_drains_rows_never_change_what_counts_for_this_one() -> None:
    own = [amount(8, 10, drain="1"), row(9, "swing", "present", drain="1")]
    other = [amount(8, 99, drain="2"), row(9, "swing", "absent", drain="2")]
    alone, both = (entries_for(chart(*rows), "drain", ONE).entries for rows in (own, own + other))
    assert alone == both


def test_a_scope_that_is_none_is_refused() -> None:
    with pytest.raises(UsageError, match=r"'ward' is no scope\. Write one of: drain, space, patient"):
        entries_for(chart(), "ward", ONE)
