"""Readings that staff took off the unit: alone they can break the air clause, and beside a log they can contradict it.

Source of each check: ours, from the rule that missing and doubtful data move an answer only towards cannot tell, and
that a drain without a log is judged by its spot readings.
"""

from __future__ import annotations

from typing import Any

import pytest

from behaviour.assessment.a_quiet_stay import (
    LAYOUT,
    MINUTES,
    Said,
    air_clause,
    answer,
    assessed,
    overall,
    part,
    quiet,
    rule,
)
from property.a_small_stay import log_rows, log_text
from slackwater.leak.words import CONFLICT, REASONS

AT = MINUTES - 49


def read(value: str, minute: int = AT, unit: str = "mL/min", **how: Any) -> Said:
    return Said(minute, "air_leak_read", value, unit, **how)


def air(*said: Said, **how: Any) -> dict[str, Any]:
    return part(answer(quiet(*said), **how), "air")


# --- without a log ------------------------------------------------------------------------------------------------


def alone(*said: Said, at: float = MINUTES) -> dict[str, Any]:
    return air(*said, logs=[], at=at)


def test_a_reading_over_the_limit_is_not_met_with_its_value() -> None:
    found = alone(read("80", MINUTES))
    assert found["status"] == "not_met"
    assert found["value"] == {"low": 80.0, "high": 80.0, "unit": "mL/min"}


def test_a_reading_at_the_limit_is_not_below_it() -> None:
    assert alone(read("0.05", unit="L/min"))["status"] == "not_met"


@pytest.mark.parametrize("value", ["0", "30", "49", ""])
def test_readings_below_the_limit_and_blanks_cannot_tell(value: str) -> None:
    assert alone(*(read(value, minute) for minute in range(10, MINUTES, 10)))["status"] == "cannot_tell"


def test_the_reading_over_the_limit_is_shown_though_a_lower_one_followed() -> None:
    found = alone(read("80", 400), read("10", 700))
    assert (found["status"], found["value"]["low"]) == ("not_met", 80.0)


@pytest.mark.parametrize(("ago", "status"), [(479, "not_met"), (480, "cannot_tell")])
def test_a_reading_counts_for_as_long_as_the_clause_lasts(ago: int, status: str) -> None:
    assert alone(read("80", MINUTES - ago))["status"] == status


@pytest.mark.parametrize(("last", "status"), [("80", "not_met"), ("10", "cannot_tell")])
def test_where_the_latest_counts_only_the_last_reading_does(last: str, status: str) -> None:
    latest = rule(air_clause("air", "8 h").replace("lasting", "within"))
    found = answer(quiet(read("60", 600), read(last, 700)), protocol=latest, logs=[], at=MINUTES)
    assert part(found, "air")["status"] == status


def test_two_readings_of_one_moment_that_differ_tell_nothing() -> None:
    assert alone(read("80"), read("10"))["status"] == "cannot_tell"


def test_a_reading_counts_from_when_it_was_written_down() -> None:
    late = read("80", 600, late=60)
    assert alone(late, Said(10, "swing", "present"), at=650)["status"] == "cannot_tell"
    assert alone(late, at=660)["status"] == "not_met"


# --- beside a log -------------------------------------------------------------------------------------------------

AGAINST = [read("300"), read("50"), read("0.3", unit="L/min"), Said(AT, "bubbling", "C5"), Said(AT, "bubbling", "C1")]


@pytest.mark.parametrize("said", AGAINST, ids=lambda said: f"{said.item} {said.value}")
def test_a_log_of_zeros_that_the_chart_contradicts_cannot_tell(said: Said) -> None:
    found = answer(quiet(said))
    assert (found["overall"], part(found, "air")["status"]) == ("cannot_tell", "cannot_tell")
    (note,) = found["notes"]
    assert f"line 2, {said.item} {said.value}" in note
    assert "at most 0 mL/min" in note


def test_the_minutes_about_it_say_why() -> None:
    leak = assessed(quiet(read("300"))).leak_trace
    assert leak is not None
    doubted = [k for k, code in enumerate(leak.reason.tolist()) if code == CONFLICT]
    assert REASONS[CONFLICT] == "conflict"
    assert doubted == [AT - 2, AT - 1, AT, AT + 1, AT + 2]


AGREES = [
    read("0"), read("5"), read("49"), read(""), Said(AT, "bubbling", "none"), Said(AT, "bubbling", "E2"),
    Said(AT, "bubbling", ""),
]  # fmt: skip


@pytest.mark.parametrize("said", AGREES, ids=lambda said: f"{said.item} {said.value or 'blank'}")
def test_what_does_not_contradict_changes_nothing(said: Said) -> None:
    found = answer(quiet(said))
    assert (found["overall"], found["notes"]) == ("met", [])


@pytest.mark.parametrize(("flow", "status"), [(45, "met"), (35, "cannot_tell")])
def test_a_display_a_little_over_the_log_is_no_contradiction(flow: int, status: str) -> None:
    """47.5 and 37.5 mL/min at most, read as 55: a fifth of the reading lies between display and log."""
    stay = quiet(read("55"), flow=lambda minute: flow - 5 * (minute % 2))
    assert part(answer(stay), "air")["status"] == status


def test_a_reading_never_takes_a_recorded_leak_back() -> None:
    stay = quiet(read("0"), read("300", AT - 30), flow=lambda minute: 120 + 5 * (minute * 7 % 5))
    found = answer(stay)
    assert (part(found, "air")["status"], found["notes"]) == ("not_met", [])


def test_a_contradiction_older_than_the_run_is_over() -> None:
    assert overall(quiet(read("300", 200))) == "met"


def test_it_counts_from_when_it_was_written_down() -> None:
    late = quiet(read("300", 600, late=60))
    assert [overall(late, at=at) for at in (650, 660)] == ["met", "cannot_tell"]


def test_two_readings_that_differ_contradict_nothing() -> None:
    assert overall(quiet(read("300"), read("0"))) == "met"


# --- where the log is silent --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("value", "status"), [("300", "not_met"), ("30", "met")])
def test_a_reading_after_the_log_ended_counts(value: str, status: str) -> None:
    assert air(read(value, MINUTES + 10), at=MINUTES + 20)["status"] == status


@pytest.mark.parametrize(("value", "status"), [("300", "cannot_tell"), ("30", "met_with_gaps")])
def test_a_gap_with_a_reading_over_the_limit_in_it_is_not_passed_over(value: str, status: str) -> None:
    tolerant = rule(air_clause("air", "8 h"), gaps="30 min")
    stay = quiet(read(value)).without(range(AT - 8, AT + 8))
    found = answer(stay, protocol=tolerant, logs=[log_text(log_rows(stay))], layout=LAYOUT)
    assert part(found, "air")["status"] == status
