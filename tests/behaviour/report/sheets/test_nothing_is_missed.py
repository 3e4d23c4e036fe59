"""What stands on a sheet whatever else does: kept drains, other drains, stops, and the rule's own word."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from behaviour.report.sheets.a_sheet import MINUTE_MS, found, material, pages, recorded, set_, text_of
from slackwater.report.sentences import leak_sentence
from slackwater.report.sheets.frame import HEADER, frame
from slackwater.report.sheets.others import others
from slackwater.report.times import exactly, twice
from slackwater.store.acts import key_of
from slackwater.store.record import Record
from ward.a_ward import NOW_MS

HOUR_MS = 60 * MINUTE_MS
DRAIN = key_of("drain", key_of("patient", "W-1"), "1")


def second_drain(record: Record, **fields: object) -> None:
    with record.act(by="tests", what="second drain") as act:
        (stay,) = act.things("episode", {"patient": key_of("patient", "W-1")})
        act.add("space", "beside", {"episode": stay.key, "kind": "pleural", "side": "left"})
        act.add("drain", "second", {"episode": stay.key, "space": "beside", "number": "2", "site": "6th space",
                                    "connected_ms": NOW_MS - 20 * HOUR_MS, **fields})  # fmt: skip


@pytest.mark.parametrize("kind", ["handover", "summary", "transfer", "removal"])
def test_a_drain_to_be_kept_and_what_is_overdue_stand_first(kind: str, record: Record) -> None:
    with record.act(by="tests", what="hold") as act:
        act.add("hold", "kept", {"drain": DRAIN, "reason": "awaiting_pleurodesis", "from_ms": NOW_MS - HOUR_MS})
        act.add("task", "late", {"drain": DRAIN, "what": "look at the film", "due_ms": NOW_MS - HOUR_MS})
    text = text_of(kind, recorded(record, patient="W-1"))
    assert "To be kept ! awaiting pleurodesis since 08:00" in text
    assert text.index("To be kept") < text.index("Air leak")
    assert "Overdue ◷ look at the film, due 08:00" in text


def test_a_clock_that_runs_ahead_is_told_on_each(record: Record) -> None:
    of = recorded(record, NOW_MS - 2 * HOUR_MS, "W-1", printed_ms=NOW_MS - 2 * HOUR_MS)
    for kind in ("handover", "summary", "transfer", "removal"):
        assert "Clock ! the log's stamps run to 2 h after now" in text_of(kind, of), kind


@pytest.mark.parametrize("kind", ["handover", "summary", "removal"])
def test_two_sheets_of_a_moment_give_the_rule_the_same_word(kind: str, record: Record) -> None:
    of = recorded(record, patient="W-1")
    assert of.found is not None and of.found.overall is not None and of.found.overall.word == "not_met"
    text = text_of(kind, of)
    assert "criteria of air-50-8h (example, NOT APPROVED): not met." in text
    assert "Waiting for people alone: a cough or a walk; what the record settles has held since" in text
    assert "met since" not in text and "met and waiting" not in text


# --- whose other tubes ----------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["handover", "summary", "transfer", "removal", "home", "explain"])
def test_the_patients_other_drain_is_named_on_every_sheet(kind: str, record: Record) -> None:
    second_drain(record, shares_unit_with='["1"]')
    told = "This patient has 1 other drain in: 2, left, pleural, 6th space; joined to this unit."
    assert told in pages(set_(kind, recorded(record, patient="W-1")).data)[0]


def test_a_drain_that_is_out_or_not_yet_in_is_no_other_drain(record: Record) -> None:
    second_drain(record)
    assert "joined" not in others(recorded(record, patient="W-1"))
    assert others(recorded(record, NOW_MS - 21 * HOUR_MS, "W-1")) == ""
    with record.act(by="tests", what="removal") as act:
        act.add("removal", "out", {"drain": "second", "kind": "planned", "time_ms": NOW_MS - HOUR_MS})
    assert others(recorded(record, patient="W-1")) == ""
    assert others(recorded(record, NOW_MS - 2 * HOUR_MS, "W-1")) != ""


def test_files_name_what_they_know_of_other_drains() -> None:
    of = material()
    assert of.found is not None and others(of) == ""
    shared = replace(of.found, episode=replace(of.episode, shares_unit_with=("2",), other_drains=("2", "3")))
    assert others(material(shared)) == (
        "This patient has 2 other drains; whether still in is not recorded: 2; joined to this unit / 3."
    )


def test_a_long_label_costs_neither_number_nor_side_nor_site() -> None:
    of = material()
    assert of.found is not None
    long = replace(of.episode, patient_id="L" * 200 + "THE-END", site="fifth space")
    told = frame(material(replace(of.found, episode=long)))
    assert len(told.short) <= HEADER and told.short.endswith("drain 1 · right · pleural · fifth space")
    assert "THE-END" in told.short and "L" * 200 in told.drain
    for text in pages(set_("removal", material(replace(of.found, episode=long))).data):
        assert "drain 1 · right · pleural · fifth space" in text


# --- for patients ---------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["explain", "home"])
def test_a_patient_is_told_nothing_against_a_stop(kind: str, record: Record) -> None:
    """Suction after pneumonectomy is a danger: CICM 2009 model answer, as in assessment/warnings.py."""
    text = text_of(kind, recorded(record, patient="W-4"))
    assert text.partition("For staff")[2].strip().startswith("Do not hand out: STOP AND CHECK: suction is charted")
    assert "pulls gently" not in text and "Keep the box" not in text and "Call at once" not in text


@pytest.mark.parametrize("kind", ["explain", "home"])
def test_a_patient_whose_drain_is_out_is_told_nothing_of_it(kind: str, record: Record) -> None:
    with record.act(by="tests", what="removal") as act:
        act.add("removal", "out", {"drain": DRAIN, "kind": "planned", "time_ms": NOW_MS - HOUR_MS})
    text = text_of(kind, recorded(record, patient="W-1"))
    assert "Do not hand out: this drain is out" in text and "pulls gently" not in text
    assert "Do not hand out" not in text_of(kind, recorded(record, NOW_MS - 2 * HOUR_MS, "W-1", back=True))


# --- what is said, and when -----------------------------------------------------------------------


def test_a_log_that_is_not_judged_is_not_called_missing() -> None:
    one = found("pneumonectomy", 20.0, None)
    assert leak_sentence(one, UTC) == (
        "Air leak: not judged; after pneumonectomy air is shown as recorded and not judged."
    )
    assert "no log" not in text_of("summary", material(one))


def test_an_hour_that_comes_twice_is_told_apart() -> None:
    """Europe/Berlin put its clocks back at 01:00 UTC on 25 Oct 2026 (EU directive 2000/84/EC: last Sunday)."""
    zone = ZoneInfo("Europe/Berlin")
    first = int(datetime(2026, 10, 25, 0, 30, tzinfo=UTC).timestamp() * 1000)
    assert twice(first - HOUR_MS, first + HOUR_MS, zone) and not twice(first - 30 * HOUR_MS, first - 20 * HOUR_MS, zone)
    told = [exactly(first + n * HOUR_MS, zone, True, day=False) for n in (0, 1)]
    assert told == ["02:30 UTC+02:00", "02:30 UTC+01:00"]


def test_an_incident_in_the_night_of_the_change_tells_each_quarter_apart() -> None:
    zone = ZoneInfo("Europe/Berlin")
    one = found("healing", 30.0)
    change = int(datetime(2041, 3, 31, 1, 0, tzinfo=UTC).timestamp() * 1000)
    of = replace(material(one, "incident"), zone=zone, moment_ms=change, as_of_ms=change + 2 * HOUR_MS)
    text = text_of("incident", of)
    assert "01:45 UTC+01:00" in text and "03:00 UTC+02:00" in text
    assert "UTC+" not in text_of("incident", material(one, "incident")).partition("quarter")[2]


def test_what_came_after_the_moment_is_not_on_a_sheet_of_it(record: Record) -> None:
    with record.act(by="tests", what="later") as act:
        act.add("removal", "out", {"drain": DRAIN, "kind": "unplanned", "time_ms": NOW_MS - HOUR_MS})
        act.add("task", "late", {"drain": DRAIN, "what": "look at the film", "due_ms": NOW_MS - 6 * HOUR_MS,
                                 "done_ms": NOW_MS - 2 * HOUR_MS})  # fmt: skip
    then = recorded(record, NOW_MS - 5 * HOUR_MS, "W-1", back=True)
    for kind in ("summary", "transfer", "handover"):
        text = text_of(kind, then)
        assert "removed" not in text and "look at the film, due" in text, kind
    assert "No removal of this drain is recorded." in text_of("removal", then)
    assert "The drain is out" not in frame(then).data
