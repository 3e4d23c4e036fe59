"""M28: at the limit minus one, the limit and plus one, each comparison gives its one documented answer.

One step is 1 mL/min or 1 mL here; times go in whole minutes. Answers are those of docs/protocols.md.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from behaviour.protocol.a_rule import air_alone, answer, facts, one_clause
from slackwater.protocol import evaluate

# comparison -> answers just under, at and just over the limit
EDGES = {
    "below": ("met", "not_met", "not_met"),
    "at_most": ("met", "met", "not_met"),
    "at_least": ("not_met", "met", "met"),
    "above": ("not_met", "not_met", "met"),
}
ROWS = [(how, at, EDGES[how][k]) for how in EDGES for k, at in enumerate((49, 50, 51))]


@pytest.mark.parametrize(("how", "flow", "expected"), ROWS)
@pytest.mark.parametrize("bin", ["10 min", ""])
def test_air_flow_known_exactly(how: str, flow: int, expected: str, bin: str) -> None:
    assert answer(air_alone(how, bin=bin), "air", air_leak=[["8 h", f"{flow} mL/min"]]) == expected


@pytest.mark.parametrize(("how", "amount", "expected"), ROWS)
def test_an_amount_of_fluid(how: str, amount: int, expected: str) -> None:
    rule = one_clause(f'measure = "fluid_output"\nis = "{how}"\nlimit = "50 mL"\nwithin = "4 h"')
    assert answer(rule, fluid_output=[["4 h", f"{amount} mL"]]) == expected


@pytest.mark.parametrize(("how", "value", "expected"), ROWS)
def test_a_charted_number(how: str, value: int, expected: str) -> None:
    rule = one_clause(f'measure = "spo2"\nis = "{how}"\nlimit = "50 %"\nwithin = "4 h"')
    assert answer(rule, spo2=[["1 h ago", f"{value} %"]]) == expected


@pytest.mark.parametrize(("how", "value", "expected"), ROWS)
def test_time_since_an_event(how: str, value: int, expected: str) -> None:
    rule = one_clause(f'measure = "hours_since"\nof = "operation.end"\nis = "{how}"\nlimit = "50 min"')
    assert answer(rule, air_leak=[["2 h", "0 mL/min"]], patient={"operation_end": f"{value} min ago"}) == expected


@pytest.mark.parametrize(("minutes", "expected"), [(479, "not_met"), (480, "met"), (481, "met")])
@pytest.mark.parametrize("bin", ["10 min", ""])
def test_a_run_of_exactly_the_length_is_enough_and_a_minute_less_is_not(minutes: int, expected: str, bin: str) -> None:
    assert answer(air_alone(bin=bin), "air", air_leak=[[f"{minutes} min", "0 mL/min"]]) == expected


@pytest.mark.parametrize(("age", "expected"), [("239 min", "met"), ("240 min", "met"), ("241 min", "cannot_tell")])
def test_an_entry_of_exactly_the_age_still_counts(age: str, expected: str) -> None:
    rule = one_clause('measure = "spo2"\nis = "at_least"\nlimit = "92 %"\nwithin = "4 h"')
    assert answer(rule, spo2=[[f"{age} ago", "95 %"]]) == expected


@pytest.mark.parametrize(("later", "expected"), [("59 min", "met"), ("60 min", "met"), ("3601 s", "cannot_tell")])
def test_data_of_exactly_the_age_still_count(later: str, expected: str) -> None:
    rule = one_clause('measure = "fluid_output"\nis = "below"\nlimit = "50 mL"\nwithin = "4 h"')
    assert answer(rule, fluid_output=[["4 h", "0 mL"]], later=later) == expected


@pytest.mark.parametrize(("later_s", "expected"), [(0, "met"), (3600, "met"), (3601, "cannot_tell")])
def test_a_log_that_ended_longer_ago_than_the_rule_allows_meets_nothing(later_s: int, expected: str) -> None:
    """The grid ends with the log here: nothing is missing in it, it is only old."""
    quiet = facts(air_alone(), air_leak=[["9 h", "0 mL/min"]])
    found = evaluate(air_alone(), replace(quiet, now_ms=quiet.now_ms + later_s * 1000))
    assert found.criteria[0].status.word == expected
    assert found.overall.word == expected
    loud = facts(air_alone(), air_leak=[["9 h", "90 mL/min"]])
    assert evaluate(air_alone(), replace(loud, now_ms=loud.now_ms + later_s * 1000)).overall.word == "not_met"


@pytest.mark.parametrize(("age", "expected"), [("239 min", "met"), ("240 min", "cannot_tell")])
def test_the_tube_shown_open_exactly_as_long_ago_as_the_window_is_too_long_ago(age: str, expected: str) -> None:
    """The end of the data belongs to the window, its far edge does not."""
    tube = [f"{age} ago", "7 h ago"]
    assert answer(air_alone(), "tube_open", air_leak=[["9 h", "0 mL/min"]], tube_open=tube) == expected


@pytest.mark.parametrize(
    ("age", "expected"),
    [("480 min", "cannot_tell"), ("479 min", "met"), ("240 min", "met"), ("239 min", "cannot_tell")],
)
def test_the_start_of_the_run_has_its_own_window(age: str, expected: str) -> None:
    tube = [f"{age} ago", "1 h ago"]
    assert answer(air_alone(), "tube_open", air_leak=[["9 h", "0 mL/min"]], tube_open=tube) == expected


@pytest.mark.parametrize(("age", "expected"), [("479 min", "met"), ("480 min", "met"), ("481 min", "cannot_tell")])
def test_an_effort_of_exactly_the_age_still_counts(age: str, expected: str) -> None:
    effort = [["20 h ago", "leak"], [f"{age} ago", "no_leak"]]
    assert answer(air_alone(), "effort_seen", air_leak=[["21 h", "0 mL/min"]], effort=effort) == expected


@pytest.mark.parametrize(("change", "expected"), [("479 min", "not_met"), ("480 min", "met"), ("481 min", "met")])
def test_a_run_begins_anew_with_the_first_whole_minute_after_a_change_of_suction(change: str, expected: str) -> None:
    given = {"air_leak": [["20 h", "0 mL/min"]], "suction_change": [f"{change} ago"]}
    assert answer(air_alone(), "air", **given) == expected


def test_a_change_within_a_minute_costs_the_rest_of_that_minute() -> None:
    given = {"air_leak": [["20 h", "0 mL/min"]], "suction_change": ["28801 s ago"]}
    assert answer(air_alone(), "air", **given) == "met"
    given["suction_change"] = ["28799 s ago"]
    assert answer(air_alone(), "air", **given) == "not_met"


@pytest.mark.parametrize(
    ("rounding", "how", "flow", "expected"),
    [
        ("nearest", "below", 40, "met"),  # [35, 45)
        ("nearest", "below", 50, "cannot_tell"),  # [45, 55)
        ("nearest", "below", 60, "not_met"),  # [55, 65)
        ("nearest", "at_least", 60, "met"),
        ("floor", "below", 40, "met"),  # [40, 50): 50 is never reached
        ("floor", "below", 50, "not_met"),  # [50, 60)
        ("floor", "at_least", 40, "not_met"),
        ("floor", "at_least", 50, "met"),
        ("floor", "at_most", 50, "cannot_tell"),  # 50 itself would pass, 51 would not
        ("floor", "above", 50, "cannot_tell"),
        ("ceil", "at_most", 50, "met"),  # (40, 50]
        ("ceil", "below", 50, "cannot_tell"),
        ("ceil", "at_most", 60, "not_met"),  # (50, 60]: 50 is never reached
        ("ceil", "above", 60, "met"),
        ("unknown", "below", 40, "met"),  # (30, 50)
        ("unknown", "at_most", 60, "not_met"),  # (50, 70)
        ("unknown", "below", 50, "cannot_tell"),  # (40, 60)
        ("unknown", "below", 60, "not_met"),
    ],
)
@pytest.mark.parametrize("bin", ["10 min", ""])
def test_a_printed_value_stands_for_its_whole_cell(rounding: str, how: str, flow: int, expected: str, bin: str) -> None:
    given = {"air_leak": [["8 h", f"{flow} mL/min"]], "step": "10 mL/min", "rounding": rounding}
    assert answer(air_alone(how, bin=bin), "air", **given) == expected


@pytest.mark.parametrize(("minutes", "expected"), [(4, "met_with_gaps"), (5, "met_with_gaps"), (6, "cannot_tell")])
def test_gaps_up_to_the_tolerance_leave_it_met_with_gaps_and_never_plainly_met(minutes: int, expected: str) -> None:
    given = {"air_leak": [["4 h", "0 mL/min"], [f"{minutes} min", "missing"], ["5 h", "0 mL/min"]]}
    assert answer(air_alone(gaps="5 min"), "air", **given) == expected


@pytest.mark.parametrize(
    ("word", "expected"), [("off", "met_with_gaps"), ("clamped", "met_with_gaps"), ("doubt", "cannot_tell")]
)
def test_a_doubt_is_never_passed_over(word: str, expected: str) -> None:
    given = {"air_leak": [["4 h", "0 mL/min"], ["2 min", word], ["5 h", "0 mL/min"]]}
    assert answer(air_alone(gaps="5 min"), "air", **given) == expected


def test_a_tolerated_gap_does_not_hide_what_stands_beside_it() -> None:
    given = {"air_leak": [["4 h", "0 mL/min"], ["2 min", "missing"], ["1 min", "600 mL/min"], ["5 h", "0 mL/min"]]}
    assert answer(air_alone(gaps="5 min"), "air", **given) == "not_met"
