"""The picture's data: complete, exact, small, and null where nothing was recorded.

Expected values come from the assessment itself (what is shown is what was decided, safety page M41), from a second
reading of the packed format in `a_picture.py`, or from arithmetic written beside them.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import slackwater
from behaviour.report.a_picture import (
    AIR_50,
    START_MS,
    assessed,
    channel,
    picture,
    rows,
    simulated,
    times,
    unpacked,
)
from end_to_end.a_stay import stay
from frame.test_words import BANNED
from slackwater.assessment.assessment import Assessment
from slackwater.assessment.minute_table import minute_columns
from slackwater.leak.words import REASONS, STATES
from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.columns import column, size_of
from slackwater.report.pack import hourly_table, packed, packed_size, picture_sentence
from slackwater.simulate import scenario, simulate
from slackwater.trace.types import NONE

HOUR = 3600


# --- single readings ------------------------------------------------------------------------------


@given(st.lists(st.integers(-(2**40), 2**40), max_size=60))
def test_a_column_reads_back_as_it_was(values: list[int]) -> None:
    assert unpacked(column(np.array(values, dtype=np.int64))).tolist() == values


def test_five_days_at_a_reading_a_second_take_half_a_megabyte() -> None:
    plan = scenario("healing")
    made = simulate(replace(plan, hours=120.0, unit=replace(plan.unit, cadence_s=1)), 1)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    found = slackwater.assess([slackwater.read_log(made.logs[0], layout, "log.csv")], protocol=AIR_50)
    readings = picture(found)["readings"]
    assert readings["rows"] == 432_000
    assert packed_size(readings) <= 500_000


def test_every_reading_comes_back_at_its_own_time() -> None:
    found = simulated("exchanged")  # two logs with a gap between them
    trace = found.trace
    assert trace is not None
    readings = picture(found)["readings"]
    start, end = times(readings)
    assert start.tolist() == trace.start_ms.tolist() and end.tolist() == trace.end_ms.tolist()
    flow = np.where(trace.flow_ul_per_min == NONE, np.nan, trace.flow_ul_per_min / 1000)
    np.testing.assert_array_equal(channel(readings["flow"]), flow)  # flow is exact
    assert trace.pressure_mcmh2o is not None
    pressure = np.where(trace.pressure_mcmh2o == NONE, np.nan, trace.pressure_mcmh2o / 1000)
    np.testing.assert_allclose(channel(readings["pressure"]), pressure, atol=0.05)  # in tenths


def test_rows_that_come_unevenly_keep_their_own_length() -> None:
    given = [(0, 5.0, -10.0), (1000, 10.0, -10.0), (2000, 5.0, -10.0), (2700, 0.0, -11.0), (9000, 15.0, -9.0)]
    found = assessed(given)
    assert found.trace is not None
    start, end = times(picture(found)["readings"])
    assert start.tolist() == found.trace.start_ms.tolist()
    assert end.tolist() == found.trace.end_ms.tolist()
    assert (start[1:] >= end[:-1]).all() and start[4] > end[3]  # the gap is there


def test_a_blank_reading_is_none_and_not_zero() -> None:
    found = assessed(rows(range(300), lambda second: None if 100 <= second < 103 else 0.0))
    flow = channel(picture(found)["readings"]["flow"])
    assert np.isnan(flow[100:103]).all() and (flow[:100] == 0).all() and (flow[103:] == 0).all()


def test_a_noisy_pressure_is_drawn_more_coarsely_before_the_page_grows() -> None:
    chance = np.random.default_rng(1)
    noisy = [(1000 * s, 5.0 * int(chance.integers(0, 60)), round(float(chance.normal(-20, 9)), 2)) for s in range(7200)]
    readings = picture(assessed(noisy))["readings"]
    steps = np.diff(readings["pressure"]["levels"])
    assert 0.19 < steps.min() <= 0.5001  # not tenths any more
    assert len(set(channel(readings["flow"]).tolist())) == 60  # flow is never coarsened


# --- minutes --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["exchanged", "effort_only_minutes", "blanks"])
def test_the_minutes_are_those_of_the_minute_table(name: str) -> None:
    found = simulated(name)
    minutes, table = picture(found)["minutes"], minute_columns(found)
    count = minutes["count"]
    pairs = {
        "flow": "flow_ml_per_min", "flow_max": "flow_max_ml_per_min", "swing": "swing_cmh2o",
        "pressure": "pressure_cmh2o", "low": "leak_low_ml_per_min", "high": "leak_high_ml_per_min",
    }  # fmt: skip
    for mine, theirs in pairs.items():
        shown = minutes[mine] or [None] * count
        expected = np.asarray(table[theirs], dtype=np.float64)[:count]
        assert [value is None for value in shown] == np.isnan(expected).tolist(), mine
        np.testing.assert_allclose([np.nan if v is None else v for v in shown], expected, atol=0.0501)
    assert [STATES[int(code)] for code in minutes["state"]] == list(table["state"])[:count]
    assert [REASONS[int(code)] for code in minutes["reason"]] == list(table["reason"])[:count]


def test_minutes_without_a_row_are_null_and_say_missing() -> None:
    found = assessed(rows([*range(600), *range(1200, 1800)]))
    minutes = picture(found)["minutes"]
    assert minutes["count"] == 30
    for name in ("flow", "flow_low", "flow_high", "flow_min", "flow_max", "low", "mid", "high", "pressure", "swing"):
        assert minutes[name][10:20] == [None] * 10, name
    assert minutes["covered"][10:20] == [0] * 10
    assert {minutes["state"][k] for k in range(10, 20)} == {str(STATES.index("cannot_tell"))}
    assert {minutes["reason"][k] for k in range(10, 20)} == {str(REASONS.index("missing"))}


def test_time_after_the_last_row_is_shown_as_missing_up_to_the_moment_asked_about() -> None:
    found = assessed(rows(range(600)), at_ms=START_MS + 30 * MINUTE_MS)
    data = picture(found)
    assert data["until"] == START_MS + 30 * MINUTE_MS and data["data_until"] == START_MS + 10 * MINUTE_MS
    assert data["minutes"]["flow"][10:] == [None] * 20


def test_a_minute_not_yet_over_is_left_to_the_single_readings() -> None:
    data = picture(assessed(rows(range(630))))
    assert data["minutes"]["count"] == 10


def test_every_code_is_one_digit() -> None:
    assert len(REASONS) <= 10  # the columns of states and reasons are strings, a digit a minute


def test_after_pneumonectomy_nothing_is_judged() -> None:
    data = picture(simulated("pneumonectomy"))
    assert data["not_judged"] and data["limit"] is None and data["runs"] == []
    assert data["minutes"]["state"] is None and data["minutes"]["high"] is None
    assert data["minutes"]["flow"] is not None  # what was recorded is shown


@pytest.mark.parametrize("rule", [None, "air-50-8h", "strict-local", "fluid-450"])
@pytest.mark.parametrize("name", ["none", "massive", "gravity_none", "dst_autumn", "usual_chart", "pneumonectomy"])
def test_every_picture_is_plain_json(name: str, rule: str | None) -> None:
    data = picture(simulated(name, rule))
    assert json.loads(json.dumps(data, allow_nan=False)) == data


# --- without a log --------------------------------------------------------------------------------


def charted_only() -> Assessment:
    made = stay("healing", 30.0)
    return slackwater.assess(
        chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv", made.scenario.zone),
        episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        protocol=AIR_50, zone=made.scenario.zone,
    )  # fmt: skip


def test_without_a_log_the_chart_is_shown_and_every_minute_cannot_be_told() -> None:
    found = charted_only()
    data = picture(found)
    assert data["readings"] is None and data["minutes"]["flow"] is None and data["minutes"]["count"] > 1000
    assert "No log" in data["not_judged"]
    assert data["events"] and data["fluid"]["steps"] and data["suction"]["ordered"]
    assert "no log of air flow" in picture_sentence(found, UTC)
    assert {row[1] for row in hourly_table(found, UTC)[1:]} == {"no log"}


def test_less_than_a_minute_has_no_picture_and_says_so() -> None:
    found = assessed(rows(range(20)))
    assert picture(found)["minutes"]["count"] == 0
    assert picture_sentence(found, UTC).startswith("Nothing to show")
    assert len(hourly_table(found, UTC)) == 1


# --- the limit and the run ------------------------------------------------------------------------


def test_the_limit_is_the_rule_s_and_is_missing_without_one() -> None:
    quiet = rows(range(600))
    with_rule, without = picture(assessed(quiet)), picture(assessed(quiet, protocol=None))
    assert with_rule["limit"]["ml_per_min"] == 50 and with_rule["limit"]["lasting_s"] == 8 * HOUR
    assert without["limit"] is None and "no clinical limit" in without["judged_against"]


@pytest.mark.parametrize("name", ["healing", "usual_chart", "dst_autumn", "effort_only_minutes"])
def test_the_run_shown_is_the_run_the_rule_judged(name: str) -> None:
    found = simulated(name)
    assert found.evaluation is not None
    judged = next(part.run for part in found.evaluation.criteria if part.id == "air")
    assert judged is not None
    now = [run for run in picture(found)["runs"] if run["now"]]
    assert [(run["from"], run["until"] - run["from"], run["needed_s"]) for run in now] == [
        (judged.since_ms, 1000 * judged.seconds, judged.needed_seconds)
    ]


def test_a_run_that_a_leak_ended_is_shown_with_its_end_and_a_leak_now_has_none() -> None:
    """An hour and a half below the limit, then a leak of 100 mL/min: the last 10-min mean below 50 ends within it."""
    found = assessed(rows(range(2 * HOUR), lambda second: 0.0 if second < 1.5 * HOUR else 100.0))
    runs = picture(found)["runs"]
    assert [run["now"] for run in runs] == [False]
    # means over 10 min: 4 min of 100 give 40, 5 min give 50, which is not below 50
    assert runs[0]["until"] == START_MS + 94 * MINUTE_MS
    assert runs[0]["words"] == "1 h 34 min of 8 h"


def test_an_unfinished_run_says_how_far_it_is() -> None:
    runs = picture(assessed(rows(range(2 * HOUR))))["runs"]
    assert [(run["now"], run["words"]) for run in runs] == [(True, "2 h of 8 h")]


# --- suction, fluid, events -----------------------------------------------------------------------

CHART = """2041-05-01T06:00:00Z,suction_ordered,-20,cmH2O,
2041-05-01T06:20:00Z,suction_ordered,,,
2041-05-01T06:30:00Z,suction_ordered,none_added,,
2041-05-01T06:10:00Z,fluid_output,100,mL,
2041-05-01T06:20:00Z,fluid_output,,mL,
2041-05-01T06:30:00Z,fluid_output,50,mL,
2041-05-01T06:15:00Z,cough,no_leak,,
2041-05-01T06:25:00Z,cough,no_leak,,
2041-05-01T06:25:00Z,clamp,on,,trial
2041-05-01T06:26:00Z,clamp,off,,
2041-05-01T06:27:00Z,note,<b>went for a walk</b>,,
"""


def test_an_order_left_blank_is_not_the_old_order() -> None:
    ordered = picture(assessed(rows(range(2400)), chart=CHART))["suction"]["ordered"]
    assert [(at - START_MS, level) for at, level, _ in ordered] == [(0, -20.0), (1_200_000, None), (1_800_000, 0.0)]
    assert [words for *_, words in ordered] == ["-20 cmH2O", "not told", "none added"]


def test_an_amount_left_blank_makes_the_total_a_least_one() -> None:
    steps = picture(assessed(rows(range(2400)), chart=CHART))["fluid"]["steps"]
    told = [((at - START_MS) // MINUTE_MS, ml, least) for at, ml, least in steps]
    # the connection is not known, so neither is since when the first amount came
    assert told == [(10, None, True), (10, 100.0, True), (10, None, True), (20, 100.0, True), (30, 150.0, True),
                    (30, None, True)]  # fmt: skip


def test_events_are_in_words_and_what_was_said_before_ranks_last() -> None:
    events = {event["words"]: event for event in picture(assessed(rows(range(2400)), chart=CHART))["events"]}
    assert set(events) >= {"cough: no leak seen", "clamp on", "clamp off", "suction ordered none added"}
    assert events["clamp on"]["kind"] == "handled" and events["clamp on"]["rank"] == 0
    assert events["cough: no leak seen"] == {
        "at": START_MS + 25 * MINUTE_MS,
        "kind": "seen",
        "words": "cough: no leak seen",
        "rank": 2,
    }
    assert "suction ordered: left blank" in events


# --- the ward's clock -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("zone", "when"),
    [
        ("Europe/Vienna", (2041, 10, 27)),
        ("Europe/Vienna", (2041, 3, 31)),
        ("Australia/Lord_Howe", (2041, 4, 7)),
        ("UTC", (2041, 6, 1)),
    ],
)
def test_the_offsets_are_the_zone_s(zone: str, when: tuple[int, int, int]) -> None:
    """Source: the time-zone database, by Python's zoneinfo."""
    start = int(datetime(*when, tzinfo=UTC).timestamp() * 1000)
    moved = [(start - START_MS + ms, flow, p) for ms, flow, p in rows(range(0, 36 * HOUR, 60))]
    data = packed(assessed(moved, every="1 min"), ZoneInfo(zone))
    for ms in range(data["from"], data["until"], 15 * MINUTE_MS):
        ahead = [minutes for at, minutes in data["zone"]["offsets"] if at <= ms][-1]
        told = datetime.fromtimestamp(ms / 1000, UTC).astimezone(ZoneInfo(zone)).utcoffset()
        assert told is not None and ahead == told.total_seconds() / 60


# --- in words -------------------------------------------------------------------------------------


def test_an_hour_that_comes_twice_has_two_rows_and_none_is_lost() -> None:
    found = simulated("dst_autumn")
    _, *table = hourly_table(found, ZoneInfo("Europe/Vienna"))
    twice = [row[0] for row in table if row[0].startswith("Sun 27 Oct 02:00")]
    assert twice == ["Sun 27 Oct 02:00 UTC+02:00", "Sun 27 Oct 02:00 UTC+01:00"]
    assert sum(_minutes(row[2]) for row in table) == picture(found)["minutes"]["count"]


def _minutes(states: str) -> int:
    return sum(int(part.split()[-2]) for part in states.split(", ")) if states else 0


def test_an_hour_without_a_row_says_nothing_recorded() -> None:
    found = assessed(rows([*range(HOUR), *range(2 * HOUR, 3 * HOUR)]))
    _, first, second, third = hourly_table(found, UTC)
    assert first[1] == "mean 0, largest 0" and third[1] == first[1]
    assert second[1] == "nothing recorded" and second[2] == "cannot tell 60 min"
    assert second[3] == "none recorded" and second[4] == "cannot tell" and "nothing was recorded (60 min)" in second[6]


def test_a_mean_near_the_limit_is_never_rounded_onto_it() -> None:
    """One of sixty minutes at 45, the rest at 50: 49.917, which is below 50 and must not read 50."""
    found = assessed(rows(range(HOUR), lambda second: 45.0 if second < 60 else 50.0))
    assert hourly_table(found, UTC)[1][1] == "mean 49.9, largest 50"


@pytest.mark.parametrize("name", ["demo", "none", "massive", "exchanged", "blanks", "usual_chart", "pneumonectomy"])
def test_the_sentence_accounts_for_every_minute(name: str) -> None:
    found = simulated(name)
    sentence = picture_sentence(found, UTC)
    minutes = picture(found)["minutes"]
    assert not [word for word, pattern in BANNED.items() if pattern.search(sentence)]
    if minutes["state"] is None:
        assert "not judged" in sentence
        return
    for word, code in (("was leaking", "2"), ("recorded air flow was below", "1"), ("cannot be told", "0")):
        assert (word in sentence) == (code in minutes["state"]), word


def test_words_of_the_chart_reach_the_page_as_data_only() -> None:
    events: list[dict[str, Any]] = picture(assessed(rows(range(2400)), chart=CHART))["events"]
    assert any("<b>" in event["words"] for event in events)  # as written: the page draws it, never reads it as HTML


def test_sizes_are_told_before_base64() -> None:
    assert size_of({"count": 3, "planes": 1, "differences": False, "data": "AAAA"}) == 3
