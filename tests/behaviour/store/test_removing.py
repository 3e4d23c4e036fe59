"""A drain comes out: the right one, by two people, against the rule only with a reason, and what is owed after it.

Hazards: wrong drain (Survey of major complications, Postgrad Med J 2010;86:68, as read: six wrong-side insertions, two
deaths); D12, an override without a reason; C05, a unit not freed. Two people for a large tube: Royal Marsden Manual
12.7, as read in part. Everybody here is invented.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from behaviour.store.a_drain import bundle, course_held, ms, taken
from slackwater.errors import RecordError
from slackwater.store import Record, charting, open_record
from slackwater.store.course import Course
from slackwater.store.removing import OWED, Out, ReadBack, faults_of, remove_drain
from slackwater.store.rows import Thing
from slackwater.store.verify import verify

AT = ms(170)
DUE = {"chest_xray": ms(400), "observations": ms(200), "site": ms(600), "suture_out": ms(9000)}
OUT = Out(
    kind="planned", time_ms=AT, read_back=ReadBack("1", "left", "fifth space"), removed_by="A. Invented",
    second_person="B. Invented", breath_phase="end_expiration", analgesia_ms=ms(130), tip_intact=True, overall="met",
    protocol="small-50", due=DUE,
)  # fmt: skip


class Ward:
    def __init__(self, place: str) -> None:
        self.record: Record = open_record(place, create=True, clock=lambda: ms(200))
        self.drain = taken(
            self.record,
            bundle(
                course='[[hold]]\nreason = "ventilated"\nfrom = "2041-05-06T06:10:00Z"\nto = "2041-05-06T07:00:00Z"\n'
            ),
        ).drain

    @property
    def course(self) -> Course:
        return course_held(self.record, self.drain)

    def remove(self, once: str = "r1", **told: Any) -> str:
        with self.record.act(by="A. Invented", what="removed") as act:
            return remove_drain(act, self.course, replace(OUT, **told), once=once)

    def things(self, noun: str) -> tuple[Thing, ...]:
        return self.record.things(noun, {"drain": self.drain})


@pytest.fixture
def ward(place: str) -> Any:
    found = Ward(place)
    yield found
    found.record.close()


def test_a_removal_frees_the_unit_and_makes_what_is_owed(ward: Ward) -> None:
    ward.remove()
    removal = ward.course.removal
    assert removal is not None
    assert (removal["time_ms"], removal["breath_phase"], removal["tip_intact"]) == (AT, "end_expiration", True)
    assert removal["suture_out_ms"] == DUE["suture_out"]
    assert all(pairing["to_ms"] == AT for pairing in ward.things("pairing"))
    assert {check["what"]: check["due_ms"] for check in ward.things("check")} == DUE
    assert ward.things("decision") == ()
    assert verify(ward.record).faults == ()


def test_a_double_click_removes_once(ward: Ward) -> None:
    first = ward.remove()
    head = ward.record.head()
    assert ward.remove() == first
    assert ward.record.head() == head
    with pytest.raises(RecordError, match="out already"):
        ward.remove(once="r2", time_ms=AT - 60_000)


@pytest.mark.parametrize(
    ("told", "where"),
    [
        (ReadBack("2", "left", "fifth space"), "read_back.number"),
        (ReadBack("1", "right", "fifth space"), "read_back.side"),
        (ReadBack("1", "left", "basal"), "read_back.site"),
        (ReadBack("1", "", "fifth space"), "read_back.side"),
    ],
)
def test_the_wrong_drain_is_never_recorded_as_out(ward: Ward, told: ReadBack, where: str) -> None:
    assert list(faults_of(ward.course, replace(OUT, read_back=told))) == [where]
    with pytest.raises(RecordError) as caught:
        ward.remove(read_back=told)
    assert caught.value.where == where
    assert ward.course.removal is None


def test_reading_back_is_of_words_not_of_their_spelling(ward: Ward) -> None:
    assert faults_of(ward.course, replace(OUT, read_back=ReadBack(" 1 ", "Left", "Fifth  Space"))) == {}


@pytest.mark.parametrize(
    ("told", "where"),
    [
        ({"second_person": ""}, "second_person"), ({"second_person": "a. invented "}, "second_person"),
        ({"removed_by": " "}, "removed_by"), ({"breath_phase": None}, "breath_phase"),
        ({"tip_intact": None}, "tip_intact"), ({"analgesia_ms": AT + 1}, "analgesia_ms"),
        ({"time_ms": ms(-1), "analgesia_ms": None}, "time_ms"), ({"overall": "not_met"}, "against_rule_because"),
        ({"overall": "cannot_tell"}, "against_rule_because"), ({"overall": "met_with_gaps"}, "against_rule_because"),
    ],
)  # fmt: skip
def test_what_is_missing_is_named_by_its_field(ward: Ward, told: dict[str, Any], where: str) -> None:
    assert list(faults_of(ward.course, replace(OUT, **told))) == [where]


@pytest.mark.parametrize("what", OWED)
def test_no_check_has_a_hidden_time(ward: Ward, what: str) -> None:
    due = {name: moment for name, moment in DUE.items() if name != what}
    assert list(faults_of(ward.course, replace(OUT, due=due))) == [f"due.{what}"]
    assert list(faults_of(ward.course, replace(OUT, due=DUE | {what: AT - 1}))) == [f"due.{what}"]
    assert list(faults_of(ward.course, replace(OUT, not_owed={what: "no"}))) == [f"due.{what}"]
    ward.remove(due=due, not_owed={what: "no symptoms: by the unit's own rule"})
    assert what not in [check["what"] for check in ward.things("check")]
    (decision,) = ward.things("decision")
    assert (decision["what"], decision["because"]) == (
        f"not owed after removal: {what}", "no symptoms: by the unit's own rule",
    )  # fmt: skip


def test_against_the_rule_the_reason_is_kept_as_a_decision_with_the_answer_seen(ward: Ward) -> None:
    ward.remove(overall="not_met", against_rule_because="end of life care")
    (decision,) = ward.things("decision")
    assert (decision["because"], decision["overall"], decision["protocol"]) == (
        "end of life care",
        "not_met",
        "small-50",
    )
    removal = ward.course.removal
    assert removal is not None
    assert (removal["overall"], removal["against_rule_because"]) == ("not_met", "end of life care")


def test_without_a_rule_there_is_nothing_to_go_against(ward: Ward) -> None:
    assert faults_of(ward.course, replace(OUT, overall=None, protocol=None)) == {}


def test_a_hold_that_stands_needs_a_reason_and_ends_with_the_drain(ward: Ward) -> None:
    with ward.record.act(by="r", what="held") as act:
        charting.hold_on(act, ward.course, "awaiting_imaging", from_ms=ms(100), once="h")
        charting.clamp_on(act, ward.course, "trial", planned_off_ms=ms(160), by="r", at_ms=ms(110), once="c")
    faults = faults_of(ward.course, OUT)
    assert list(faults) == ["against_rule_because"]
    assert "awaiting imaging" in faults["against_rule_because"]
    ward.remove(against_rule_because="film seen at the bedside")
    assert all(hold["to_ms"] is not None for hold in ward.things("hold"))
    assert [task["result"] for task in ward.things("task")] == ["the drain is out"]


def test_one_that_fell_out_needs_no_second_person_and_no_rule_but_its_checks(ward: Ward) -> None:
    fell = {"kind": "unplanned", "second_person": "", "breath_phase": None, "overall": "not_met", "analgesia_ms": None}
    assert faults_of(ward.course, replace(OUT, **fell)) == {}
    assert list(faults_of(ward.course, replace(OUT, **fell, due={}))) == [f"due.{what}" for what in OWED]


def test_after_a_death_nothing_is_owed(ward: Ward) -> None:
    assert faults_of(ward.course, replace(OUT, kind="patient_died", due={}, tip_intact=None)) == {}


def test_a_check_is_done_with_what_was_found(ward: Ward) -> None:
    ward.remove()
    film = next(check for check in ward.things("check") if check["what"] == "chest_xray")
    with pytest.raises(RecordError, match="not said"), ward.record.act(by="n", what="checked") as act:
        charting.check_done(act, ward.course, film.key, version=1, by="n", at_ms=ms(199), result=" ")
    with ward.record.act(by="n", what="checked") as act:
        charting.check_done(act, ward.course, film.key, version=1, by="n", at_ms=ms(199), result="lung up, reviewed")
    done = ward.record.thing("check", film.key)
    assert done is not None
    assert (done["done_ms"], done["result"]) == (ms(199), "lung up, reviewed")


def test_a_removal_that_has_not_come_is_refused(ward: Ward) -> None:
    with pytest.raises(RecordError, match="has not come"):
        ward.remove(time_ms=ms(201), due={what: ms(9000) for what in OWED})
