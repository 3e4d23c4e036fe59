"""A drain entered: a number is never used again, and what lies on another ward is not told.

The page's own behaviour is checked: nothing outside is needed.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.web.charting.a_bedside import CHARTED, NOW_MS, Bedside, a_bedside, faults
from slackwater.store.acts import key_of

NEW = {
    "patient": "W-9", "number": "1", "side": "left", "space": "pleural", "site": "apical", "size_fr": "24",
    "ward": "East", "bed": "4", "initials": "AB", "age_years": "61", "weight_kg": "70", "operation": "lobectomy",
    "indication": "lung_resection",
}  # fmt: skip


@pytest.fixture
def bedside(tmp_path: Path) -> Iterator[Bedside]:
    with a_bedside(tmp_path) as one:
        yield one


def key(patient: str, number: str) -> str:
    return key_of("drain", key_of("patient", patient), number)


def test_patient_stay_space_and_drain_are_entered_once(bedside: Bedside) -> None:
    for _ in range(2):
        answer = bedside.post("/drain/new", once="entered-once", **NEW)
        assert answer.status_code == 303 and answer.headers["location"] == f"/drain/{key('W-9', '1')}"
    drain = bedside.app.state.record.thing("drain", key("W-9", "1"))
    stay = bedside.app.state.record.thing("episode", drain["episode"])
    space = bedside.app.state.record.thing("space", drain["space"])
    assert (drain["number"], drain["site"], drain["connected_ms"]) == ("1", "apical", NOW_MS)
    assert (stay["ward"], stay["bed"], stay["initials"], stay["operation_kind"]) == ("East", "4", "AB", "lobectomy")
    assert (space["side"], space["kind"]) == ("left", "pleural")


def test_a_number_is_never_used_again_and_the_next_is_offered(bedside: Bedside) -> None:
    page = bedside.post("/drain/new", show="1", patient="W-5").text
    assert "This patient is known" in page and "Next number never used: <b>2</b>" in page
    again = bedside.post("/drain/new", **{**NEW, "patient": "W-5"})
    assert "never used again. Next: 2." in faults(again)["number"]
    with bedside.app.state.record.act(by="tests", what="out") as act:
        act.add("removal", "r" * 20, {"drain": CHARTED, "kind": "unplanned", "time_ms": NOW_MS - 3_600_000})
    again = bedside.post("/drain/new", **{**NEW, "patient": "W-5"})
    assert "never used again" in faults(again)["number"], "not even when its drain is out"
    second = {**NEW, "patient": "W-5", "number": "2", "same_space": "1"}
    assert bedside.post("/drain/new", **second).status_code == 303
    first, other = (bedside.app.state.record.thing("drain", key("W-5", number)) for number in "12")
    assert first["space"] == other["space"] and first["episode"] == other["episode"]


@pytest.mark.parametrize(
    ("field", "value"),
    [("patient", ""), ("number", ""), ("side", ""), ("side", "top"), ("space", ""), ("site", ""), ("at", ""),
     ("at", "2041-03-08T09:00"), ("size_fr", "0"), ("weight_kg", "7,0"), ("age_years", "1961"), ("operation", "magic")],
)  # fmt: skip
def test_each_field_that_is_missing_or_wrong_is_said_beside_it(bedside: Bedside, field: str, value: str) -> None:
    answer = bedside.post("/drain/new", **{**NEW, field: value})
    assert field in faults(answer) and bedside.app.state.record.thing("drain", key("W-9", "1")) is None


def test_what_the_record_knows_is_not_changed_from_here(bedside: Bedside) -> None:
    bedside.post("/drain/new", **NEW)
    answer = bedside.post("/drain/new", **{**NEW, "number": "2", "weight_kg": "90"})
    assert "weight_kg is 70.0 in the record" in str(faults(answer))


def test_a_patient_of_another_ward_is_not_told_of_and_gets_no_drain(bedside: Bedside) -> None:
    bedside.post("/drain/new", **NEW)
    with bedside.app.state.record.act(by="tests", what="wards") as act:
        nurse = act.thing("person", key_of("person", "nurse"))
        act.change("person", nurse.key, {"wards": '["West"]'}, version=nurse.version)
    bedside.as_("nurse")  # the server knows who was let in for a few seconds
    page = bedside.post("/drain/new", show="1", patient="W-9").text
    assert "This patient is known" not in page and "apical</li>" not in page
    assert "ward" in faults(bedside.post("/drain/new", **{**NEW, "number": "2"}))
    answer = bedside.post("/drain/new", **{**NEW, "number": "2", "ward": "West"})
    assert "a ward that you do not see" in faults(answer)["patient"]
    assert bedside.app.state.record.thing("drain", key("W-9", "2")) is None


def test_another_spelling_of_the_letters_leads_round_no_wards_door(bedside: Bedside) -> None:
    """Two spellings of one letter are one name: Unicode Standard Annex 15 (NFC and NFD). Safety hazard I03."""
    name = "W-\u00c4"
    bedside.post("/drain/new", **{**NEW, "patient": name})
    with bedside.app.state.record.act(by="tests", what="wards") as act:
        nurse = act.thing("person", key_of("person", "nurse"))
        act.change("person", nurse.key, {"wards": '["West"]'}, version=nurse.version)
    bedside.as_("nurse")
    apart = unicodedata.normalize("NFD", name)
    assert "This patient is known" not in bedside.post("/drain/new", show="1", patient=apart).text
    answer = bedside.post("/drain/new", **{**NEW, "patient": apart, "number": "2", "ward": "West"})
    assert "a ward that you do not see" in faults(answer)["patient"]
    stay = key_of("episode", key_of("patient", name), 1)
    assert len(bedside.app.state.record.things("drain", {"episode": stay})) == 1


def test_the_same_number_on_the_other_side_is_not_taken_for_the_same_form(bedside: Bedside) -> None:
    bedside.post("/drain/new", **NEW)
    for other in ({"side": "right"}, {"site": "basal"}):
        assert "never used again" in faults(bedside.post("/drain/new", **{**NEW, **other}))["number"]
