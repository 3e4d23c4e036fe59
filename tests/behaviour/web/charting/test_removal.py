"""A removal: the right drain read back, two people, the rule's answer with what is missing, and what is owed after it.

Two people and a breath told beforehand: common practice, no source; the moment of breathing is disputed, so the page
has no choice of its own. The rest is the pages' own behaviour.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.web.charting.a_bedside import CHARTED, LOGGED, NOW_MS, Bedside, a_bedside, faults

OWED = {
    "due_chest_xray": "2041-03-07T11:00", "due_observations": "2041-03-07T10:00", "due_site": "2041-03-07T13:00",
    "not_suture_out": "no suture",
}  # fmt: skip
PLANNED = {
    "kind": "planned", "number": "1", "side": "right", "site": "apical", "breath_phase": "valsalva",
    "tip_intact": "yes", "removed_by": "Invented first", "second_person": "Invented second",
    "analgesia": "2041-03-07T08:20", "because": "asked for by the surgeon on the round", **OWED,
}  # fmt: skip


@pytest.fixture
def bedside(tmp_path: Path) -> Iterator[Bedside]:
    with a_bedside(tmp_path, "specialist_nurse") as one:
        yield one


def overall(bedside: Bedside, drain: str) -> str:
    return bedside.get(f"/drain/{drain}/remove").text.split('name="overall" value="')[1].split('"')[0]


def remove(bedside: Bedside, drain: str = LOGGED, once: str = "", **other: str):  # type: ignore[no-untyped-def]
    said = {**PLANNED, "overall": overall(bedside, drain), **other}
    return bedside.post(f"/drain/{drain}/remove", once=once, **said)


def test_the_page_says_what_the_rule_waits_for_and_chooses_nothing(bedside: Bedside) -> None:
    page = bedside.get(f"/drain/{LOGGED}/remove").text
    assert "not met" in page and "It waits for" in page and "a cough or walk tried" in page
    assert "safe" not in page.lower() and "checked" not in "".join(re.findall("<input type=.radio[^>]*>", page))


def test_that_no_analgesia_was_given_is_said_and_is_not_the_same_as_not_recorded(bedside: Bedside) -> None:
    assert "Either a time" in faults(remove(bedside, no_analgesia="on"))["analgesia"]
    assert remove(bedside, analgesia="", no_analgesia="on").status_code == 303
    page = bedside.get(f"/drain/{LOGGED}").text
    assert "analgesia none given" in page and "not owed after removal: suture out" in page and "no suture" in page


def test_a_removal_against_the_rule_keeps_its_reason_as_a_decision_and_what_is_owed(bedside: Bedside) -> None:
    for _ in range(2):
        answer = remove(bedside, once="removed-once")
        assert answer.status_code == 303 and answer.headers["location"].endswith("/after")
    (out,) = bedside.things("removal", LOGGED)
    assert (out["kind"], out["time_ms"], out["breath_phase"], out["tip_intact"]) == (
        "planned",
        NOW_MS,
        "valsalva",
        True,
    )
    assert out["overall"] == "not_met" and out["removed_by"] == "Invented first" and out["analgesia_ms"] < NOW_MS
    because = {one["what"]: one["because"] for one in bedside.things("decision", LOGGED)}
    assert because["removed against the rule or a hold"] == "asked for by the surgeon on the round"
    assert {one["what"] for one in bedside.things("check", LOGGED)} == {"chest_xray", "observations", "site"}


@pytest.mark.parametrize(
    ("field", "said"),
    [
        ("number", {"number": "2"}),
        ("number", {"number": ""}),
        ("side", {"side": "left"}),
        ("side", {"side": ""}),
        ("site", {"site": ""}),
        ("tapped", {"tapped": "another"}),
        ("kind", {"kind": ""}),
        ("breath_phase", {"breath_phase": ""}),
        ("tip_intact", {"tip_intact": ""}),
        ("removed_by", {"removed_by": ""}),
        ("second_person", {"second_person": ""}),
        ("second_person", {"second_person": "invented FIRST"}),
        ("because", {"because": ""}),
        ("because", {"overall": "met"}),
        ("at", {"at": "2041-03-07T12:00"}),
        ("at", {"at": "2041-03-01T12:00"}),
        ("analgesia", {"analgesia": "2041-03-07T08:59", "at": "2041-03-07T08:00"}),
        ("due_chest_xray", {"due_chest_xray": ""}),
        ("due_site", {"not_site": "not needed"}),
        ("due_observations", {"due_observations": "2041-03-07T08:00"}),
    ],
)
def test_each_thing_that_is_missing_or_wrong_stops_it_beside_its_field(
    bedside: Bedside, field: str, said: dict[str, str]
) -> None:
    answer = remove(bedside, **said)
    assert field in faults(answer) and f'id="e-{field}"' in answer.text
    assert not bedside.things("removal", LOGGED)
    assert said.get("because") == "" or "asked for by the surgeon" in answer.text, "nothing typed is lost"


def test_a_tap_on_the_drain_reads_it_back_where_the_record_knows_it(bedside: Bedside) -> None:
    answer = remove(bedside, tapped=LOGGED, number="", side="", site="")
    assert set(faults(answer)) == {"site"}, "its site is not recorded: it is read off the tube"
    assert remove(bedside, tapped=LOGGED, number="", side="", site="apical").status_code == 303


def test_a_drain_that_is_to_be_kept_needs_a_reason_too(bedside: Bedside) -> None:
    bedside.post(f"/drain/{CHARTED}/hold", reason="awaiting_imaging")
    page = bedside.get(f"/drain/{CHARTED}/remove").text
    assert "To be kept: awaiting imaging" in page and "No rule for removal judges this drain" in page
    answer = remove(bedside, CHARTED, side="left", because="")
    assert "to be kept" in faults(answer)["because"]


def test_who_may_record_which_removal(bedside: Bedside) -> None:
    bedside.as_("nurse")
    assert "specialist nurse or doctor" in faults(remove(bedside))["kind"]
    fell_out = {name: text for name, text in PLANNED.items() if name not in ("because", "breath_phase")}
    said = {**fell_out, "kind": "unplanned", "overall": overall(bedside, LOGGED)}
    assert bedside.post(f"/drain/{LOGGED}/remove", **said).status_code == 303
    for role in ("physiotherapist", "engineer", "audit_lead", "keeper"):
        bedside.as_(role)
        assert bedside.get(f"/drain/{LOGGED}/remove").status_code == 403


def test_another_removal_of_the_same_drain_is_refused(bedside: Bedside) -> None:
    remove(bedside)
    answer = bedside.post(f"/drain/{LOGGED}/remove", **{**PLANNED, "kind": "unplanned"})
    assert "out already" in faults(answer)["at"]


@pytest.mark.parametrize(
    "other", [{"tip_intact": "no"}, {"side": "left"}, {"removed_by": "Invented other"}, {"breath_phase": ""}]
)
def test_what_differs_from_the_removal_that_is_recorded_is_never_thought_kept(
    bedside: Bedside, other: dict[str, str]
) -> None:
    """A tip that was not whole, or another side read back, told of a drain that is out already."""
    assert remove(bedside).status_code == 303
    refused = bedside.post(f"/drain/{LOGGED}/remove", **{**PLANNED, **other})
    assert "recorded as out already" in faults(refused)["at"]
    assert [one["tip_intact"] for one in bedside.things("removal", LOGGED)] == [True]


def test_what_is_owed_is_done_with_what_was_found(bedside: Bedside) -> None:
    remove(bedside)
    bedside.later(150)
    page = bedside.get(f"/drain/{LOGGED}/after").text
    assert page.count("overdue</span>") == 2, "observations since 10:00 and the film since 11:00; it is 11:30"
    checks = {one["what"]: one for one in bedside.things("check", LOGGED)}
    site = {"check": checks["site"].key, "version": "1", "at": "2041-03-07T11:20"}
    assert "what was found" in str(faults(bedside.post(f"/drain/{LOGGED}/after", **site)))
    site[f"result_{checks['site'].key}"] = "dry, no air under the skin"
    for _ in range(2):
        assert bedside.post(f"/drain/{LOGGED}/after", **site).status_code == 303
    film = {"check": checks["chest_xray"].key, "version": "1", "at": "2041-03-07T11:20",
            f"result_{checks['chest_xray'].key}": "read by Dr Invented"}  # fmt: skip
    assert "chest_xray" in faults(bedside.post(f"/drain/{LOGGED}/after", **film))
    assert bedside.post(f"/drain/{LOGGED}/after", chest_xray="expanded", **film).status_code == 303
    assert bedside.rows(LOGGED)["chest_xray"]["value"] == "expanded"
    assert {one["what"] for one in bedside.things("check", LOGGED) if one["done_ms"]} == {"site", "chest_xray"}


def test_the_patient_is_held_against_the_last_values_before_the_removal(bedside: Bedside) -> None:
    bedside.post(f"/drain/{LOGGED}/set", resp_rate="16", spo2="97", at="2041-03-07T08:30")
    remove(bedside)
    bedside.later(60)
    said = {"resp_rate": "22", "spo2": "97", "heart_rate": "96", "site": "no air", "at": "2041-03-07T10:00"}
    assert bedside.post(f"/drain/{LOGGED}/after", **said).status_code == 303
    page = bedside.get(f"/drain/{LOGGED}/after").text
    row = re.search(r">Breathing rate</th><td>(.*?)</td><td>(.*?)</td><td>(.*?)</td>", page)
    assert row is not None and row.groups() == ("16 /min at 08:30", "22 /min at 10:00", "up by 6 /min")
    assert "as before" in page and bedside.rows(LOGGED)["site"]["value"] == "no air"
    assert "Nothing was looked at" in str(faults(bedside.post(f"/drain/{LOGGED}/after", at="2041-03-07T10:00")))


def test_a_drain_that_is_in_has_nothing_to_watch(bedside: Bedside) -> None:
    assert "This drain is in" in bedside.get(f"/drain/{LOGGED}/after").text
    assert bedside.post(f"/drain/{LOGGED}/after", spo2="97").status_code == 422
