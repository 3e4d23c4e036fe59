"""A chart is read whole, in any column order, at the instants its times mean."""

from __future__ import annotations

import hashlib

import pytest

from behaviour.episode.typed_chart import at, chart, row
from slackwater.episode.chart import read_chart
from slackwater.errors import ChartError


def test_the_five_columns_are_enough() -> None:
    read = read_chart(b"time,item,value,unit,note\n2033-09-13T08:00:00Z,swing,present,,\n", "c.csv")
    (entry,) = read.entries
    assert (entry.time, entry.item, entry.value) == (at(8), "swing", "present")
    assert (entry.drain, entry.by) == (None, "")
    assert entry.recorded == entry.time
    assert entry.line == 2


def test_columns_may_stand_in_any_order() -> None:
    read = read_chart(b"by,note,unit,value,item,time\nAB,,mL,40,fluid_output,2033-09-13T08:00:00Z\n", "c.csv")
    assert (read.entries[0].by, read.entries[0].value) == ("AB", 40.0)


def test_a_byte_order_mark_and_windows_line_ends_change_nothing() -> None:
    plain = b"time,item,value,unit,note\n2033-09-13T08:00:00Z,swing,present,,\n"
    other = b"\xef\xbb\xbf" + plain.replace(b"\n", b"\r\n")
    assert read_chart(other, "c.csv").entries == read_chart(plain, "c.csv").entries


def test_empty_lines_are_no_rows_and_lines_are_counted_as_an_editor_does() -> None:
    read = read_chart(b'time,item,value,unit,note\n\n2033-09-13T08:00Z,note,"two\nlines",,\n\n'
                      b"2033-09-13T09:00Z,swing,absent,,\n", "c.csv")  # fmt: skip
    assert [entry.line for entry in read.entries] == [3, 6]
    assert read.read == 2


def test_a_chart_without_rows_is_a_chart() -> None:
    assert read_chart(b"time,item,value,unit,note\n", "c.csv").entries == ()


def test_the_chart_says_whose_bytes_it_is_made_of() -> None:
    data = b"time,item,value,unit,note\n"
    read = read_chart(data, "c.csv")
    assert (read.name, read.sha256) == ("c.csv", hashlib.sha256(data).hexdigest())


def test_entries_are_ordered_by_time_then_by_line() -> None:
    read = chart(row(9, "swing", "absent"), row(8, "swing", "present"), row(9, "distress", "no"))
    assert [(entry.time, entry.line) for entry in read.entries] == [(at(8), 3), (at(9), 2), (at(9), 4)]


def test_a_local_time_is_read_in_the_zone_that_is_said() -> None:
    text = b"time,item,value,unit,note\n2033-09-13 10:00,swing,present,,\n"
    for zone in ("Europe/Vienna", "+02:00"):
        assert read_chart(text, "c.csv", zone).entries[0].time == at(8)
    assert read_chart(text, "c.csv", "UTC").entries[0].time == at(10)


def test_an_offset_in_the_time_outranks_the_zone() -> None:
    text = b"time,item,value,unit,note\n2033-09-13T10:00:00+05:00,swing,present,,\n"
    assert read_chart(text, "c.csv", "Europe/Vienna").entries[0].time == at(5)


def test_a_local_time_without_a_zone_is_refused_and_the_mend_is_named() -> None:
    with pytest.raises(ChartError, match=r"c\.csv, line 2, column time: .*zone is not said.*--zone"):
        read_chart(b"time,item,value,unit,note\n2033-09-13 10:00,swing,present,,\n", "c.csv")


@pytest.mark.parametrize(
    ("local", "came"),
    [("2033-10-30T02:30", "came twice"), ("2033-03-27T02:30", "never came")],
)
def test_a_local_time_that_came_twice_or_never_is_refused_with_both_offsets(local: str, came: str) -> None:
    with pytest.raises(ChartError, match=rf"{came} in Europe/Vienna.*\+0[12]:00 or \+0[12]:00"):
        read_chart(f"time,item,value,unit,note\n{local},swing,present,,\n".encode(), "c.csv", "Europe/Vienna")


def test_milliseconds_are_kept() -> None:
    read = read_chart(b"time,item,value,unit,note\n2033-09-13T08:00:00.250Z,swing,present,,\n", "c.csv")
    assert read.entries[0].time == at(8) + 250


def test_what_was_recorded_late_is_known_late() -> None:
    (entry,) = chart(row(8, "swing", "present", recorded=11)).entries
    assert (entry.time, entry.recorded, entry.recorded_early) == (at(8), at(11), False)


def test_what_was_recorded_before_its_time_is_known_from_its_time_and_noted() -> None:
    read = chart(row(8, "swing", "present", recorded=7.8))
    (entry,) = read.entries
    assert (entry.recorded, entry.recorded_early) == (at(8), True)
    assert "line 2" in read.notes[0]


def test_an_unknown_item_is_kept_shown_and_never_used() -> None:
    read = chart(row(8, "mood", "good", "anything"), row(8, "mood", "bad"))
    assert [(e.item, e.value, e.known, e.conflict) for e in read.entries] == [
        ("mood", "good", False, False),
        ("mood", "bad", False, False),
    ]
    assert read.notes == ("mood (lines 2, 3) is not an item known here: shown, never used.",)


@pytest.mark.parametrize(
    ("written", "item", "value", "unit"),
    [("fluid_ouput", "fluid_output", "200", "mL"), ("fluidoutput", "fluid_output", "200", "mL"),
     ("Fluid Outptu", "fluid_output", "a lot", "buckets"), ("couhg", "cough", "leak", "")],
)  # fmt: skip
def test_a_slip_in_an_item_counts_as_that_item_left_blank(written: str, item: str, value: str, unit: str) -> None:
    """Contract: unknown items are kept, shown and never used. Ours: a total must not become too small by one."""
    read = chart(row(8, written, value, unit=unit))
    (entry,) = read.entries
    name = written.lower().replace(" ", "_")
    assert (entry.item, entry.value, entry.written) == (item, None, name)
    assert entry.text == f"{name} {value} {unit}".strip()
    assert read.notes == (
        f"MISSPELT: {name} (line 2) looks like {item}: its value is not used, and counts as left blank. Write {item}.",
    )


def test_an_unknown_item_that_is_like_a_known_one_is_asked_about() -> None:
    assert "Was fluid_appearance meant?" in chart(row(8, "fluid_appear", "serous")).notes[0]


def test_items_and_drains_are_trimmed_and_items_have_no_case() -> None:
    (entry,) = chart(row(8, " Fluid Output ", " 30 ", " mL ", drain=" 2 ")).entries
    assert (entry.item, entry.value, entry.drain) == ("fluid_output", 30.0, "2")
