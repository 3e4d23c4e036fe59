"""What programs write is recorded by the pages' own functions: once under its key, refused as a page refuses it.

The guards are those of the pages; that suction is not added after pneumonectomy is common practice, no source.
"""

from __future__ import annotations

import html
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from behaviour.web.api.a_program import AT, CHARTED, LOGGED, NO_LUNG, NOW_MS, Program, a_program, errors
from behaviour.web.charting.a_bedside import faults

SWING = {"item": "swing", "value": "present"}
CLAMP = {"kind": "trial", "off_after_min": 30, "ordered_by": "Invented registrar", "because": "asked for"}


@pytest.fixture
def program(tmp_path: Path) -> Iterator[Program]:
    with a_program(tmp_path, "registrar") as one:
        yield one


def twice(program: Program, path: str, **said: Any) -> Any:
    """Sent twice under one key: one act, one answer; the answer."""
    answers = []
    before = program.head()
    for _ in range(2):
        answer = program.post(path, once=f"sent-twice-{before}", **said)
        assert answer.status_code == 200, answer.text
        answers.append(answer.json())
    assert program.head() == before + 1
    first, again = answers
    assert first.get("recorded") == again.get("recorded")
    return first


WRITES: dict[str, dict[str, Any]] = {
    "chart": {"at": AT, "rows": [SWING, {"item": "suction_delivered", "value": "-20", "unit": "cmH2O"}]},
    "handling": {"at": AT, "what": "tubing:flushed", "instilled_ml": 20, "swing": "present"},
    "xray": {"at": AT, "chest_xray": "expanded", "read_by": "Invented radiologist"},
    "effort": {"at": AT, "effort": "cough", "seen": "no_leak", "pain_cough": 3},
    "fluid": {"at": AT, "fluid_output_ml": 12.5, "fluid_appearance": "serous"},
    "canister": {"at": AT, "suction_back": "yes", "canister_level_ml": 480, "lot": "L-1", "expires": "2042-01-01"},
    "clamp": {"at": AT, **CLAMP},
    "clamp/off": {"at": AT, "note": "as planned"},
    "hold": {"at": AT, "reason": "awaiting_imaging"},
    "tasks": {"what": "look at the site", "due_at": "2041-03-07T12:00:00Z"},
    "goal": {"version": 0, "goal": "air: out when the rule is met"},
}


@pytest.mark.parametrize("path", WRITES)
def test_each_write_is_recorded_once_under_its_key(program: Program, path: str) -> None:
    drain = CHARTED if path == "goal" else LOGGED
    found = twice(program, f"drains/{drain}/{path}", **WRITES[path])
    keys = {one["key"] for name, some in program.course(drain).items() if isinstance(some, list) for one in some
            if "key" in one}  # fmt: skip
    goal = program.course(drain)["goal"]
    canisters = {one.key for one in program.record.things("canister", {"drain": drain})}
    assert found["recorded"] and set(found["recorded"]) <= keys | canisters | ({goal["key"]} if goal else set())
    assert found["cautions"] and found["drain"] == drain and {"status", "data_until", "age_s"} <= set(found)


def test_other_words_under_a_key_that_was_used_are_refused(program: Program) -> None:
    said = {"once": "the-same-key", "at": AT}
    assert program.post(f"drains/{LOGGED}/chart", rows=[SWING], **said).status_code == 200
    other = program.post(f"drains/{LOGGED}/chart", rows=[{"item": "swing", "value": "absent"}], **said)
    assert "sent before with other words" in errors(other)["at"]
    assert program.post(f"drains/{LOGGED}/tasks", once="the-same-key", what="one").status_code == 200
    assert "other words" in errors(program.post(f"drains/{LOGGED}/tasks", once="the-same-key", what="two"))["what"]


def test_a_number_without_its_unit_is_refused_and_nothing_of_the_set_is_recorded(program: Program) -> None:
    rows = [SWING, {"item": "suction_delivered", "value": "20"}]
    assert "no unit" in errors(program.post(f"drains/{LOGGED}/chart", at=AT, rows=rows))["rows.1"]
    assert not program.bedside.all_rows(LOGGED)
    understood = program.post_bare(f"drains/{LOGGED}/orders/suction/understood", level="20")
    assert "unit" in errors(understood)["level"]


def test_a_local_time_is_refused(program: Program) -> None:
    assert "its zone is not said" in errors(program.post(f"drains/{LOGGED}/xray", at="2041-03-07T09:00",
                                                         chest_xray="not_reviewed"))["at"]  # fmt: skip


def test_no_row_is_charted_for_a_drain_that_was_out_and_no_order_or_clamp_by_the_back_door(program: Program) -> None:
    for item in ("clamp", "suction_ordered", "chest_xray", "canister"):
        answer = program.post(f"drains/{LOGGED}/chart", at=AT, rows=[{"item": item, "value": "on"}])
        assert "rows.0.item" in errors(answer)


def test_a_page_and_a_program_are_refused_in_the_same_words(program: Program) -> None:
    page = program.bedside
    pairs: list[tuple[str, dict[str, str], str, dict[str, Any]]] = [
        ("xray", {"chest_xray": "expanded"}, "xray", {"chest_xray": "expanded"}),
        ("handle", {"what": "tubing:milked", "instilled": "20"}, "handling",
         {"what": "tubing:milked", "instilled_ml": 20}),
        ("fluid", {}, "fluid", {}),
        ("hold", {"reason": "other"}, "hold", {"reason": "other"}),
        ("clamp", {"kind": "trial", "minutes": "30", "because": "x"}, "clamp",
         {"kind": "trial", "off_after_min": 30, "because": "x"}),
    ]  # fmt: skip
    for form, typed, path, sent in pairs:
        page.csrf = program.headers["x-csrf-token"]
        on_page = faults(page.post(f"/drain/{LOGGED}/{form}", **typed))
        here = errors(program.post(f"drains/{LOGGED}/{path}", at=AT, **sent))
        assert sorted(on_page.values()) == sorted(here.values()) and here, path


# --- orders ---------------------------------------------------------------------------------------


def understood(program: Program, drain: str, level: str) -> Any:
    answer = program.post_bare(f"drains/{drain}/orders/suction/understood", level=level)
    assert answer.status_code == 200, answer.text
    return answer.json()


def order(program: Program, drain: str, level: str, **said: Any) -> Any:
    told = understood(program, drain, level)
    whole = {
        "level": level, "from_at": AT, "reason": "lung not up on the film", "seen": told["seen"],
        "read_back": told["reading_back"], "heard": True, **said,
    }  # fmt: skip
    return program.post(f"drains/{drain}/orders/suction", **whole)


def test_an_order_stands_once_it_was_read_back(program: Program) -> None:
    told = understood(program, LOGGED, "-15 cmH2O")
    assert "-11.03 mmHg" in told["beside"] and told["reading_back"].startswith("Suction -15 cmH2O:")
    assert not program.course(LOGGED)["orders"]
    assert "said back" in errors(order(program, LOGGED, "-15 cmH2O", heard=False))["heard"]
    assert "not what was understood" in errors(order(program, LOGGED, "-15 cmH2O", read_back="yes"))["read_back"]
    before = program.head()
    first = order(program, LOGGED, "-15 cmH2O", once="ordered-once", may_be_off_min=20)
    again = order(program, LOGGED, "-15 cmH2O", once="ordered-once", may_be_off_min=20)
    assert first.status_code == again.status_code == 200 and first.json()["recorded"] == again.json()["recorded"]
    assert program.head() == before + 1
    assert "key of its own" in errors(order(program, LOGGED, "-10 cmH2O", once="ordered-once"))["once"]
    (there,) = program.course(LOGGED)["orders"]
    assert (there["level"], there["unit"], there["may_be_off_min"]) == ("-15", "cmH2O", 20)


def test_an_order_on_top_of_one_that_was_not_seen_is_a_conflict(program: Program) -> None:
    mark = understood(program, LOGGED, "-15 cmH2O")["seen"]
    assert order(program, LOGGED, "-10 cmH2O", from_at="2041-03-07T08:00:00Z").status_code == 200
    assert "Another order" in errors(order(program, LOGGED, "-15 cmH2O", seen=mark), 409)["level"]


def test_a_slip_of_unit_is_asked_about_and_suction_after_pneumonectomy_stops(program: Program) -> None:
    (asked,) = understood(program, LOGGED, "20 kPa")["questions"]
    assert asked["wants"] == "level" and "about ten times" in asked["text"]
    assert f"answers.{asked['id']}" in errors(order(program, LOGGED, "20 kPa"))
    told = [{"question": asked["id"], "answer": "20 kPa"}]
    assert "answers.factor_ten" not in order(program, LOGGED, "20 kPa", answers=told).text
    assert understood(program, NO_LUNG, "-10 cmH2O")["stops"]
    assert "pneumonectomy" in errors(order(program, NO_LUNG, "-10 cmH2O"))["level"]


# --- what is changed ------------------------------------------------------------------------------


def test_a_row_is_corrected_once_and_a_stale_version_is_a_conflict(program: Program) -> None:
    (key,) = program.post(f"drains/{LOGGED}/chart", at=AT, rows=[SWING]).json()["recorded"]
    said = {"at": AT, "value": "reduced", "version": 1, "why": "written in haste"}
    path = f"drains/{LOGGED}/entries/{key}"
    assert twice(program, f"{path}/correct", **said)["recorded"] == [key]
    assert errors(program.post(f"{path}/correct", **{**said, "value": "absent"}), 409)
    assert errors(program.post(f"{path}/take-back", version=1, why="not this drain"), 409)
    assert twice(program, f"{path}/take-back", version=2, why="not this drain")["recorded"] == [key]
    assert program.post(f"{path}/correct", **{**said, "version": 3}).status_code == 404
    assert key not in {one["key"] for one in program.course(LOGGED)["entries"]}


def test_what_was_asked_about_stands_with_its_note(program: Program) -> None:
    (key,) = program.post(f"drains/{LOGGED}/chart", at=AT, rows=[SWING]).json()["recorded"]
    twice(program, f"drains/{LOGGED}/entries/{key}/looked-again", version=1, note="seen at the bed")
    (row,) = [one for one in program.course(LOGGED)["entries"] if one["key"] == key]
    assert row["note"].startswith("looked again, it is so: seen at the bed") and row["version"] == 2


def test_goal_stay_task_and_hold_change_by_compare_and_swap(program: Program) -> None:
    at = f"drains/{LOGGED}"
    course = program.course(LOGGED)
    goal, stay = course["goal"]["version"], course["episode"]["version"]
    twice(program, f"{at}/goal", version=goal, goal="air until the film")
    assert errors(program.post(f"{at}/goal", version=goal, goal="another"), 409)
    twice(program, f"{at}/stay", version=stay, bed="12")
    assert errors(program.post(f"{at}/stay", version=stay, bed="13"), 409)
    (task,) = program.post(f"{at}/tasks", what="look at the site").json()["recorded"]
    twice(program, f"{at}/tasks/{task}/done", version=1, result="dry")
    assert errors(program.post(f"{at}/tasks/{task}/done", version=1, result="wet"), 409)
    (hold,) = program.post(f"{at}/hold", at=AT, reason="awaiting_imaging").json()["recorded"]
    twice(program, f"{at}/holds/{hold}/end", version=1, at=AT)
    assert program.post(f"{at}/holds/{'0' * 20}/end", version=1, at=AT).status_code == 404


# --- drains, removal, units -----------------------------------------------------------------------

NEW = {"patient": "W-9", "number": "1", "side": "left", "space": "pleural", "site": "apical", "connected_at": AT}


def test_a_drain_is_entered_once_under_a_number_of_its_own(program: Program) -> None:
    found = twice(program, "drains", **NEW)
    assert found["name"] == "W-9/1" and found["recorded"] == [found["drain"]]
    assert (
        "never used again"
        in errors(program.post("drains", **{**NEW, "connected_at": "2041-03-07T08:00:00Z"}))["number"]
    )
    assert program.course(found["drain"])["drain"]["site"] == "apical"


OUT = {
    "at": AT, "kind": "unplanned", "number": "1", "side": "right", "site": "apical", "tip_intact": "yes",
    "owed": [{"what": what, "not_owed_because": "tried"} for what in ("observations", "site", "suture_out")]
    + [{"what": "chest_xray", "due_at": "2041-03-07T11:00:00Z"}],
}  # fmt: skip


def test_the_right_drain_comes_out_once_and_what_is_owed_is_done(program: Program) -> None:
    at = f"drains/{LOGGED}"
    overall = program.told(f"{at}/assessment")["status"]
    wrong = errors(program.post(f"{at}/removal", **{**OUT, "side": "left", "overall": overall}))
    assert "Is it this drain?" in wrong["side"]
    assert errors(program.post(f"{at}/removal", **{**OUT, "overall": "not_applicable"}), 409)
    assert errors(program.post(f"{at}/after", at=AT, rows=[{"item": "distress", "value": "no"}]))["at"]
    twice(program, f"{at}/removal", overall=overall, **OUT)
    assert "was out by then" in errors(program.post(f"{at}/chart", at=AT, rows=[SWING]))["at"]
    twice(program, f"{at}/after", at=AT, rows=[{"item": "distress", "value": "no"}])
    (check,) = program.course(LOGGED)["checks"]
    done = {"at": AT, "version": 1, "result": "up", "chest_xray": "expanded"}
    unread = errors(program.post(f"{at}/checks/{check['key']}/done", **{**done, "chest_xray": "not_reviewed"}))
    assert "still owed" in unread["chest_xray"]
    twice(program, f"{at}/checks/{check['key']}/done", **done)
    assert program.course(LOGGED)["checks"][0]["done_at"] == AT
    assert program.post(f"{at}/checks/{'0' * 20}/done", **done).status_code == 404


def test_a_unit_is_set_up_by_two_and_turned_round_step_by_step(program: Program) -> None:
    program.as_("nurse")
    said = {"at": AT, "serial": "U-1", "serial_again": "U-1", "second_person": "Another", "identified": True}
    path = f"drains/{CHARTED}/unit"
    assert set(errors(program.post(path, **{**said, "serial_again": "U-2", "identified": False, "checked": []}))) == {
        "serial_again", "identified", "missing_because",
    }  # fmt: skip
    twice(program, path, **said, checked=[], missing_because="tried here")
    (unit,) = program.told("units")["units"]
    assert unit["state"] == "in_use" and unit["drain"] == CHARTED
    step = f"units/{unit['unit']}/state"
    assert "End its pairing first" in program.post(step, state="cleaned", method="wiped").json()["detail"]
    assert program.post(f"units/{'0' * 20}/state", state="lost").status_code == 404
    assert twice(program, step, state="faulty", note="a hum")["history"][-1]["note"] == "a hum"


# --- rules, people, cards -------------------------------------------------------------------------


def test_a_rule_is_entered_approved_by_two_and_pinned(program: Program) -> None:
    text = program.told(f"protocols/{program.told('protocols')['protocols'][0]['sha256']}")["text"]
    mine = text.replace('status = "example"', 'status = "draft"').replace('name = "air-50-8h"', 'name = "ours"')
    assert program.post("protocols", text=mine).status_code == 403
    program.as_("surgeon")
    assert "is no TOML" in (bad := program.post("protocols", text="[").json()["detail"]) or bad
    sha256 = twice(program, "protocols", text=mine)["sha256"]
    pin = {"drain": CHARTED, "why": "tried here", "version": 0}
    assert "approved here by 0 of 2" in program.post(f"protocols/{sha256}/pin", **pin).json()["detail"]
    assert len(twice(program, f"protocols/{sha256}/approve")["approvals"]) == 1
    program.as_("specialist_nurse")
    assert program.post(f"protocols/{sha256}/approve").json()["approved_here"]
    found = twice(program, f"protocols/{sha256}/pin", **pin)
    assert found["protocol"]["sha256"] == sha256 and found["status"]
    assert errors(program.post(f"protocols/{sha256}/pin", **{**pin, "version": 5}), 409) == {}


def test_people_and_cards_change_by_compare_and_swap(program: Program) -> None:
    program.as_("keeper")
    person = {"name": "Invented other", "login": "other", "role": "nurse", "password": "five quite invented words"}
    found = twice(program, "people", version=0, **person)
    assert found["version"] == 1 and found["wards"] is None
    assert errors(program.post("people", version=0, **{**person, "role": "surgeon"}), 409) == {}
    assert program.post(f"people/{found['person']}/left").json()["left_at"] is not None
    program.as_("surgeon")
    card = {"text": "Clamp near the chest.", "approved_by": "Lead, 2041-03-01"}
    assert twice(program, "cards/came_apart", version=0, **card)["version"] == 1
    assert errors(program.post("cards/came_apart", version=0, **{**card, "text": "Other."}), 409) == {}
    assert html.unescape(program.client.get("/first-minutes").text).count("Clamp near the chest.") == 1
    passer_by = program.post_bare("me/password", present="guessed at a screen", password="another four invented")
    assert "not the present password" in errors(passer_by)["present"]
    both = {"present": "four invented words", "password": "another four invented"}
    assert program.post_bare("me/password", **both).status_code == 204
    assert program.get("me").status_code == 401


def test_what_was_written_is_by_the_person_and_of_its_moment(program: Program) -> None:
    program.post(f"drains/{LOGGED}/chart", at="2041-03-07T09:30:00+01:00", rows=[SWING])
    row = program.bedside.rows(LOGGED)["swing"]
    assert (row["written_by"], row["time_ms"]) == ("Invented registrar", NOW_MS - 30 * 60_000)
