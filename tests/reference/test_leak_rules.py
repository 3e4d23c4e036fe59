"""Published rules on air, with their edges. Values are exact unless a display's step is named.

A stepped display is judged by whole cells: where the cell of a printed value straddles the limit, the published
'50 is not met' becomes 'cannot tell', because the paper's number was never printed.
"""

from __future__ import annotations

from typing import Any

import pytest

from behaviour.protocol.a_rule import air_alone, answer, judge, one_clause
from slackwater.protocol import Evaluation, Status
from slackwater.protocol.shipped import shipped

AIR_50 = shipped("air-50-8h")
AIR_20 = shipped("air-20-8h")


def air_50(*stretches: list[str], **given: Any) -> Evaluation:
    return judge(AIR_50, air_leak=list(stretches), **given)


# --- below 50 mL/min for 8 h, means over 10 min: JTCVS Open, April 2024 (read) ------------------------------------


def test_48_bins_at_49_9_are_met() -> None:
    assert air_50(["480 min", "49.9 mL/min"]).overall is Status.MET


def test_one_bin_of_48_at_50_0_is_not_met() -> None:
    for before in (0, 100, 235, 470):
        stretches = [["470 min", "49.9 mL/min"], ["10 min", "50.0 mL/min"]]
        if before < 470:
            stretches = [["10 min", "50.0 mL/min"], [f"{470 - before} min", "49.9 mL/min"]]
            stretches = [[f"{before} min", "49.9 mL/min"], *stretches] if before else stretches
        assert air_50(*stretches).overall is Status.NOT_MET


def test_the_same_bin_on_a_display_in_steps_of_10_cannot_be_told() -> None:
    found = air_50(["470 min", "40 mL/min"], ["10 min", "50 mL/min"], step="10 mL/min")
    assert found.overall is Status.CANNOT_TELL


def test_sliding_bins_see_what_fixed_bins_would_share_out() -> None:
    """Ours: the source does not say where its bins begin; every ten minutes count here, wherever they begin."""
    spike = [["235 min", "0 mL/min"], ["10 min", "50 mL/min"], ["235 min", "0 mL/min"]]  # fixed bins: two of 25
    assert air_50(*spike).overall is Status.NOT_MET


def test_47_bins_since_connection_are_not_met() -> None:
    assert air_50(["470 min", "0 mL/min"]).overall is Status.NOT_MET


def test_47_bins_in_a_log_that_merely_begins_late_cannot_be_told() -> None:
    assert air_50(["470 min", "0 mL/min"], connected="unknown").overall is Status.CANNOT_TELL
    assert air_50(["60 min", "missing"], ["470 min", "0 mL/min"]).overall is Status.CANNOT_TELL


def test_two_of_48_bins_missing_cannot_be_told() -> None:
    for first, last in ((230, 230), (0, 460), (460, 0)):
        stretches = [["20 min", "missing"]]
        stretches = [[f"{first} min", "0 mL/min"], *stretches] if first else stretches
        stretches = [*stretches, [f"{last} min", "0 mL/min"]] if last else stretches
        assert air_50(*stretches).overall is Status.CANNOT_TELL


def test_after_a_spike_the_rule_is_met_only_at_the_end_of_the_second_run() -> None:
    found = air_50(["470 min", "30 mL/min"], ["10 min", "60 mL/min"], ["480 min", "30 mL/min"])
    assert found.overall is Status.MET
    assert found.first_met_ms is not None
    # Means slide: a bin with six minutes of 60 and four of 30 reads 48, with seven it reads 51. So the run begins
    # six minutes before the spike ends, and is met eight hours after that.
    assert found.first_met_ms - (found.as_of_ms - 960 * 60_000) == (480 - 6 + 480) * 60_000
    timeline = found.timeline
    assert not ((timeline[: 470 + 10] == Status.MET) | (timeline[: 470 + 10] == Status.MET_WITH_GAPS)).any()


def test_zero_flow_without_a_sign_of_an_open_tube_is_never_met() -> None:
    """No swing in flow or pressure, nothing charted: nobody knows whether the tube is open."""
    found = air_50(["24 h", "0 mL/min"], tube_open="never")
    assert found.overall is Status.CANNOT_TELL
    assert {part.id: part.status for part in found.criteria}["air"] is Status.MET


@pytest.mark.parametrize("doubt", ["off", "clamped", "doubt", "missing"])
def test_a_stretch_off_clamped_or_disconnected_inside_the_window_cannot_be_told(doubt: str) -> None:
    assert air_50(["10 h", "0 mL/min"], ["10 min", doubt], ["4 h", "0 mL/min"]).overall is Status.CANNOT_TELL


def test_a_change_of_suction_inside_the_window_starts_the_run_anew() -> None:
    given: dict[str, Any] = {"suction_change": ["479 min ago"]}
    assert air_50(["20 h", "0 mL/min"], **given).overall is Status.NOT_MET
    given["suction_change"] = ["480 min ago"]
    assert air_50(["20 h", "0 mL/min"], **given).overall is Status.MET


def test_a_leak_on_cough_alone_has_not_stopped() -> None:
    """Cerfolio 1998 (read): 'forced expiratory only' is a leak."""
    found = air_50(["20 h", "0 mL/min"], effort=[["1 h ago", "leak"]])
    assert found.overall is Status.NOT_MET
    assert {part.id: part.status for part in found.criteria}["air"] is Status.MET


# --- other definitions on the same trace -------------------------------------------------------------------------


@pytest.mark.parametrize(("flow", "expected"), [("19.9", "met"), ("20.0", "not_met"), ("20.1", "not_met")])
def test_consistently_below_20(flow: str, expected: str) -> None:
    """Brunelli, EJCTS 2013;43:899-904 (read): the number; the eight hours are the example's."""
    assert answer(AIR_20, "air", air_leak=[["8 h", f"{flow} mL/min"]]) == expected


@pytest.mark.parametrize(("printed", "expected"), [(10, "met"), (20, "cannot_tell"), (30, "not_met")])
def test_consistently_below_20_on_a_display_in_steps_of_10(printed: int, expected: str) -> None:
    given = {"air_leak": [["8 h", f"{printed} mL/min"]], "step": "10 mL/min"}
    assert answer(AIR_20, "air", **given) == expected


def test_consistently_means_every_reading() -> None:
    one_second = [["4 h", "0 mL/min"], ["1 s", "20 mL/min"], ["59 s", "0 mL/min"], ["239 min", "0 mL/min"]]
    assert answer(AIR_20, "air", air_leak=one_second) == "not_met"
    assert answer(AIR_50, "air", air_leak=one_second) == "met"


@pytest.mark.parametrize(("flow", "leak"), [("9.9", "not_met"), ("10", "met"), ("10.1", "met")])
def test_any_flow_of_10_or_more_is_a_leak(flow: str, leak: str) -> None:
    """J Cardiothorac Surg 2024;19:120 (read): a chart entry of 10 mL/min or more is an episode of leak."""
    rule = one_clause('measure = "air_leak"\nis = "at_least"\nlimit = "10 mL/min"\nlasting = "1 min"', "escalation")
    assert answer(rule, air_leak=[["1 h", f"{flow} mL/min"]]) == leak


def test_one_flat_trace_at_30_has_three_answers_under_three_definitions() -> None:
    flat = [["24 h", "30 mL/min"]]
    assert judge(AIR_50, air_leak=flat).overall is Status.MET
    assert judge(AIR_20, air_leak=flat).overall is Status.NOT_MET
    assert answer(air_alone("at_least", "10 mL/min", lasting="1 h"), "air", air_leak=flat) == "met"


def test_the_clock_of_a_leak_begins_with_the_end_of_the_operation_not_with_the_first_record() -> None:
    """STS database definition (read): the days of a prolonged leak count from surgery."""
    rule = one_clause('measure = "hours_since"\nof = "operation.end"\nis = "above"\nlimit = "120 h"')
    record = [["100 h", "60 mL/min"]]
    assert answer(rule, air_leak=record, patient={"operation_end": "119 h ago"}) == "not_met"
    assert answer(rule, air_leak=record, patient={"operation_end": "121 h ago"}) == "met"
    assert answer(rule, air_leak=record, patient={"operation_end": "unknown"}) == "cannot_tell"


def test_a_bubbling_grade_is_a_word_and_never_a_flow() -> None:
    """Cerfolio 2001 (read): no source maps grades to mL/min."""
    from slackwater.errors import ProtocolError

    with pytest.raises(ProtocolError, match="is a word"):
        one_clause('measure = "bubbling"\nis = "below"\nlimit = "20 mL/min"\nwithin = "4 h"')
    found = judge(AIR_50, bubbling=[["1 h ago", "E"]])
    assert found.criteria[0].value is None
    assert found.overall is Status.CANNOT_TELL
