"""Whose drain it is: numbers, stays, facts that are told again, and logs that are read anew."""

from __future__ import annotations

from dataclasses import replace

import pytest

from behaviour.store.a_drain import (
    OTHER_LAYOUT,
    ROWS,
    bundle,
    course_held,
    episode,
    log,
    removal,
    row,
    said,
    stamp,
    taken,
)
from slackwater.errors import RecordError
from slackwater.store import Record, rows
from slackwater.store.read_out import assess_drain


def test_a_drain_is_entered_with_its_patient_stay_and_space(record: Record) -> None:
    done = taken(record)
    course = course_held(record, done.drain)
    assert (course.name, course.space["side"], course.episode["weight_kg"]) == ("INV-1/1", "left", 70)
    assert done.new_drain and done.logs == 1 and done.entries == len(ROWS)


def test_the_same_bundle_again_adds_one_act_that_changes_nothing(record: Record) -> None:
    # M7: importing again adds nothing, and exactly one line that says so.
    first = taken(record)
    before = record.head()
    done = taken(record)
    after = record.head()
    assert before is not None and after is not None
    assert (after.seq, after.changes) == (before.seq + 1, "[]")
    assert (done.drain, done.rows, done.logs, done.same_logs, done.entries, done.same_entries) == (
        first.drain, 0, 0, 1, 0, len(ROWS),
    )  # fmt: skip


def test_a_bundle_without_patient_or_number_is_nobodys(record: Record) -> None:
    with pytest.raises(RecordError, match=r"episode\.toml: \[patient\] id is missing.*Write both"):
        taken(record, bundle(replace(episode(), patient_id=None)))
    with pytest.raises(RecordError, match=r"\[drain\] number is missing"):
        taken(record, bundle(replace(episode(), drain_number=None)))


def test_two_patients_with_nearly_the_same_label_stay_two(record: Record) -> None:
    labels = ("INV-1", "INV-l", "inv-1", "INV-1a", "INV", "1")
    drains = {taken(record, bundle(episode(label), logs=[])).drain for label in labels}
    assert len(drains) == len(labels) == len(record.things("patient"))


def test_a_patients_next_drain_belongs_to_the_same_stay(record: Record) -> None:
    taken(record)
    taken(record, bundle(episode(number="2"), logs=[], rows=None))
    assert len(record.things("episode")) == 1 and len(record.things("drain")) == 2


def test_drain_1_is_not_drain_01(record: Record) -> None:
    taken(record)
    taken(record, bundle(episode(number="01"), logs=[], rows=None))
    assert [one["number"] for one in record.things("drain")] in (["1", "01"], ["01", "1"])


def test_a_blank_before_the_number_makes_no_other_drain(record: Record) -> None:
    assert taken(record, bundle(episode(number=" 1 "))).drain == taken(record).drain


def test_the_number_of_a_tube_that_is_out_is_never_used_again(record: Record) -> None:
    taken(record, bundle(course=removal(150)))
    with pytest.raises(RecordError, match=r"A number is never used again: .*\(used: 1\)"):
        taken(record, bundle(episode(connected=200), logs=[log(200, 300)], rows=None))


def test_the_next_tube_of_the_patient_has_a_number_of_its_own(record: Record) -> None:
    first = taken(record, bundle(course=removal(150)))
    second = taken(record, bundle(episode(number="2", connected=200), logs=[log(200, 300)], rows=None))
    assert second.drain != first.drain and len(record.things("episode")) == 1


def test_a_closed_stay_is_followed_by_another(record: Record) -> None:
    home = f'[stay]\nclosed = "{stamp(400)}"\nclosed_why = "home"\n'
    first = taken(record, bundle(course=removal(150) + home))
    second = taken(record, bundle(episode(number="2", connected=9000), logs=[], rows=None))
    assert len(record.things("episode")) == 2
    assert course_held(record, second.drain).episode.key != course_held(record, first.drain).episode.key


def test_what_was_charted_in_one_stay_is_not_in_the_next(record: Record) -> None:
    taken(record, bundle(course=f'[stay]\nclosed = "{stamp(400)}"\n'))
    second = taken(
        record,
        bundle(episode(number="2", connected=9000), logs=[], rows=[row(9001, "swing", "present", drain="2")]),
    )
    assert [one["time_ms"] for one in course_held(record, second.drain).entries] == [
        course_held(record, second.drain).drain["connected_ms"] + 60_000
    ]


@pytest.mark.parametrize(
    ("told", "said_of"),
    [
        ({"age_years": 61}, "episode: age_years is 60.0 in the record, and 61.0 here"),
        ({"weight_kg": 80}, "episode: weight_kg is 70.0 in the record, and 80.0 here"),
        ({"indication": "trauma"}, "episode: indication is 'lung_resection' in the record, and 'trauma' here"),
        ({"side": "right"}, "space: side is 'left' in the record, and 'right' here"),
        ({"site": "sixth space"}, "drain: site is 'fifth space' in the record, and 'sixth space' here"),
        ({"connected": 5}, "drain: connected is 2041-05-06T06:00:00Z in the record, and 2041-05-06T06:05:00Z here"),
    ],
)
def test_a_fact_that_differs_needs_a_reason(record: Record, told: dict[str, object], said_of: str) -> None:
    # Hazard C02: two drains are swapped by an audited correction only.
    taken(record)
    head = record.head()
    with pytest.raises(RecordError) as refused:
        taken(record, bundle(episode(**told)))  # type: ignore[arg-type]
    assert said_of in str(refused.value) and "--correct 'WHY'" in str(refused.value)
    assert record.head() == head


def test_a_correction_keeps_the_old_value_and_the_reason(record: Record) -> None:
    drain = taken(record).drain
    taken(record, bundle(episode(side="right")), correct="charted on the wrong side")
    with record.reading() as connection:
        sides = [one["side"] for one in rows.versions(connection, "space")]
        acts = [act for act in rows.acts(connection) if act.why]
    assert sides == ["left", "right"] and [act.why for act in acts] == ["charted on the wrong side"]
    assert course_held(record, drain).space["side"] == "right"


def test_a_fact_that_was_not_known_is_filled_in_without_a_reason(record: Record) -> None:
    drain = taken(record, bundle(episode(weight_kg=None, site=None))).drain
    taken(record)
    course = course_held(record, drain)
    assert (course.episode["weight_kg"], course.drain["site"]) == (70, "fifth space")


def test_a_fact_that_is_not_told_changes_nothing(record: Record) -> None:
    drain = taken(record).drain
    taken(record, bundle(episode(weight_kg=None, site=None)))
    assert course_held(record, drain).episode["weight_kg"] == 70


def test_a_log_read_by_another_layout_needs_a_reason(record: Record) -> None:
    taken(record)
    with pytest.raises(RecordError, match=r"log\.csv: was recorded by another layout.*--correct 'WHY'"):
        taken(record, bundle(logs=[replace(log(), layout=OTHER_LAYOUT)]))


def test_a_log_read_by_another_layout_replaces_the_first_reading(record: Record) -> None:
    drain = taken(record).drain
    taken(record, bundle(logs=[replace(log(), layout=OTHER_LAYOUT)]), correct="the unit shows steps of 10")
    (held,) = course_held(record, drain).logs
    assert held["rows_used"] == 180 and len(record.things("log", gone=True)) == 2


def test_a_refused_bundle_leaves_the_record_as_it_was(record: Record) -> None:
    taken(record)
    head = record.head()
    with pytest.raises(RecordError):
        taken(record, bundle(episode(weight_kg=80), rows=[*ROWS, row(100, "swing", "absent")]))
    assert record.head() == head


def test_a_drain_without_log_and_chart_has_nothing_to_judge(record: Record) -> None:
    drain = taken(record, bundle(logs=[], rows=None)).drain
    with pytest.raises(RecordError, match=r"INV-1/1: has neither a log nor a chart yet.*Record one"):
        assess_drain(record, drain)


def test_a_drain_without_a_log_is_judged_by_its_chart(record: Record) -> None:
    drain = taken(record, bundle(logs=[])).drain
    assert said(assess_drain(record, drain))["overall"] is None


def test_the_rule_of_a_drain_changes_only_for_a_reason(record: Record) -> None:
    from behaviour.store.a_drain import RULE

    taken(record, bundle(rule=RULE))
    with pytest.raises(RecordError, match="protocol is"):
        taken(record, bundle(rule=RULE.replace(b"50 mL/min", b"20 mL/min")))
