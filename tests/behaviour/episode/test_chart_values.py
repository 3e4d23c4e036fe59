"""Each item has its own values: numbers with their unit, closed words, and blanks that are not zero."""

from __future__ import annotations

import pytest

from behaviour.episode.typed_chart import chart, row
from slackwater.episode.items import ITEMS

DOCUMENTED = """
fluid_output canister_level canister instilled drained_before fluid_appearance air_leak_read bubbling cough
walk swing tube_open suction_ordered suction_delivered clamp tubing suction_unit chest_xray surgical_emphysema
breathing distress spo2 resp_rate heart_rate systolic temperature weight pain_rest pain_cough
length_at_skin site note oxygen consciousness spo2_scale pregnant home_help home_phone home_taught home_spares
"""


def value_of(item: str, value: object, unit: str = "") -> float | str | None:
    (entry,) = chart(row(8, item, value, unit)).entries
    return entry.value


@pytest.mark.parametrize(
    ("item", "value", "unit", "inside"),
    [
        ("fluid_output", "300", "mL", 300.0),
        ("fluid_output", "0.3", "L", 300.0),
        ("fluid_output", "3", "dL", 300.0),
        ("canister_level", "480", "ml", 480.0),
        ("instilled", "20", "mL", 20.0),
        ("drained_before", "1.1", "L", 1100.0),
        ("air_leak_read", "0.02", "L/min", 20.0),
        ("air_leak_read", "20", "mL/min", 20.0),
        ("spo2", "96", "%", 96.0),
        ("resp_rate", "18", "/min", 18.0),
        ("heart_rate", "80", "bpm", 80.0),
        ("temperature", "37.5", "Cel", 37.5),
        ("temperature", "99.5", "°F", 37.5),
        ("weight", "3200", "g", 3.2),
        ("length_at_skin", "120", "mm", 12.0),
        ("pain_rest", "3", "", 3.0),
        ("surgical_emphysema", "5", "{grade}", 5.0),
    ],
)
def test_numbers_come_in_the_internal_unit(item: str, value: str, unit: str, inside: float) -> None:
    assert value_of(item, value, unit) == inside


@pytest.mark.parametrize(
    ("item", "value", "unit"),
    [("weight", "0.1", "kg"), ("weight", "480", "g"), ("temperature", "25", "Cel"), ("temperature", "113", "[degF]"),
     ("suction_ordered", "-1000", "cmH2O")],
)  # fmt: skip
def test_what_a_bedside_could_see_is_read_up_to_its_bounds(item: str, value: str, unit: str) -> None:
    assert value_of(item, value, unit) is not None


def test_systolic_pressure_comes_in_the_internal_unit_of_pressure() -> None:
    # 1 mmHg = 13.5951 x 9.80665 Pa and 1 cmH2O = 98.0665 Pa: NIST SP 811 (2008), B.8.
    assert value_of("systolic", "120", "mmHg") == pytest.approx(120 * 1.35951, abs=1e-9)


@pytest.mark.parametrize("item", ["suction_ordered", "suction_delivered"])
@pytest.mark.parametrize("written", ["-20", "20", "+20", "−20"])
def test_suction_is_negative_however_its_sign_is_written(item: str, written: str) -> None:
    # A printed guideline drops the sign (STM 2017, J Thorac Dis 9:3255): never a positive pressure.
    assert value_of(item, written, "cmH2O") == -20.0


def test_suction_written_without_its_minus_sign_is_noted() -> None:
    assert "line 2" in chart(row(8, "suction_ordered", "2", "kPa")).notes[0]
    assert chart(row(8, "suction_ordered", "-2", "kPa")).notes == ()


def test_no_added_suction_is_not_a_suction_of_zero() -> None:
    assert value_of("suction_ordered", "none added") == "none_added"
    assert value_of("suction_ordered", "0", "cmH2O") == 0.0


@pytest.mark.parametrize(
    ("written", "read"),
    [("none", "none"), ("E4", "E4"), ("fe 1", "FE1"), ("i7", "I7"), ("C3", "C3"), ("None", "none")],
)
def test_bubbling_is_none_or_a_letter_with_its_size(written: str, read: str) -> None:
    assert value_of("bubbling", written) == read


@pytest.mark.parametrize(("item", "word"), [(i.name, w) for i in ITEMS.values() for w in i.words])
def test_every_listed_word_is_read_in_any_case_and_with_spaces(item: str, word: str) -> None:
    assert value_of(item, f" {word.replace('_', ' ').upper()} ") == word


@pytest.mark.parametrize("item", sorted(ITEMS))
def test_a_blank_says_nothing_and_is_not_zero(item: str) -> None:
    (entry,) = chart(row(8, item, " ")).entries
    assert entry.value is None
    assert entry.text == ""


def test_a_zero_is_zero() -> None:
    assert value_of("fluid_output", "0", "mL") == 0.0


def test_free_text_is_kept_as_written() -> None:
    assert value_of("note", "Walked to the door") == "Walked to the door"


def test_the_items_are_those_that_are_documented() -> None:
    assert set(ITEMS) == set(DOCUMENTED.split())
