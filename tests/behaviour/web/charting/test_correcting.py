"""Handling, films, coughs and walks; and a chart row corrected: the old value stays, with its reason.

The pages' own behaviour is checked: nothing outside is needed.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from behaviour.web.charting.a_bedside import CHARTED, LEAKING, LOGGED, NO_LUNG, NOW_MS, Bedside, a_bedside, faults
from slackwater.store.course import course_of


@pytest.fixture
def bedside(tmp_path: Path) -> Iterator[Bedside]:
    with a_bedside(tmp_path) as one:
        yield one


def an_entry(bedside: Bedside) -> str:
    bedside.post(f"/drain/{CHARTED}/set", length_at_skin="12")
    return bedside.rows(CHARTED)["length_at_skin"].key


def test_a_correction_makes_another_version_with_its_reason(bedside: Bedside) -> None:
    key = an_entry(bedside)
    page = bedside.get(f"/drain/{CHARTED}/entry/{key}/correct").text
    assert 'name="version" value="1"' in page and 'value="12"' in page
    said = {"value": "13", "unit": "cm", "version": "1", "why": "read from the wrong end"}
    for _ in range(2):
        assert bedside.post(f"/drain/{CHARTED}/entry/{key}/correct", **said).status_code == 303
    row = bedside.rows(CHARTED)["length_at_skin"]
    assert (row["value"], row.version) == ("13", 2)
    act = bedside.app.state.record.head()
    assert act.why == "read from the wrong end" and '"old":{"value":"12"' in act.changes


def test_a_correction_without_a_reason_or_of_an_old_version_is_refused(bedside: Bedside) -> None:
    key = an_entry(bedside)
    path = f"/drain/{CHARTED}/entry/{key}/correct"
    assert "Write why" in faults(bedside.post(path, value="13", unit="cm", version="1"))["why"]
    bedside.post(path, value="13", unit="cm", version="1", why="first")
    late = bedside.post(path, value="14", unit="cm", version="1", why="second")
    assert "Somebody changed this while you wrote" in faults(late)["value"] and 'value="14"' in late.text
    assert "length at skin 13 cm" in late.text, "what it is now stands on the page"
    assert "value" in faults(bedside.post(path, value="13 or so", unit="cm", version="2", why="third"))
    assert bedside.rows(CHARTED)["length_at_skin"]["value"] == "13"


def test_a_row_is_taken_back_and_no_longer_counts(bedside: Bedside) -> None:
    key = an_entry(bedside)
    path = f"/drain/{CHARTED}/entry/{key}/correct"
    assert "why" in faults(bedside.post(path, back="1", version="1"))
    assert bedside.post(path, back="1", version="1", why="another patient's").status_code == 303
    assert "length_at_skin" not in bedside.rows(CHARTED)
    assert bedside.get(path).status_code == 404


def test_a_row_of_another_drain_is_not_there(bedside: Bedside) -> None:
    key = an_entry(bedside)
    assert bedside.get(f"/drain/{LOGGED}/entry/{key}/correct").status_code == 404
    assert bedside.post(f"/drain/{LOGGED}/entry/{key}/correct", value="1", version="1", why="x").status_code == 404


def test_every_row_is_listed_to_be_corrected(bedside: Bedside) -> None:
    key = an_entry(bedside)
    assert f"/drain/{CHARTED}/entry/{key}/correct" in bedside.get(f"/drain/{CHARTED}/correct").text


def test_a_film_has_its_reader_unless_it_is_not_read(bedside: Bedside) -> None:
    path = f"/drain/{LOGGED}/xray"
    assert "chest_xray" in faults(bedside.post(path))
    assert "who read it" in faults(bedside.post(path, chest_xray="expanded"))["read_by"]
    assert bedside.post(path, chest_xray="not_reviewed", at="2041-03-07T08:00").status_code == 303
    assert bedside.post(path, chest_xray="expanded", read_by="Dr Invented", at="2041-03-07T08:30").status_code == 303
    row = bedside.rows(LOGGED)["chest_xray"]
    films = {one["value"]: one for one in bedside.all_rows(LOGGED) if one["item"] == "chest_xray"}
    assert set(films) == {"not_reviewed", "expanded"} and films["expanded"]["note"] == "read by Dr Invented"
    assert row["drain"] == "1"


def test_a_walk_keeps_what_was_seen_and_how_far(bedside: Bedside) -> None:
    bedside.as_("physiotherapist")
    said = {"effort": "walk", "seen": "no_leak", "distance": "60 m", "suction": "off suction", "pain_cough": "3"}
    answer = bedside.post(f"/drain/{LOGGED}/try", once="walked-once", **said)
    assert answer.status_code == 303 and "set=walked-once" in answer.headers["location"]
    rows = bedside.rows(LOGGED)
    assert rows["walk"]["value"] == "no_leak" and rows["walk"]["note"] == "60 m; off suction"
    assert rows["pain_cough"]["value"] == "3"
    assert set(faults(bedside.post(f"/drain/{LOGGED}/try"))) == {"effort", "seen"}


def test_no_leak_seen_beside_a_recorded_flow_is_asked_about(bedside: Bedside) -> None:
    bedside.post(f"/drain/{LEAKING}/try", once="coughed-once", effort="cough", seen="no_leak")
    page = bedside.get(f"/drain/{LEAKING}/set/told?set=coughed-once").text
    assert "none seen at 09:00, while" in page and "mL/min flowed from" in page


def test_handling_is_charted_with_what_was_seen_after_it(bedside: Bedside) -> None:
    said = {"what": "tubing:flushed", "instilled": "20", "note": "ordered", "swing": "present"}
    assert bedside.post(f"/drain/{CHARTED}/handle", **said).status_code == 303
    rows = bedside.rows(CHARTED)
    assert (rows["tubing"]["value"], rows["tubing"]["note"]) == ("flushed", "ordered")
    assert rows["instilled"]["value"] == "20" and rows["swing"]["value"] == "present"
    assert bedside.post(f"/drain/{CHARTED}/handle", what="suction_unit:off").status_code == 303
    assert bedside.rows(CHARTED)["suction_unit"]["value"] == "off"
    assert "what" in faults(bedside.post(f"/drain/{CHARTED}/handle", what="note:anything"))
    assert "instilled" in faults(bedside.post(f"/drain/{CHARTED}/handle", what="tubing:milked", instilled="5"))


def test_a_drain_that_was_out_is_not_charted(bedside: Bedside) -> None:
    with bedside.app.state.record.act(by="tests", what="out") as act:
        act.add("removal", "r" * 20, {"drain": CHARTED, "kind": "unplanned", "time_ms": NOW_MS - 3_600_000})
    answer = bedside.post(f"/drain/{CHARTED}/set", swing="present")
    assert "was out by then" in faults(answer)["at"] and not bedside.rows(CHARTED)
    assert bedside.post(f"/drain/{CHARTED}/set", swing="present", at="2041-03-07T07:00").status_code == 303


def test_an_order_that_was_charted_is_not_raised_by_a_correction(bedside: Bedside) -> None:
    """A level is ordered where it is checked against the operation: safety hazard D07 (removed lung)."""
    with bedside.app.state.record.reading() as connection:
        charted = [one for one in course_of(connection, NO_LUNG).entries if one["item"] == "suction_ordered"]
    row = charted[0]
    path = f"/drain/{NO_LUNG}/entry/{row.key}/correct"
    said = {"unit": "cmH2O", "version": str(row.version), "why": "tried", "note": "x"}
    assert "page for orders" in faults(bedside.post(path, value="-40", **said))["value"]
    same = {**said, "unit": row["unit"] or "", "value": row["value"]}
    assert bedside.post(path, **same).status_code == 303, "its note may be mended"
