"""An order of suction: kept exactly as typed, stopped where it must not be given, asked about where it looks a slip.

Contraindication: CICM 2009 model answer, as read: suction or a seal after pneumonectomy may shift the mediastinum.
"""

from __future__ import annotations

import pytest

from slackwater.episode.order import NO_RANGE, Known, SuctionOrder, level_of, suction_order, unanswered
from slackwater.errors import QuantityError
from slackwater.quantities.suction import SuctionRange
from slackwater.quantities.units import Quantity, parse_quantity


def pressure(text: str) -> Quantity:
    return parse_quantity(text, "pressure")


ALLOWED = SuctionRange(pressure("5 cmH2O"), pressure("25 cmH2O"), pressure("0.5 kPa"))


def order(text: str, last: str = "", operation: str | None = "lobectomy", **known: object) -> SuctionOrder:
    number, _, unit = text.partition(" ")
    before = pressure(last) if last else None
    return suction_order(number, unit, Known(operation=operation, last=before, **known))  # type: ignore[arg-type]


def ids(remarks: object) -> list[str]:
    return [one.id for one in remarks]  # type: ignore[attr-defined]


def test_all_four_units_stand_side_by_side_and_the_ordered_one_is_exact() -> None:
    """NIST SP 811: 20 cmH2O are 1.9613 kPa, 14.711 mmHg and 19.613 hPa."""
    found = order("20 cmH2O")
    assert found.beside == ("-20 cmH2O", "-1.96 kPa", "-14.71 mmHg", "-19.61 hPa (mbar)")
    assert (found.level, found.unit, found.cmh2o) == ("-20", "cmH2O", -20)
    assert found.stops == found.questions == ()


@pytest.mark.parametrize("typed", ["19.5 cmH2O", "-19.50 cmH2O", "−19.5 cm[H2O]"])
def test_an_order_is_never_rounded_and_its_minus_sign_is_not_needed(typed: str) -> None:
    found = order(typed)
    assert (found.level, found.unit) == ("-19.5", "cmH2O")
    assert found.reading_back.startswith("Suction -19.5 cmH2O: ")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("20 kPa", "-20 cmH2O"),
        ("2 cmH2O", "-2 kPa"),
        ("1.5 cmH2O", "-1.5 kPa"),
        ("200 cmH2O", "-200 kPa"),
        ("2 hPa", "-2 kPa"),
    ],
)
def test_a_factor_of_ten_is_asked_about_in_words_even_where_nothing_else_is_known(typed: str, meant: str) -> None:
    (question,) = order(typed).questions
    assert question.id == "factor_ten"
    assert f"Is {meant} meant?" in question.text
    assert question.text.count("kPa") >= 1


def test_ten_times_the_last_order_is_asked_about_though_the_level_is_usual() -> None:
    (question,) = order("30 cmH2O", last="-3 cmH2O").questions
    assert question.id == "factor_ten"
    assert "about ten times the last order, -3 cmH2O" in question.text


def test_a_tenth_of_what_is_delivered_is_asked_about() -> None:
    found = order("5 cmH2O", delivered_cmh2o=-51.0)
    assert "a tenth of what is delivered, -51 cmH2O" in found.questions[0].text


@pytest.mark.parametrize(
    ("typed", "last", "meant"),
    [("20 mmHg", "-20 cmH2O", "-20 cmH2O"), ("15 cmH2O", "-15 mmHg", "-15 mmHg"), ("20 mmHg", "-2 kPa", "")],
)
def test_mmhg_taken_for_cmh2o_is_asked_about_by_the_ratio_to_the_last_order(typed: str, last: str, meant: str) -> None:
    """1 mmHg is 1.35951 cmH2O; 20 mmHg after 2 kPa (20.4 cmH2O) is 1.333 times it, a step and no slip."""
    found = order(typed, last=last)
    assert ids(found.questions) == (["mercury"] if meant else [])
    if meant:
        assert f"Is {meant} meant?" in found.questions[0].text


def test_mmhg_is_held_against_what_is_delivered_too() -> None:
    assert ids(order("20 mmHg", delivered_cmh2o=-20.4).questions) == ["mercury"]
    assert ids(order("27 cmH2O", delivered_cmh2o=-20.4).questions) == []


def test_a_step_from_15_to_20_cmh2o_is_not_asked_about() -> None:
    assert order("20 cmH2O", last="-15 cmH2O", delivered_cmh2o=-14.6).questions == ()


def test_a_plus_sign_is_asked_about() -> None:
    assert ids(order("+20 cmH2O").questions) == ["sign"]


def test_stronger_and_weaker_are_said_in_words_that_no_sign_turns_round() -> None:
    """Check value: 'reduce suction' from -20 gives -10, never -30."""
    assert "weaker than the last order, -20 cmH2O" in order("10 cmH2O", last="-20 cmH2O").reading_back
    assert "stronger than the last order, -10 cmH2O" in order("-20 cmH2O", last="-10 cmH2O").reading_back


def test_outside_the_rules_range_it_is_stopped_to_the_exact_value() -> None:
    found = order("2.5 kPa", allowed=ALLOWED, rule="invented 1")  # 25.49 cmH2O
    assert ids(found.stops) == ["range"]
    assert "invented 1" in found.stops[0].text
    assert order("25 cmH2O", allowed=ALLOWED).stops == ()
    assert "Was -20 cmH2O meant?" in order("20 kPa", allowed=ALLOWED).stops[0].text


def test_without_a_range_none_is_checked_and_that_is_said() -> None:
    assert NO_RANGE in order("20 cmH2O").notes
    assert NO_RANGE not in order("20 cmH2O", allowed=ALLOWED).notes


def test_what_the_unit_can_be_set_to_stands_beside_the_order_and_changes_nothing() -> None:
    found = order("20 cmH2O", allowed=ALLOWED)
    assert "-2 kPa (-20.39 cmH2O)" in found.notes[0]
    assert found.cmh2o == -20
    assert order("2 kPa", allowed=ALLOWED).notes == ()


def test_after_pneumonectomy_suction_is_stopped_and_a_seal_carries_its_caution() -> None:
    assert ids(order("10 cmH2O", operation="pneumonectomy").stops) == ["pneumonectomy"]
    seal = suction_order("none added", "", Known(operation="pneumonectomy"))
    assert seal.stops == ()
    assert "mediastinum" in seal.notes[0]


def test_where_the_operation_is_not_recorded_it_is_asked_and_its_answer_may_stop_the_order() -> None:
    found = order("20 cmH2O", operation=None)
    assert ids(found.questions) == ["operation"]
    assert "mediastinum" in unanswered(found, {"operation": "Pneumonectomy"})["operation"]
    assert "lobectomy" in unanswered(found, {"operation": "lobektomy"})["operation"]
    assert unanswered(found, {"operation": "none"}) == {}


def test_a_question_is_answered_by_typing_level_and_unit_again() -> None:
    found = order("20 kPa")
    assert set(unanswered(found, {})) == {"factor_ten"}
    for wrong in ("yes", "20 cmH2O", "20", "2 kPa", "203.94 cmH2O"):
        assert set(unanswered(found, {"factor_ten": wrong})) == {"factor_ten"}, wrong
    assert unanswered(found, {"factor_ten": "-20 kPa"}) == {}


def test_zero_is_no_order_and_none_added_is_another_thing() -> None:
    assert ids(order("0 cmH2O").stops) == ["zero"]
    none = suction_order("none_added", "", Known())
    assert (none.level, none.unit, none.cmh2o) == ("none_added", "", None)
    assert none.questions == none.stops == ()


UNREADABLE = [
    ("20", "", "unit"), ("", "cmH2O", "level"), ("20", "mL", "unit"), ("twenty", "kPa", "level"),
    ("1,5", "kPa", "level"), ("1_0", "cmH2O", "level"), ("٢٠", "cmH2O", "level"), ("none_added", "kPa", "unit"),
    ("20 kPa", "cmH2O", "level"),
]  # fmt: skip


@pytest.mark.parametrize(("level", "unit", "where"), UNREADABLE)
def test_what_cannot_be_read_is_refused_with_place_and_mend(level: str, unit: str, where: str) -> None:
    """haz-F11: 1,5 could be 1.5 or 15."""
    with pytest.raises(QuantityError) as caught:
        suction_order(level, unit, Known(operation="lobectomy"))
    assert where in caught.value.where
    assert caught.value.mend


def test_the_unit_may_stand_with_the_number() -> None:
    assert suction_order("2 kPa", "", Known(operation="wedge")).unit == "kPa"


def test_a_recorded_level_is_read_back_with_its_sign_and_none_added_has_none() -> None:
    assert level_of("-1.5", "kPa") == pressure("-1.5 kPa")
    assert level_of("none_added", None) is None
