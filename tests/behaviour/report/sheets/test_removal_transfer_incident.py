"""Removal, transfer, incident: what is recorded and what is not, and by what it can be checked."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC

import pytest

from behaviour.report.sheets.a_sheet import MINUTE_MS, found, material, pages, printed, recorded, set_
from slackwater.report.sheets.incident import EITHER_SIDE_MS
from slackwater.report.sheets.make import print_one, sheet
from slackwater.report.sheets.material import Beside
from slackwater.report.sheets.pdf import pdf
from slackwater.report.sheets.sheet import as_data
from slackwater.store.acts import key_of
from slackwater.store.record import Record
from ward.a_ward import NOW_MS

DRAIN = key_of("drain", key_of("patient", "W-2"), "1")


# --- removal --------------------------------------------------------------------------------------


def test_without_a_removal_every_field_is_blank_and_says_not_recorded(record: Record) -> None:
    text = pages(set_("removal", recorded(record)).data)[0]
    assert "No removal of this drain is recorded." in text
    for name in ("Removed by", "Second person", "Moment of breath", "Analgesia", "Tip", "Suture out"):
        assert f"{name} not recorded" in text


def test_a_removal_is_told_field_by_field_and_the_rest_is_not_made_up(record: Record) -> None:
    with record.act(by="tests", what="removal") as act:
        fields = {"drain": DRAIN, "kind": "planned", "time_ms": NOW_MS - 60_000, "removed_by": "Ada #panic()",
                  "breath_phase": "end_expiration", "tip_intact": True}  # fmt: skip
        act.add("removal", "out", fields)
        act.add("check", "film", {"drain": DRAIN, "what": "chest_xray", "due_ms": NOW_MS + 3_600_000})
    text = pages(set_("removal", recorded(record)).data)[0]
    assert "Removed by Ada #panic()" in text and "Moment of breath end expiration" in text and "Tip whole" in text
    assert "Second person not recorded" in text and "Analgesia not recorded" in text
    assert "chest X-ray: due Thu 07 Mar 10:00" in text
    assert "The drain is out: judged as of" in text


def test_a_removal_that_had_not_come_by_then_is_not_told(record: Record) -> None:
    with record.act(by="tests", what="removal") as act:
        act.add("removal", "out", {"drain": DRAIN, "kind": "planned", "time_ms": NOW_MS - 60_000, "removed_by": "Ada"})
    text = pages(set_("removal", recorded(record, NOW_MS - 3_600_000, back=True)).data)[0]
    assert "No removal of this drain is recorded." in text and "Ada" not in text


# --- transfer -------------------------------------------------------------------------------------


def test_ordered_set_and_delivered_suction_stand_apart_and_charge_is_said_or_missed() -> None:
    of = material(found("plateau", 26.0, "strict-local"))
    text = pages(set_("transfer", of).data)[0]
    assert f"Suction ordered {of.line.suction.ordered}" in text
    assert f"Delivered {of.line.suction.delivered}" in text
    assert "Set at the unit" in text and f"Charge {of.line.charge}" in text
    assert f"May it be off? {of.line.may_be_off}" in text
    assert "The unit has recorded no approved words of its own for this." in text and "local policy" in text


def test_a_planned_trip_that_is_not_over_is_on_it(record: Record) -> None:
    with record.act(by="tests", what="trip") as act:
        act.add("trip", "film", {"drain": DRAIN, "from_ms": NOW_MS + 600_000, "destination": "X-ray ] #read",
                                 "planned_min": 40})  # fmt: skip
    text = pages(set_("transfer", recorded(record)).data)[0]
    assert "To X-ray ] #read" in text and "Planned for 40 min" in text and "If the charge runs out not recorded" in text


# --- incident -------------------------------------------------------------------------------------


def test_an_incident_holds_four_hours_the_unit_the_acts_and_the_head(record: Record) -> None:
    moment = NOW_MS - 3 * 3_600_000
    with record.act(by="Ines, nurse", what="chart", why="wrong tube #first") as act:
        (stay,) = act.things("episode", {"patient": key_of("patient", "W-2")})
        act.add("entry", "noted", {"episode": stay.key, "drain": "1", "item": "note", "value": "joint found apart",
                                   "time_ms": moment + 60_000, "written_by": "Ines"})  # fmt: skip
    of = recorded(record, moment + EITHER_SIDE_MS, moment_ms=moment)
    head = record.head()
    assert head is not None
    texts = pages(set_("incident", of).data)
    text = " ".join(texts)
    assert "Thu 07 Mar 2041 04:00 (UTC) to Thu 07 Mar 2041 08:00 (UTC)" in text
    assert "joint found apart" in text and "Ines" in text
    assert head.hash in text.replace(" ", "") and f"act {head.seq}" in text
    assert "None of the record's" in text  # all acts were recorded later than these hours
    assert "By the quarter of an hour" in text and "Thu 07 Mar 07:45" in text and "Thu 07 Mar 08:15" not in text


def test_acts_of_these_hours_are_listed_with_their_whole_hashes(record: Record) -> None:
    of = recorded(record, moment_ms=NOW_MS - 60 * MINUTE_MS)
    flat = " ".join(pages(set_("incident", of).data)).replace(" ", "")
    inside = [hash_ for line, hash_ in of.beside.acts if NOW_MS - 3 * 3_600_000 <= line.at_ms <= NOW_MS]
    assert inside and all(hash_ in flat for hash_ in inside)


def test_from_files_no_ledger_stands_behind_it_and_it_says_so() -> None:
    text = " ".join(pages(set_("incident", material(kind="incident")).data))
    assert "Made from files, not from the record" in text and "SHA-256" in text
    assert Beside().head is None


def test_the_moment_is_marked_in_the_picture_and_in_both_tables() -> None:
    of = material(kind="incident")
    (told,) = as_data(printed("incident", of))["sheets"]
    parts = [part for section in told["sections"] for part in section["parts"]]
    (drawn,) = [part["svg"] for part in parts if part["kind"] == "picture"]
    assert drawn.count(">the moment</text>") == 1
    done, quarters = [part["rows"] for part in parts if part["kind"] == "table"][:2]
    (at,) = [place for place, row in enumerate(done) if row[0] == "►"]
    assert "The moment that this sheet is about." in done[at]
    assert all(row[1] <= done[at][1] for row in done[:at]) and all(row[1] >= done[at][1] for row in done[at:])
    assert sum("the moment in it" in row[0] for row in quarters) == 1


@pytest.mark.parametrize(("hours", "says"), [(30, "its last reading is"), (-90, "the log begins later"), (0, "")])
def test_a_moment_far_outside_the_log_is_warned_of(hours: int, says: str) -> None:
    one = found()
    moment = one.as_of_ms - EITHER_SIDE_MS + hours * 3_600_000
    judged = found(now_ms=moment + EITHER_SIDE_MS)
    made = sheet("incident", replace(material(judged, "incident"), moment_ms=moment))
    assert (says in made.warned) and bool(made.warned) is bool(says)
    text = " ".join(pages(pdf(print_one(made, one.as_of_ms, UTC)).data))
    assert made.warned in text and (not says or made.doubtful)


def test_nothing_later_than_the_window_is_in_an_incident(record: Record) -> None:
    """No look-ahead beyond the stated two hours."""
    moment = NOW_MS - 10 * 3_600_000
    of = replace(recorded(record, moment + EITHER_SIDE_MS), moment_ms=moment)
    assert of.found is not None and of.found.data_until_ms is not None
    assert of.found.data_until_ms <= moment + EITHER_SIDE_MS
