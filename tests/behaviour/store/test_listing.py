"""The list of drains, one drain's history, and how a drain is called."""

from __future__ import annotations

import pytest

from behaviour.store.a_drain import (
    ROWS,
    RULE,
    bundle,
    course_held,
    episode,
    log,
    ms,
    removal,
    row,
    taken,
)
from slackwater.errors import RecordError
from slackwater.store import Record, open_record
from slackwater.store.course import find_drain
from slackwater.store.history import Line, history_of
from slackwater.store.listing import listed


def history(record: Record, drain: str) -> tuple[Line, ...]:
    with record.reading() as connection:
        return history_of(connection, course_held(record, drain))


def found(record: Record, name: str) -> str:
    with record.reading() as connection:
        return find_drain(connection, name)


def test_an_empty_record_lists_no_drain(record: Record) -> None:
    assert listed(record) == ()


def test_a_drain_is_listed_with_where_its_record_stands(record: Record) -> None:
    drain = taken(record, bundle(course='[stay]\nward = "Süd"\nbed = "4"\n', rule=RULE)).drain
    (one,) = listed(record)
    assert (one.key, one.name, one.ward, one.bed, one.side) == (drain, "INV-1/1", "Süd", "4", "left")
    assert (one.logs, one.log_until_ms, one.entries, one.protocol) == (1, ms(180), len(ROWS), "small-50 1")


def test_a_drain_that_is_out_is_listed_only_where_all_are_asked_for(record: Record) -> None:
    taken(record, bundle(course=removal(150)))
    assert listed(record) == ()
    (one,) = listed(record, everything=True)
    assert (one.removed_ms, one.removal) == (ms(150), "planned")


def test_drains_stand_in_order_of_their_connection(record: Record) -> None:
    for label, connected in (("C", 30), ("A", 60), ("B", 0), ("D", None)):
        taken(record, bundle(episode(label, connected=connected), logs=[]))
    assert [one.name for one in listed(record)] == ["B/1", "C/1", "A/1", "D/1"]


def test_chart_rows_are_counted_for_the_drain_that_they_name(record: Record) -> None:
    rows = [row(30, "swing", "present"), row(40, "swing", "present", drain="2"), row(50, "swing", "absent", drain="2")]
    taken(record, bundle(rows=rows))
    taken(record, bundle(episode(number="2"), logs=[], rows=None))
    assert {one.name: one.entries for one in listed(record)} == {"INV-1/1": 1, "INV-1/2": 2}


def test_a_chart_row_that_was_taken_back_is_not_counted(record: Record) -> None:
    drain = taken(record).drain
    entry = course_held(record, drain).entries[0]
    with record.act(by="nurse", what="took back") as act:
        act.take_back("entry", entry.key, version=1)
    assert listed(record)[0].entries == len(ROWS) - 1


def test_the_list_as_known_then_holds_nothing_later(place: str) -> None:
    now = [1_000]
    with open_record(place, create=True, clock=lambda: now[0]) as record:
        taken(record, bundle(logs=[]))
        now[0] = 2_000
        taken(record, bundle(episode("INV-2"), logs=[]))
        assert [one.name for one in listed(record, known_ms=1_000)] == ["INV-1/1"]
        assert listed(record, known_ms=999) == ()


def test_the_history_tells_who_entered_what_and_why(record: Record) -> None:
    drain = taken(record, bundle(logs=[]), by="nurse A").drain
    taken(record, bundle(episode(side="right"), logs=[]), by="nurse B", correct="wrong side")
    first, second = history(record, drain)
    assert (first.by, first.what, first.new["entry"], first.new["drain"]) == ("nurse A", "import", len(ROWS), 1)
    assert (second.by, second.why, second.corrected) == ("nurse B", "wrong side", (("space", "side", "left", "right"),))


def test_the_history_of_one_patient_tells_nothing_of_another(record: Record) -> None:
    drain = taken(record, bundle(logs=[])).drain
    before = history(record, drain)
    taken(record, bundle(episode("INV-2"), logs=[]))
    assert history(record, drain) == before


def test_what_was_taken_back_is_in_the_history(record: Record) -> None:
    drain = taken(record, bundle(logs=[])).drain
    entry = course_held(record, drain).entries[0]
    with record.act(by="nurse", what="took back", why="another patient's") as act:
        act.take_back("entry", entry.key, version=1)
    last = history(record, drain)[-1]
    assert (last.taken_back, last.why, last.new) == ({"entry": 1}, "another patient's", {})


def test_a_drain_is_found_by_patient_and_number_or_by_its_key(record: Record) -> None:
    drain = taken(record, bundle(logs=[])).drain
    assert found(record, "INV-1/1") == found(record, drain) == found(record, drain[:6]) == drain


def test_a_label_may_hold_a_slash(record: Record) -> None:
    drain = taken(record, bundle(episode("../A/1"), logs=[])).drain
    assert found(record, "../A/1/1") == drain


def test_a_name_that_two_drains_bear_is_refused(record: Record) -> None:
    # Hazard C09.
    keys = {
        taken(record, bundle(episode("A/1", "2"), logs=[])).drain,
        taken(record, bundle(episode("A", "1/2"), logs=[log(serial="U-2")])).drain,
    }
    with pytest.raises(RecordError, match="several drains"):
        found(record, "A/1/2")
    assert {found(record, key) for key in keys} == keys


@pytest.mark.parametrize("name", ["", "/", "INV-1", "INV-1/", "/1", "INV-1/2", "inv-1/1", "INV-1/1 ", "x" * 10_000])
def test_a_drain_that_is_not_there_is_not_guessed(record: Record, name: str) -> None:
    taken(record, bundle(logs=[]))
    with pytest.raises(RecordError, match=r"no drain is called .* See: slackwater record list"):
        found(record, name)


def test_a_slip_in_a_name_is_pointed_out(record: Record) -> None:
    taken(record, bundle(logs=[]))
    with pytest.raises(RecordError, match="Did you mean INV-1/1"):
        found(record, "INV-l/1")


def test_the_beginning_of_several_keys_is_refused(record: Record) -> None:
    for number in range(3):
        with record.act(by="nurse", what="x") as act:
            act.add("drain", f"abcd{number}", {"episode": "e", "space": "s", "number": f"{number}"})
    with pytest.raises(RecordError, match="is the beginning of several drains"):
        found(record, "abcd")
