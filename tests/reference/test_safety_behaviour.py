"""Published and ward-known traps on air and safety, through the one call. The source stands beside each.

Where a source names a limit and a window, the shipped example rule that carries them judges.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC
from typing import Any

import pytest

import slackwater
from end_to_end.a_stay import stay as simulated
from property.a_small_stay import MINUTES, Reading, Said, Stay, healed, judged
from slackwater.cli.view.answer import answer_text
from slackwater.protocol.status import Status

AIR_50 = slackwater.shipped_protocol("air-50-8h")  # below 50 mL/min for 8 h in 10-min means: JTCVS Open, April 2024


def quiet(*said: Said, swing: int = 60) -> Stay:
    """Twelve hours of no flow; breathing is seen unless `swing` is 0."""
    dry = tuple(replace(r, flow=0) for r in healed(swing=swing).readings)
    return Stay(dry, tuple(sorted(said, key=lambda s: s.minute)))


def document(stay: Stay, protocol: slackwater.Protocol = AIR_50, at: float | None = None) -> dict[str, Any]:
    return slackwater.document(judged(stay, protocol=protocol, at=at))


def one(parts: list[dict[str, Any]], name: str) -> dict[str, Any]:
    return next(part for part in parts if part["id"] == name)


def text(stay: Stay, protocol: slackwater.Protocol = AIR_50) -> str:
    return " ".join(answer_text(judged(stay, protocol=protocol), UTC, colour=False).split())


def rule(*blocks: str) -> slackwater.Protocol:
    head = (
        'name = "invented"\nversion = "1"\nstatus = "draft"\nsource = "invented for the tests"\n'
        '[evidence]\ndata_age = "1 h"\n'
        'gaps = "0 min"\n[guards]\ntube_open = { within = "4 h", by = ["swing"] }\neffort_seen = { within = "8 h" }\n'
    )
    return slackwater.load_protocol((head + "\n".join(blocks)).encode(), "invented.toml")


def test_control_eight_dry_hours_with_the_swing_seen_are_met() -> None:
    assert document(quiet())["overall"] == "met"


# --- 51: no flow, no swing, no movement of pressure: patency unproven. Ward practice; safety, no tolerance ----------


def test_51_no_flow_without_a_swing_is_not_met() -> None:
    found = document(quiet(swing=0))
    assert found["overall"] == "cannot_tell"
    assert one(found["criteria"], "air")["status"] == "met"  # the numbers alone would say so
    assert one(found["guards"], "tube_open")["status"] == "cannot_tell"
    assert "the tube shown open" in " ".join(found["waiting_for"])


def test_51_no_flow_and_a_pressure_that_never_moves_is_not_met_either() -> None:
    still = tuple(replace(r, pressure=-100, low=-100, high=-100) for r in quiet().readings)
    assert document(Stay(still, ()))["overall"] == "cannot_tell"


@pytest.mark.parametrize(
    "charted", [Said(60, "swing", "present"), Said(700, "swing", "absent"), Said(700, "tube_open", "no")]
)
def test_51_an_old_look_or_a_look_that_saw_it_shut_does_not_help(charted: Said) -> None:
    assert document(quiet(charted, swing=0))["overall"] in ("cannot_tell", "not_met")


# --- 52: off, clamped or apart inside the window: not determinable for that span. Ward practice --------------------


@pytest.mark.parametrize(
    ("item", "begins", "ends"),
    [("suction_unit", "off", "on"), ("clamp", "on", "off"), ("tubing", "apart", "reconnected")],
)
def test_52_a_window_that_spans_off_clamp_or_disconnection_cannot_be_told(item: str, begins: str, ends: str) -> None:
    stay = quiet(Said(500, item, begins), Said(530, item, ends))
    found = judged(stay, protocol=AIR_50)
    leak = found.leak_trace
    assert leak is not None
    assert (leak.state[501:529] == 0).all()  # cannot_tell
    assert set(leak.reason[501:529].tolist()) & {3, 4, 5}  # disconnected, off, clamped
    assert found.overall in (Status.CANNOT_TELL, Status.NOT_MET)


def test_52_the_same_before_the_window_is_forgiven() -> None:
    assert document(quiet(Said(100, "suction_unit", "off"), Said(130, "suction_unit", "on")))["overall"] == "met"


# --- 53: suction changed inside the window: the clock starts anew. JTCVS Open 2024 judged on one suction -----------


def test_53_a_change_of_suction_inside_the_window_starts_the_clock_anew() -> None:
    change = 500
    stay = quiet(Said(10, "suction_ordered", "-10", "cmH2O"), Said(change, "suction_ordered", "-2", "cmH2O"))
    found = document(stay)
    air = one(found["criteria"], "air")
    assert air["status"] == "not_met"
    assert air["run"]["lasted_s"] == (MINUTES - change) * 60
    assert found["overall"] == "not_met"


def test_53_the_same_order_written_again_does_not() -> None:
    stay = quiet(Said(10, "suction_ordered", "-10", "cmH2O"), Said(500, "suction_ordered", "10", "cmH2O"))
    assert document(stay)["overall"] == "met"


# --- 54: absent at rest, present on cough: 'forced expiratory', not stopped. Cerfolio 1998 -------------------------


def test_54_air_only_with_effort_is_not_stopped() -> None:
    made = simulated("effort_only")
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    found = slackwater.assess(
        [slackwater.read_log(made.logs[0], layout, "log.csv")],
        chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv"),
        episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        protocol=AIR_50,
    )
    assert made.truth.leaking_at_end
    assert found.overall is Status.NOT_MET
    assert found.evaluation is not None
    assert next(g for g in found.evaluation.guards if g.id == "effort_seen").status is Status.NOT_MET


@pytest.mark.parametrize("said", [Said(700, "cough", "leak"), Said(700, "walk", "leak"), Said(700, "bubbling", "FE2")])
def test_54_a_charted_leak_on_effort_stands_against_a_dry_trace(said: Said) -> None:
    found = document(quiet(said))
    assert one(found["guards"], "effort_seen")["status"] == "not_met"
    assert found["overall"] == "not_met"


def test_54_tried_again_and_not_seen_it_is_met() -> None:
    assert document(quiet(Said(300, "cough", "leak"), Said(700, "cough", "no_leak")))["overall"] == "met"


# --- 57: time counts from the end of the operation, not from the first record --------------------------------------


def test_57_the_clock_of_the_operation_starts_at_its_end_and_not_at_the_first_row() -> None:
    """The operation ended 30 minutes before connection; the log begins two hours after it."""
    day = rule(
        '[[removal]]\nid = "half-day"\nmeasure = "hours_since"\nof = "operation.end"\nis = "at_least"\nlimit = "12 h"'
    )
    late = replace(quiet(), readings=tuple(r for r in quiet().readings if r.minute > 120))
    at = MINUTES - 30  # twelve hours after the operation's end, eleven and a half after connection
    for moment, expected in ((at, "met"), (at - 1, "not_met")):
        known = replace(late, readings=tuple(r for r in late.readings if r.minute <= moment))
        assert one(document(known, day, moment)["criteria"], "half-day")["status"] == expected


# --- 82: removed lung and suction: a hard stop. CICM ---------------------------------------------------------------


def after_pneumonectomy(stay: Stay) -> slackwater.Assessment:
    found = judged(stay, protocol=slackwater.shipped_protocol("strict-local"))
    episode = replace(found.episode, operation_kind="pneumonectomy")
    return slackwater.assess(
        list(found.trace.logs) if found.trace else [], chart=found.chart, episode=episode,
        protocol=slackwater.shipped_protocol("strict-local"),
    )  # fmt: skip


def test_82_after_pneumonectomy_there_is_no_verdict_and_no_added_suction() -> None:
    found = after_pneumonectomy(quiet(Said(60, "suction_ordered", "-20", "cmH2O")))
    answer = slackwater.document(found)
    assert answer["overall"] == "not_applicable"
    assert {c["status"] for c in answer["criteria"]} == {"not_applicable"}
    assert {c["status"] for c in answer["step_down"]["criteria"]} == {"not_applicable"}
    assert all(c["value"] is None for c in answer["criteria"])
    said = " ".join(answer_text(found, UTC, colour=False).split())
    assert "does not apply: after pneumonectomy: no air, removal or step-down verdict, and no added suction" in said


def test_82_bleeding_and_clamps_are_still_watched() -> None:
    found = after_pneumonectomy(quiet(Said(600, "clamp", "on"), Said(650, "fluid_appearance", "chylous")))
    fired = {part["id"] for part in slackwater.document(found)["escalation"] if part["status"] == "met"}
    assert {"chyle", "clamp-overdue"} <= fired


def test_82_not_even_the_line_on_the_leak_is_a_verdict() -> None:
    found = after_pneumonectomy(quiet())
    assert "Air leak: below limit" not in answer_text(found, UTC, colour=False)


# --- 83, 84: a clamp on a leaking lung; distress with a clamp on. Ward practice; no source names the words ---------


def leaking(*said: Said) -> Stay:
    return Stay(tuple(replace(r, flow=395 + 5 * (r.minute % 3)) for r in healed().readings), said)


def test_83_a_clamp_on_a_leaking_drain_warns_of_tension() -> None:
    assert "tension" in text(leaking(Said(700, "clamp", "on")))


def test_83_a_clamp_on_a_leaking_drain_is_never_read_as_quiet() -> None:
    clamped = tuple(replace(r, flow=0) if r.minute > 700 else r for r in leaking().readings)
    found = document(Stay(clamped, (Said(700, "clamp", "on"),)))
    assert found["leak"]["state"] == "cannot_tell"
    assert found["leak"]["reason"] == "clamped"
    assert found["overall"] != "met"


WORDS = "INVENTED: release the clamp, call for help."
CLAMPED_AND_DISTRESSED = rule(
    '[[removal]]\nid = "air"\nmeasure = "air_leak"\nbin = "10 min"\nis = "below"\nlimit = "50 mL/min"\nlasting = "1 h"',
    '[[escalation]]\nid = "distress"\nmeasure = "distress"\nis = "one_of"\nlimit = ["yes"]\nwithin = "1 h"\n'
    f'say = "{WORDS}"',
)


def test_84_distress_with_a_clamp_on_shows_the_units_own_words_before_anything_else_of_the_rule() -> None:
    """The words are the unit's, shown as written: the tool has none of its own."""
    stay = quiet(Said(650, "clamp", "on"), Said(715, "distress", "yes"))
    said = text(stay, CLAMPED_AND_DISTRESSED)
    assert WORDS in said
    assert said.index(WORDS) < said.index("clauses")
    fired = one(document(stay, CLAMPED_AND_DISTRESSED)["escalation"], "distress")
    assert (fired["status"], fired["say"]) == ("met", WORDS)


def test_84_no_distress_no_words() -> None:
    assert WORDS not in text(quiet(Said(650, "clamp", "on"), Said(715, "distress", "no")), CLAMPED_AND_DISTRESSED)


# --- 85: what every verdict shows. Ours, after the criteria of decision support that can be checked ----------------


@pytest.mark.parametrize("stay", [quiet(), quiet(swing=0), leaking()], ids=["met", "cannot tell", "not met"])
def test_85_a_verdict_shows_its_rule_its_inputs_what_is_missing_and_whose_decision_it_is(stay: Stay) -> None:
    said, found = text(stay), document(stay)
    assert f"air-50-8h {AIR_50.version} ({AIR_50.sha256[:12]})" in said
    assert f"log rows {MINUTES} read = {MINUTES} used" in said
    for wanted in found["waiting_for"]:
        assert wanted in said
    assert bool(found["waiting_for"]) == (found["overall"] != "met")
    assert "A licensed professional who has seen the patient decides, under local policy." in said
    assert found["criteria"][0]["evidence"][0]["rows"][0]["file"] == "log-1.csv"


# --- 86: a grade of bubbling is never a flow. Cerfolio 1998, 2001: no source maps one to the other -----------------


@pytest.mark.parametrize("grade", ["FE1", "E4", "I5", "C7"])
def test_86_a_grade_of_bubbling_makes_no_millilitres(grade: str) -> None:
    stay = Stay((), (Said(30, "swing", "present"), Said(700, "bubbling", grade)))
    found = slackwater.document(
        slackwater.assess(chart=judged(replace(quiet(), said=stay.said)).chart, protocol=AIR_50)
    )
    leak = found["leak"]
    assert (leak["low"], leak["mid"], leak["high"]) == (None, None, None)
    assert one(found["criteria"], "air")["value"] is None


def test_86_a_large_leak_on_water_seal_carries_a_caution() -> None:
    """Grade 4 of 7 or more: seal does not stop it, and 22 % had a pneumothorax on seal (Cerfolio 2001)."""
    said = text(quiet(Said(600, "suction_delivered", "none_added"), Said(700, "bubbling", "E5")))
    assert "pneumothorax" in said


def test_the_readings_here_are_whole() -> None:
    assert len(quiet().readings) == MINUTES
    assert isinstance(quiet().readings[0], Reading)
