"""A full set: what the unit measured is there, eyes and hands are asked, nothing is chosen beforehand.

The pages' own behaviour is checked: nothing outside is needed. Readings are invented.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from behaviour.web.charting.a_bedside import AT, CHARTED, LOGGED, NOW_MS, Bedside, a_bedside, faults
from slackwater.store.course import course_of
from slackwater.store.read_out import assess_course
from slackwater.web.judges import Asked
from slackwater.web.set_facts import set_facts
from ward.a_ward import a_ward, signed_in

FULL = {
    "swing": "present", "tubing": "checked", "tube_open": "yes", "cough": "no_leak", "fluid_output": "30",
    "fluid_appearance": "serous", "site": "dry, sealed", "length_at_skin": "14", "surgical_emphysema": "0",
    "pain_rest": "2", "pain_cough": "4", "breathing": "own", "distress": "no", "resp_rate": "16", "spo2": "97",
    "oxygen": "air", "heart_rate": "80", "systolic": "124", "temperature": "36.8", "consciousness": "alert",
}  # fmt: skip


@pytest.fixture
def bedside(tmp_path: Path) -> Iterator[Bedside]:
    with a_bedside(tmp_path) as one:
        yield one


def test_what_the_unit_measured_is_filled_in_with_its_time_and_not_asked(bedside: Bedside) -> None:
    page = bedside.get(f"/drain/{LOGGED}/set").text
    for words in ("Air flow", "Largest since the last set", "Suction delivered", "at 09:00"):
        assert words in page
    assert 'name="bubbling"' not in page and 'name="air_leak_read"' not in page
    page = bedside.get(f"/drain/{CHARTED}/set").text
    assert 'name="bubbling"' in page and "Nothing is filled in" in page, "without a unit its bubbling is asked"


def test_an_old_log_is_not_what_the_unit_measures_now(bedside: Bedside) -> None:
    bedside.later(6 * 60)
    page = bedside.get(f"/drain/{LOGGED}/set").text
    assert "The unit&#39;s log ends at 09:00" in page and "Air flow</dt>" not in page
    assert 'name="air_leak_read"' in page, "then the display is read"


def test_without_a_rule_a_page_takes_a_log_for_now_as_long_as_the_leak_does(bedside: Bedside) -> None:
    record, place = bedside.app.state.record, bedside.app.state.settings.place
    with record.reading() as connection:
        course = replace(course_of(connection, LOGGED), goal=None)
    for minutes, live in ((12, True), (16, False)):
        now_ms = NOW_MS + minutes * 60_000
        found = assess_course(record, course, now_ms=now_ms)
        assert found.evaluation is None and found.leak.out_of_date is not live
        assert set_facts(course, found, Asked(place, LOGGED, now_ms, "UTC")).live is live


def test_nothing_is_chosen_beforehand(bedside: Bedside) -> None:
    page = bedside.get(f"/drain/{LOGGED}/set").text
    assert "checked" not in re.findall(r"<input type=\"radio\"[^>]*>", page).__str__().replace('value="checked"', "")


def test_a_full_set_becomes_chart_rows_of_one_act(bedside: Bedside) -> None:
    record = bedside.app.state.record
    before = record.head().seq
    answer = bedside.post(f"/drain/{LOGGED}/set", once="the-first-set", **FULL)
    assert answer.status_code == 303 and answer.headers["location"].endswith("/set/told?set=the-first-set")
    rows = bedside.rows(LOGGED)
    assert set(rows) == set(FULL)
    assert (rows["fluid_output"]["value"], rows["fluid_output"]["unit"]) == ("30", "mL")
    assert rows["swing"]["drain"] == "1" and rows["spo2"]["drain"] is None, "readings are the patient's"
    assert {one["time_ms"] for one in rows.values()} == {NOW_MS}
    assert len({one.seq for one in rows.values()}) == 1 and min(one.seq for one in rows.values()) > before


def test_what_was_not_looked_at_leaves_no_row(bedside: Bedside) -> None:
    bedside.post(f"/drain/{LOGGED}/set", swing="reduced", fluid_output="", spo2="", pain_rest="")
    assert set(bedside.rows(LOGGED)) == {"swing"}


def test_a_form_with_nothing_in_it_records_nothing(bedside: Bedside) -> None:
    assert "Nothing was looked at" in faults(bedside.post(f"/drain/{LOGGED}/set"))["at"]
    assert not bedside.rows(LOGGED)


def test_the_same_form_twice_is_one_set_and_other_words_under_its_key_are_refused(bedside: Bedside) -> None:
    for _ in range(2):
        assert bedside.post(f"/drain/{LOGGED}/set", once="one-set-once", **FULL).status_code == 303
    assert len(bedside.all_rows(LOGGED)) == len(FULL)
    again = bedside.post(f"/drain/{LOGGED}/set", once="one-set-once", **{**FULL, "swing": "absent"})
    assert "sent before" in faults(again)["at"]


@pytest.mark.parametrize(
    ("field", "said", "told"),
    [
        ("spo2", {"spo2": "107"}, "above 100"),
        ("spo2", {"spo2": "9,5"}, "decimal point"),
        ("fluid_output", {"fluid_output": "-4"}, ""),
        ("swing", {"swing": "wild"}, "no value of swing"),
        ("surgical_emphysema", {"surgical_emphysema": "6"}, "above 5"),
        ("suction_delivered", {"suction_delivered": "20"}, "of what"),
        ("suction_delivered", {"suction_delivered_unit": "kPa"}, "level"),
        ("suction_delivered", {"suction_delivered": "2", "suction_delivered_unit": "none_added"}, "keep one"),
        ("oxygen", {"oxygen": "L/min"}, "how much"),
        ("oxygen", {"oxygen_amount": "2"}, "of what"),
        ("oxygen", {"oxygen": "air", "oxygen_amount": "2"}, "keep one"),
        ("bubbling", {"bubbling": "E"}, "size"),
        ("bubbling", {"bubbling": "none", "bubbling_size": "3"}, "keep one"),
        ("at", {"at": "2041-03-07T10:00", "swing": "present"}, "not come yet"),
        ("at", {"at": "", "swing": "present"}, "when it was looked at"),
        ("at", {"at": "yesterday", "swing": "present"}, ""),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_nothing_typed_is_lost(
    bedside: Bedside, field: str, said: dict[str, str], told: str
) -> None:
    answer = bedside.post(f"/drain/{CHARTED}/set", **{"length_at_skin": "12", **said})
    found = faults(answer)
    assert told in found[field]
    assert answer.text.count(f'id="e-{field}"') == 1 and 'value="12"' in answer.text
    assert not bedside.rows(CHARTED)


def test_each_value_keeps_its_unit(bedside: Bedside) -> None:
    bedside.post(
        f"/drain/{CHARTED}/set", suction_delivered="2", suction_delivered_unit="kPa", oxygen="L/min", oxygen_amount="2",
        bubbling="E", bubbling_size="4",
    )  # fmt: skip
    rows = bedside.rows(CHARTED)
    assert (rows["suction_delivered"]["value"], rows["suction_delivered"]["unit"]) == ("2", "kPa")
    assert (rows["oxygen"]["value"], rows["oxygen"]["unit"]) == ("2", "L/min")
    assert rows["bubbling"]["value"] == "E4"


def test_the_last_of_each_item_stands_beside_it_and_only_its_own_button_fills_it_in(bedside: Bedside) -> None:
    bedside.post(f"/drain/{LOGGED}/set", **FULL)
    page = bedside.get(f"/drain/{LOGGED}/set").text
    assert 'data-fill="f-length_at_skin" data-value="14"' in page
    assert len(re.findall("data-fill=", page)) == 1, "readings are read anew, words are tapped anew"
    assert re.search(r'value="present"><span>present</span><span class="as">before, 09:00', page)


def test_the_score_is_shown_before_saving_with_what_is_missing_and_by_its_paper(bedside: Bedside) -> None:
    part = {"resp_rate": "22", "spo2": "93"}
    answer = bedside.post(f"/drain/{LOGGED}/set", show="1", **part)
    assert answer.status_code == 200 and not bedside.rows(LOGGED), "to show is not to record"
    assert "not computed: needs" in answer.text and "Royal College of Physicians" in answer.text
    assert "from memory" in answer.text
    whole = {**{name: FULL[name] for name in ("resp_rate", "spo2", "oxygen", "heart_rate", "systolic", "temperature",
                                              "consciousness")}, "spo2_scale": "scale_1", "pregnant": "no"}  # fmt: skip
    assert "Early-warning score 0" in bedside.post(f"/drain/{LOGGED}/set", show="1", **whole).text


def test_what_is_asked_once_is_not_asked_again(bedside: Bedside) -> None:
    bedside.post(f"/drain/{LOGGED}/set", spo2_scale="scale_1", pregnant="no")
    page = bedside.get(f"/drain/{LOGGED}/set").text
    assert 'name="spo2_scale"' not in page and "SpO2 scale: scale 1, charted 09:00" in page


def test_afterwards_it_says_what_is_still_open_and_what_is_due(bedside: Bedside) -> None:
    bedside.post(f"/drain/{LOGGED}/set", once="some-of-a-set", swing="present", spo2="97")
    page = bedside.get(f"/drain/{LOGGED}/set/told?set=some-of-a-set").text
    assert "Still open" in page and "items are there for this shift" in page
    assert "A help, no mark" in page and "Due next" in page
    assert "swing</b> present" in page


def test_a_contradiction_is_asked_about_with_both_numbers_and_times_never_refused(bedside: Bedside) -> None:
    """20 mL/min recorded all that time beside 'none seen' is asked about (contradictions.py); here suction is told in
    the wrong unit: 20 kPa for what the log has as about 20 cmH2O."""
    said = {"suction_delivered": "20", "suction_delivered_unit": "kPa"}
    assert bedside.post(f"/drain/{LOGGED}/set", once="a-slip-of-unit", **said).status_code == 303
    page = bedside.get(f"/drain/{LOGGED}/set/told?set=a-slip-of-unit").text
    assert "20 kPa for 09:00" in page and "cmH2O was recorded from" in page
    row = bedside.rows(LOGGED)["suction_delivered"]
    assert f"/drain/{LOGGED}/entry/{row.key}/correct" in page

    answer = bedside.post(
        f"/drain/{LOGGED}/set/told", set="a-slip-of-unit", entry=row.key, version=str(row.version), note=""
    )
    assert "looked at again" in faults(answer)["note"]
    answer = bedside.post(
        f"/drain/{LOGGED}/set/told", set="a-slip-of-unit", entry=row.key, version="1", note="display read twice"
    )
    assert answer.status_code == 303
    row = bedside.rows(LOGGED)["suction_delivered"]
    assert row.version == 2 and "looked again, it is so: display read twice" in row["note"]
    assert "Look again" not in bedside.get(f"/drain/{LOGGED}/set/told?set=a-slip-of-unit").text


def test_a_run_of_the_same_sets_is_told_kindly(bedside: Bedside) -> None:
    for hour in ("06", "07", "08"):
        bedside.post(f"/drain/{CHARTED}/set", once=f"the-same-{hour}", **{**FULL, "at": f"2041-03-07T{hour}:00"})
    page = bedside.get(f"/drain/{CHARTED}/set/told?set=the-same-08").text
    assert "The last 3 sets say the same" in page and "That may well be so" in page


def test_the_judges_own_processes_answer_the_same_pages(tmp_path: Path) -> None:
    with a_ward(tmp_path) as (_app, client):
        csrf = signed_in(client, "nurse")
        said = {"csrf": csrf, "once": "by-the-judges", "at": AT, "swing": "present"}
        assert client.post(f"/drain/{LOGGED}/set", data=said).status_code == 303
        assert "items are there for this shift" in client.get(f"/drain/{LOGGED}/set/told?set=by-the-judges").text
        assert client.post(f"/drain/{LOGGED}/fluid", data={**said, "show": "1", "fluid_output": "5"}).status_code == 200
        assert client.get(f"/drain/{LOGGED}/remove").status_code == 200
