"""Chart rows in the record: each once, however they came; what contradicts stays beside it."""

from __future__ import annotations

import pytest

from behaviour.store.a_drain import ROWS, bundle, course_held, episode, log, ms, row, said, taken
from slackwater.episode.space import entries_for
from slackwater.errors import ChartError
from slackwater.store import Record, open_record
from slackwater.store.chart_text import chart_csv, entries_of, entry_key
from slackwater.store.read_out import assess_drain, chart_bytes, chart_of, episode_of

BLOODY = row(100, "fluid_appearance", "bloody")


def keys(record: Record) -> set[str]:
    return {one.key for one in record.things("entry")}


def test_chart_rows_that_are_there_are_not_entered_again(record: Record) -> None:
    taken(record)
    done = taken(record, bundle(logs=[], rows=[*ROWS, BLOODY]))
    assert (done.entries, done.same_entries) == (1, len(ROWS))


def test_a_chart_in_pieces_is_the_chart_as_one(place: str) -> None:
    with open_record(place + "-1", create=True) as one, open_record(place + "-2", create=True) as pieces:
        taken(one)
        for part in (ROWS[3:], ROWS[:1], ROWS[1:4]):
            drain = taken(pieces, bundle(rows=part)).drain
        assert keys(one) == keys(pieces)
        assert said(assess_drain(one, drain)) == said(assess_drain(pieces, drain))


def test_a_misspelt_item_is_kept_as_written_and_stays_without_a_value(record: Record) -> None:
    """Kept cell for cell: read again, its value must not have become one."""
    drain = taken(record, bundle(rows=[row(30, "fluid_ouput", "40", "mL")])).drain
    course = course_held(record, drain)
    assert [(one["item"], one["value"]) for one in course.entries] == [("fluid_ouput", "40")]
    (entry,) = chart_of(course).entries
    assert (entry.item, entry.value, entry.written) == ("fluid_output", None, "fluid_ouput")


def test_the_same_row_twice_in_a_file_is_one(record: Record) -> None:
    done = taken(record, bundle(rows=[*ROWS, *ROWS]))
    assert done.entries == len(record.things("entry")) == len(ROWS)


def test_the_same_moment_written_in_another_zone_is_the_same_entry(record: Record) -> None:
    taken(record, bundle(rows=["2041-05-06T07:00:00Z,swing,present,,,1,,nurse"]))
    done = taken(record, bundle(rows=["2041-05-06T09:00:00+02:00,swing,present,,,1,,nurse"]))
    assert done.entries == 0


def test_a_row_that_contradicts_is_kept_beside_the_first_and_shown(record: Record) -> None:
    # M9: neither is averaged, and the last does not win.
    drain = taken(record, bundle(rows=[*ROWS, BLOODY])).drain
    taken(record, bundle(logs=[], rows=[row(100, "fluid_appearance", "serous")]))
    chart = chart_of(course_held(record, drain))
    assert [entry.value for entry in chart.entries if entry.conflict] == ["bloody", "serous"]
    assert any("neither is used" in note for note in chart.notes)


def test_a_row_that_names_no_drain_counts_for_the_only_one_and_is_kept_as_written(record: Record) -> None:
    drain = taken(record, bundle(rows=[row(30, "swing", "present", drain="")])).drain
    course = course_held(record, drain)
    assert [one["drain"] for one in course.entries] == [None]
    assert entries_for(chart_of(course), "drain", episode_of(course)).of("swing")


def test_a_row_that_names_no_drain_belongs_to_none_of_two(record: Record) -> None:
    # Hazard C08: charting of the other side must not be joined to this drain.
    two = [row(30, "fluid_output", "40", "mL", drain=""), row(40, "swing", "present", drain="2")]
    drain = taken(record, bundle(rows=two)).drain
    assert [one["drain"] for one in course_held(record, drain).entries] == [None, "2"]


def test_what_is_said_of_the_patient_belongs_to_no_drain(record: Record) -> None:
    drain = taken(record, bundle(rows=[row(30, "surgical_emphysema", "1", drain="")])).drain
    assert [one["drain"] for one in course_held(record, drain).entries] == [None]


def test_both_times_of_a_row_are_kept(record: Record) -> None:
    # Hazard B07: the time of the bedside and the time of writing.
    drain = taken(record, bundle(rows=[row(90, "fluid_output", "30", "mL", late=10)])).drain
    (entry,) = course_held(record, drain).entries
    assert (entry["time_ms"], entry["written_ms"]) == (ms(90), ms(100))


def test_writing_a_row_down_later_is_another_entry(record: Record) -> None:
    taken(record, bundle(rows=[row(90, "fluid_output", "30", "mL", late=10)]))
    assert taken(record, bundle(rows=[row(90, "fluid_output", "30", "mL", late=90)])).entries == 1


def test_the_drains_of_a_patient_see_one_chart(record: Record) -> None:
    first = taken(record)
    second = taken(
        record,
        bundle(episode(number="2"), logs=[log(serial="U-2")], rows=[row(50, "swing", "absent", drain="2")]),
    )
    of = [{one.key for one in course_held(record, done.drain).entries} for done in (first, second)]
    assert of[0] == of[1] and len(of[0]) == len(ROWS) + 1


def test_a_chart_with_one_bad_row_is_refused_whole(record: Record) -> None:
    with pytest.raises(ChartError, match=r"chart\.csv, line 7, column value"):
        taken(record, bundle(rows=[*ROWS, row(100, "fluid_output", "much", "mL")]))
    assert record.head() is None


@pytest.mark.parametrize("note", ['"a, b"', '"said ""no"""', '"two\nlines"', "שלום \u202e", "'; --", "=1+1", "😀"])
def test_odd_words_in_a_chart_come_back_as_the_same_entries(record: Record, note: str) -> None:
    drain = taken(record, bundle(rows=[*ROWS, row(100, "swing", "present", note=note)])).drain
    course = course_held(record, drain)
    _, again = entries_of(chart_bytes(course), "chart.csv", None)
    assert {entry_key(course.episode.key, fields) for fields in again} == {one.key for one in course.entries}


def test_a_chart_is_written_in_an_order_that_depends_on_what_it_says_alone() -> None:
    _, found = entries_of(bundle().charts[0][1], "chart.csv", None)
    assert chart_csv(found) == chart_csv(reversed(found))


def test_an_item_that_is_not_known_is_kept_and_never_used(record: Record) -> None:
    drain = taken(record, bundle(rows=[*ROWS, row(100, "dressing_colour", "clean")])).drain
    assert "dressing_colour" in {one["item"] for one in course_held(record, drain).entries}
