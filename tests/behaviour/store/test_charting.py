"""Acts at the bedside: recorded once however often they are sent, by the chart's own rules, corrected with reasons.

Everybody and everything here is invented.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from behaviour.store.a_drain import bundle, course_held, ms, taken
from slackwater.episode.order import Known, SuctionOrder, suction_order
from slackwater.episode.typed import Typed
from slackwater.errors import ChartError, RecordError, StaleError
from slackwater.store import Record, charting, open_record
from slackwater.store.course import Course
from slackwater.store.read_out import assess_drain, chart_of
from slackwater.store.record import Acting
from slackwater.store.rows import Thing, versions
from slackwater.store.take_in import take_in
from slackwater.store.verify import verify

NOW = 200.0  # minutes after 06:00: when things are written down
SET = (
    Typed("swing", "present"),
    Typed("fluid_output", "25", "mL"),
    Typed("spo2", "96", "%"),
    Typed("note", "calm, dry"),
)


class Bedside:
    """A record with one drain, and its acts."""

    def __init__(self, place: str) -> None:
        self.minute = NOW
        self.record: Record = open_record(place, create=True, clock=lambda: ms(self.minute))
        self.drain = taken(self.record).drain

    @property
    def course(self) -> Course:
        return course_held(self.record, self.drain)

    def do(self, act_: Callable[..., Any], *args: Any, why: str = "", **told: Any) -> Any:
        with self.record.act(by="a nurse", what="charted", why=why) as act:
            return act_(act, self.course, *args, **told)

    def chart(self, *rows: Typed, at: float = 190, once: str = "f1", by: str = "a nurse") -> tuple[str, ...]:
        found: tuple[str, ...] = self.do(charting.chart_set, rows, by=by, at_ms=ms(at), once=once)
        return found

    def things(self, noun: str) -> tuple[Thing, ...]:
        return self.record.things(noun, {"drain": self.drain})

    def entry(self, key: str) -> Thing:
        found = self.record.thing("entry", key)
        assert found is not None
        return found

    def acts(self) -> int:
        head = self.record.head()
        assert head is not None
        return head.seq


@pytest.fixture
def bed(place: str) -> Any:
    found = Bedside(place)
    yield found
    found.record.close()


def correct(bed: Bedside, key: str, row: Typed, *, why: str) -> None:
    """The one who saw the first version corrects it."""
    with bed.record.act(by="b", what="corrected", why=why) as act:
        charting.correct_entry(act, bed.course, key, row, version=1, by="b", why=why)


def words(bed: Bedside, item: str) -> list[object]:
    return [entry.value for entry in chart_of(bed.course).of(item)]


def test_a_set_keeps_when_it_was_so_and_when_it_was_written(bed: Bedside) -> None:
    """haz-B07: an entry written late is never newer evidence for it."""
    keys = bed.chart(*SET)
    first = bed.entry(keys[0])
    assert (first["time_ms"], first["written_ms"] // 1000 * 1000, first.happened_ms, first["written_by"]) == (
        ms(190),
        ms(NOW),
        ms(190),
        "a nurse",
    )
    assert first["drain"] == "1"
    assert bed.entry(keys[2])["drain"] is None  # the patient's
    chart = chart_of(bed.course)
    assert chart.of("fluid_output")[-1].value == 25.0
    assert chart.of("fluid_output")[-1].recorded // 1000 * 1000 == ms(NOW)
    assert words(bed, "note") == ["calm, dry"]


def test_what_is_sent_twice_is_recorded_once(bed: Bedside) -> None:
    keys = bed.chart(*SET)
    acts = bed.acts()
    bed.minute += 3
    assert bed.chart(*SET) == keys
    assert bed.acts() == acts
    assert words(bed, "fluid_output")[-1] == 25.0


@pytest.mark.parametrize("other", [SET[:2], (*SET, Typed("cough", "leak")), (Typed("swing", "absent"), *SET[1:])])
def test_other_words_under_the_same_form_are_refused(bed: Bedside, other: Sequence[Typed]) -> None:
    bed.chart(*SET)
    with pytest.raises(RecordError, match="other words"):
        bed.chart(*other)


def test_a_set_with_a_fault_records_nothing_of_itself(bed: Bedside) -> None:
    acts = bed.acts()
    with pytest.raises(ChartError):
        bed.chart(Typed("swing", "present"), Typed("fluid_output", "25"))
    with pytest.raises(ChartError, match="has not come"):
        bed.chart(Typed("swing", "present"), at=NOW + 1)
    assert bed.acts() == acts


def test_a_corrected_entry_keeps_the_first_and_is_known_from_the_correction_on(bed: Bedside) -> None:
    key = bed.chart(*SET)[1]
    bed.minute += 10
    right = Typed("fluid_output", "52", "mL")
    with pytest.raises(RecordError, match="reason"):
        correct(bed, key, right, why="")
    correct(bed, key, right, why="read the wrong line")
    entry = bed.entry(key)
    assert (entry["value"], entry.version, entry["time_ms"], entry["written_ms"] // 1000 * 1000) == (
        "52",
        2,
        ms(190),
        ms(NOW + 10),
    )
    with bed.record.reading() as connection:
        assert [one["value"] for one in versions(connection, "entry", keys=[key])] == ["25", "52"]
    head = bed.record.head()
    assert head is not None
    assert head.why == "read the wrong line"
    early = assess_drain(bed.record, bed.drain, now_ms=ms(NOW + 5))
    assert [e.value for e in early.chart.of("fluid_output")][-1] == 15.0  # not yet known then
    assert bed.chart(*SET)[1] == key  # the first form sent again is still the first form


def test_a_correction_of_what_another_one_changed_meanwhile_is_refused(bed: Bedside) -> None:
    key = bed.chart(*SET)[1]
    correct(bed, key, Typed("fluid_output", "52", "mL"), why="wrong line")
    with pytest.raises(StaleError):
        correct(bed, key, Typed("fluid_output", "53", "mL"), why="wrong line")


def test_an_entry_taken_back_counts_no_more_and_stays_in_the_history(bed: Bedside) -> None:
    key = bed.chart(*SET)[1]
    with bed.record.act(by="b", what="took back", why="another patient's") as act:
        charting.take_back_entry(act, bed.course, key, version=1, why="another patient's")
    assert bed.record.thing("entry", key) is None
    assert 25.0 not in words(bed, "fluid_output")
    assert len(bed.record.things("entry", gone=True)) > len(bed.record.things("entry"))


def test_another_drains_entry_is_as_if_it_were_not_there(bed: Bedside) -> None:
    from behaviour.store.a_drain import episode

    other = take_in(bed.record, bundle(episode("INV-2", connected=0), logs=()), by="nurse").drain
    (key, *_) = bed.chart(*SET)
    with pytest.raises(RecordError, match="no such entry"), bed.record.act(by="b", what="x", why="w") as act:
        charting.take_back_entry(act, course_held(bed.record, other), key, version=1, why="w")


def test_a_set_can_be_exported_and_read_again_word_for_word(bed: Bedside) -> None:
    bed.chart(
        Typed("note", 'said "better", then\nslept'), Typed("oxygen", "2", "L/min"), Typed("fluid_output", "", "mL")
    )
    assert words(bed, "note") == ['said "better", then slept']
    assert words(bed, "oxygen") == ["2 L/min"]
    assert words(bed, "fluid_output")[-1] is None
    assert verify(bed.record).faults == ()


# --- suction orders --------------------------------------------------------------------------------


def order(text: str, operation: str | None = "lobectomy") -> SuctionOrder:
    number, _, unit = text.partition(" ")
    return suction_order(number, unit, Known(operation=operation))


def ordered(bed: Bedside, text: str, at: float, once: str, **told: Any) -> str:
    answers = told.pop("answers", {})
    made = order(text, told.pop("operation", "lobectomy"))
    key: str = bed.do(charting.order_suction, made, from_ms=ms(at), once=once, answers=answers, **told)
    return key


def test_an_order_is_kept_as_typed_and_ends_the_one_before(bed: Bedside) -> None:
    first = ordered(bed, "20 cmH2O", 10, "o1", reason="after theatre", review_ms=ms(500), may_be_off_min=20)
    second = ordered(bed, "1.5 kPa", 120, "o2")
    held = {one.key: one for one in bed.things("order")}
    assert (held[first]["level"], held[first]["unit"], held[first]["until_ms"]) == ("-20", "cmH2O", ms(120))
    assert (held[second]["level"], held[second]["unit"], held[second]["until_ms"]) == ("-1.5", "kPa", None)
    assert [round(e.value, 2) for e in chart_of(bed.course).of("suction_ordered")] == [-20.0, -15.3]  # type: ignore[arg-type]
    assert ordered(bed, "1.5 kPa", 120, "o2") == second
    assert len(bed.things("order")) == 2


def test_an_order_written_down_late_ends_where_the_later_one_begins(bed: Bedside) -> None:
    ordered(bed, "10 cmH2O", 120, "o1")
    late = ordered(bed, "20 cmH2O", 10, "o2")
    held = {one.key: one for one in bed.things("order")}
    assert held[late]["until_ms"] == ms(120)
    with pytest.raises(RecordError, match="at that moment"):
        ordered(bed, "15 cmH2O", 10, "o3")


def test_none_added_is_an_order_too(bed: Bedside) -> None:
    made = suction_order("none_added", "", Known(operation="lobectomy"))
    bed.do(charting.order_suction, made, from_ms=ms(10), once="o", answers={})
    assert [e.value for e in chart_of(bed.course).of("suction_ordered")] == ["none_added"]


def test_a_stopped_order_is_never_recorded_and_a_question_needs_its_answer(bed: Bedside) -> None:
    """haz-D07: pneumonectomy is a hard stop. A factor of ten is asked about, and the answer is kept."""
    acts = bed.acts()
    with pytest.raises(RecordError, match="mediastinum"):
        ordered(bed, "20 cmH2O", 10, "o", operation="pneumonectomy")
    for answers in ({}, {"factor_ten": "yes"}):
        with pytest.raises(RecordError, match="not answered"):
            ordered(bed, "20 kPa", 10, "o", answers=answers)
    assert bed.acts() == acts
    key = ordered(bed, "20 kPa", 10, "o", answers={"factor_ten": "20 kPa"})
    assert "Answered: 20 kPa" in bed.things("order")[0]["reason"]
    assert bed.things("order")[0].key == key


# --- clamp, canister, holds, tasks, goal ---------------------------------------------------------------


def test_a_clamp_leaves_a_timer_and_taking_it_off_ends_it(bed: Bedside) -> None:
    """haz-A16: a clamped drain reads zero; the chart's clamp takes those minutes out of the evidence."""
    task = bed.do(charting.clamp_on, "trial", planned_off_ms=ms(196), by="n", at_ms=ms(150), once="c1")
    assert bed.things("task")[0].key == task
    assert bed.things("task")[0]["due_ms"] == ms(196)
    assert chart_of(bed.course).of("clamp")[0].note == "trial"
    assert bed.do(charting.clamp_on, "trial", planned_off_ms=ms(196), by="n", at_ms=ms(150), once="c1") == task
    bed.do(charting.clamp_off, by="n", at_ms=ms(195), once="c2")
    assert bed.things("task")[0]["done_ms"] == ms(195)
    assert words(bed, "clamp") == ["on", "off"]


def test_a_clamp_needs_its_kind_and_its_end(bed: Bedside) -> None:
    with pytest.raises(RecordError, match="kind"):
        bed.do(charting.clamp_on, "for a walk", planned_off_ms=ms(196), by="n", at_ms=ms(150), once="c")
    with pytest.raises(RecordError, match="before it goes on"):
        bed.do(charting.clamp_on, "handling", planned_off_ms=ms(150), by="n", at_ms=ms(150), once="c")
    assert words(bed, "clamp") == []


def changed(bed: Bedside, **told: Any) -> str:
    given = {"level": "480", "level_unit": "mL", "by": "n", "at_ms": ms(180), "once": "k1", "lot": "L-77", **told}
    key: str = bed.do(charting.change_canister, **given)
    return key


def test_a_canister_change_keeps_the_full_level_the_lots_and_the_clamp(bed: Bedside) -> None:
    key = changed(bed, filter_lot="F-1", expires_ms=ms(90_000), clamp_on_ms=ms(179), clamp_off_ms=ms(182))
    (canister,) = bed.things("canister")
    assert (canister.key, canister["lot"], canister["filter_lot"], canister["from_ms"]) == (key, "L-77", "F-1", ms(180))
    assert words(bed, "canister_level") == [480.0]
    assert words(bed, "canister") == ["changed"]
    assert [(e.value, e.time) for e in chart_of(bed.course).of("clamp")] == [("on", ms(179)), ("off", ms(182))]
    assert changed(bed, filter_lot="F-1", expires_ms=ms(90_000), clamp_on_ms=ms(179), clamp_off_ms=ms(182)) == key
    assert len(bed.things("canister")) == 1


def test_a_level_that_was_not_read_leaves_no_row_and_a_clamp_without_an_end_is_refused(bed: Bedside) -> None:
    for told in (
        {"clamp_on_ms": ms(179)},
        {"clamp_off_ms": ms(182)},
        {"clamp_on_ms": ms(183), "clamp_off_ms": ms(182)},
    ):
        with pytest.raises(RecordError, match="clamp"):
            changed(bed, **told)
    changed(bed, level="")
    assert words(bed, "canister_level") == []


def test_a_hold_has_a_coded_reason_and_an_end(bed: Bedside) -> None:
    key = bed.do(charting.hold_on, "awaiting_imaging", from_ms=ms(100), once="h")
    bed.do(charting.hold_off, key, version=1, at_ms=ms(150))
    assert (bed.things("hold")[0]["from_ms"], bed.things("hold")[0]["to_ms"]) == (ms(100), ms(150))
    for reason, note in (("because", ""), ("other", " ")):
        with pytest.raises(RecordError):
            bed.do(charting.hold_on, reason, from_ms=ms(100), once=f"h {reason}", note=note)


def test_a_task_is_done_once_with_what_came_of_it(bed: Bedside) -> None:
    key = bed.do(charting.add_task, "ask for the film", due_ms=ms(300), once="t")
    for _ in range(2):
        version = bed.things("task")[0].version
        bed.do(charting.task_done, key, version=version, by="n", at_ms=ms(195), result="asked")
    assert (bed.things("task")[0].version, bed.things("task")[0]["result"]) == (2, "asked")
    with pytest.raises(RecordError, match="done already"):
        bed.do(charting.task_done, key, version=2, by="other", at_ms=ms(195))


def test_acts_are_made_of_the_act_that_they_are_given(bed: Bedside) -> None:
    """Several things of one form are one act, and a fault in the last takes back the first."""
    acts = bed.acts()

    def both(act: Acting, course: Course) -> None:
        charting.chart_set(act, course, SET, by="n", at_ms=ms(190), once="both")
        charting.hold_on(act, course, "no such reason", from_ms=ms(100), once="both")

    with pytest.raises(RecordError):
        bed.do(both)
    assert bed.acts() == acts
    assert words(bed, "note") == []
