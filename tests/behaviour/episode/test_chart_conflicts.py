"""Said once, said twice, said in two ways: repeats count once, and of two different things neither wins."""

from __future__ import annotations

from behaviour.episode.typed_chart import amount, at, changed, chart, level, row
from slackwater.episode.chart import known_at
from slackwater.episode.types import Chart


def counts(read: Chart) -> tuple[int, int, int, int, int]:
    return read.read, read.used, read.refused, read.duplicate, read.conflicting


def test_the_same_row_twice_counts_once() -> None:
    read = chart(amount(8, 200), amount(8, 200))
    assert [entry.value for entry in read.entries] == [200.0]
    assert [entry.line for entry in read.repeats] == [3]
    assert counts(read) == (2, 1, 0, 1, 0)


def test_the_same_amount_in_another_unit_is_the_same_thing_said_twice() -> None:
    assert chart(amount(8, 200), row(8, "fluid_output", "0.2", "L")).duplicate == 1


def test_two_amounts_for_one_moment_are_both_kept_and_neither_is_used() -> None:
    read = chart(amount(8, 200), amount(8, 300))
    assert [(entry.value, entry.conflict) for entry in read.entries] == [(200.0, True), (300.0, True)]
    assert counts(read) == (2, 0, 0, 0, 2)
    assert "neither is used" in read.notes[0]


def test_a_blank_and_an_amount_for_one_moment_conflict() -> None:
    assert chart(amount(8, 200), amount(8, "")).conflicting == 2


def test_two_drains_or_two_moments_or_two_items_do_not_conflict() -> None:
    read = chart(
        amount(8, 200, drain="1"), amount(8, 300, drain="2"), amount(9, 250, drain="1"),
        row(8, "swing", "present", drain="1"),
    )  # fmt: skip
    assert counts(read) == (4, 4, 0, 0, 0)


def test_several_things_done_to_the_tubing_at_one_moment_are_all_true() -> None:
    assert chart(row(8, "tubing", "checked"), row(8, "tubing", "milked")).conflicting == 0


def test_clamps_of_two_kinds_at_one_moment_are_both_a_clamp() -> None:
    assert chart(row(8, "clamp", "on", note="trial"), row(8, "clamp", "on", note="handling")).conflicting == 0


def test_a_reading_of_the_patient_is_one_whatever_drain_its_row_names() -> None:
    assert chart(row(8, "spo2", 92, "%", drain="1"), row(8, "spo2", 96, "%", drain="2")).conflicting == 2


def test_the_full_and_the_fresh_level_at_a_change_of_canister_do_not_conflict() -> None:
    assert chart(level(8, 480), changed(8), level(8, 0)).conflicting == 0
    assert chart(level(8, 480), level(8, 0)).conflicting == 2
    assert chart(level(8, 480), changed(8), level(8, 0), level(8, 300)).conflicting == 3


def test_at_an_earlier_moment_only_what_had_been_recorded_is_known() -> None:
    read = chart(amount(8, 200), amount(9, 50, recorded=12), amount(14, 20))
    assert [entry.value for entry in known_at(read, at(10)).entries] == [200.0]
    assert [entry.value for entry in known_at(read, at(12)).entries] == [200.0, 50.0]
    assert [entry.value for entry in known_at(read, at(7)).entries] == []


def test_a_conflict_is_known_only_once_both_sides_are() -> None:
    read = chart(amount(8, 200), amount(8, 300, recorded=12))
    assert counts(known_at(read, at(10))) == (1, 1, 0, 0, 0)
    assert counts(known_at(read, at(12))) == (2, 0, 0, 0, 2)


def test_a_row_given_twice_is_known_from_when_it_was_first_recorded() -> None:
    read = chart(amount(8, 200, recorded=12), amount(8, 200, recorded=9))
    assert [entry.line for entry in read.entries] == [3]
    assert counts(known_at(read, at(10))) == (1, 1, 0, 0, 0)
    assert counts(known_at(read, at(13))) == (2, 1, 0, 1, 0)


def test_later_rows_leave_no_trace_in_the_notes() -> None:
    read = chart(amount(8, 200), row(14, "mood", "good"))
    assert known_at(read, at(10)).notes == ()
