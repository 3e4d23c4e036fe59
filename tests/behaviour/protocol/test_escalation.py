"""Escalation is read the other way round: 'met' fires, and silence never quiets it."""

from __future__ import annotations

import pytest

from behaviour.protocol.a_rule import answer, one_clause

HOUR = 'measure = "fluid_output"\nis = "at_least"\nlimit = "200 mL"\nwithin = "1 h"'


def escalating(clause: str, **given: object) -> str:
    return answer(one_clause(clause, "escalation"), **given)


def test_a_recorded_lower_bound_fires_though_more_is_unknown() -> None:
    assert escalating(HOUR, fluid_output=[["30 min", "200 mL"], ["30 min", "blank"]]) == "met"


def test_less_than_the_limit_beside_a_blank_cannot_be_told() -> None:
    assert escalating(HOUR, fluid_output=[["30 min", "100 mL"], ["30 min", "blank"]]) == "cannot_tell"


def test_nothing_charted_cannot_be_told_and_is_not_no() -> None:
    assert escalating(HOUR) == "cannot_tell"


def test_an_amount_goes_on_speaking_for_as_long_as_its_window() -> None:
    """Longer than the rule's `data_age` of 1 h, which would quiet a removal clause."""
    clause = HOUR.replace("1 h", "2 h")
    given = {"fluid_output": [["2 h", "60 mL"], ["2 h", "200 mL"]]}
    assert escalating(clause, **given, later="90 min") == "met"
    assert escalating(clause, **given, later="120 min") == "met"
    assert escalating(clause, **given, later="121 min") == "cannot_tell"


@pytest.mark.parametrize(("amounts", "expected"), [((100, 100), "met"), ((100, 99), "not_met"), ((99, 300), "not_met")])
def test_two_hours_running_each_must_reach_the_limit(amounts: tuple[int, int], expected: str) -> None:
    clause = 'measure = "fluid_output"\nis = "at_least"\nlimit = "100 mL"\nwithin = "1 h"\nlasting = "2 h"'
    assert escalating(clause, fluid_output=[["1 h", f"{amount} mL"] for amount in amounts]) == expected


def test_a_listed_word_anywhere_in_the_window_fires() -> None:
    clause = 'measure = "fluid_appearance"\nis = "one_of"\nlimit = ["chylous"]\nwithin = "24 h"'
    assert escalating(clause, fluid_appearance=[["20 h ago", "chylous"], ["1 h ago", "serous"]]) == "met"
    assert escalating(clause, fluid_appearance=[["25 h ago", "chylous"], ["1 h ago", "serous"]]) == "not_met"


@pytest.mark.parametrize(("minutes", "expected"), [(29, "not_met"), (30, "met"), (31, "met")])
@pytest.mark.parametrize("measure", ["clamped_for", "suction_short_for", "positive_pressure_for", "open_circuit_for"])
def test_a_stretch_of_time_fires_at_its_limit(measure: str, minutes: int, expected: str) -> None:
    clause = f'measure = "{measure}"\nis = "at_least"\nlimit = "30 min"'
    assert escalating(clause, **{measure: [["0 min ago", f"{minutes} min"]]}) == expected


ONLY = HOUR + '\nonly_until = { event = "operation.end", plus = "6 h" }'


@pytest.mark.parametrize(("since", "expected"), [("5 h", "met"), ("6 h", "met"), ("361 min", "not_applicable")])
def test_only_until_ends_a_clause(since: str, expected: str) -> None:
    given = {"fluid_output": [["1 h", "250 mL"]], "patient": {"operation_end": f"{since} ago"}}
    assert escalating(ONLY, **given) == expected


def test_only_until_an_event_that_nobody_recorded_does_not_quiet_it() -> None:
    given = {"fluid_output": [["1 h", "250 mL"]], "patient": {"operation_end": "unknown"}}
    assert escalating(ONLY, **given) == "met"
    given["fluid_output"] = [["1 h", "10 mL"]]
    assert escalating(ONLY, **given) == "not_met"
