"""`slackwater equipment`: a recall in two commands, the register in and out, what runs short. All of it is invented."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from behaviour.web.units.a_fleet_ward import recorded
from end_to_end.the_command import Ran, called
from slackwater.store import open_record
from slackwater.store.acts import key_of
from ward.a_ward import NOW_MS, Clock

CSV = "serial,battery_lot,safety_test_due\nSN-1,B-1,\nSN-2,B-2,2001-01-01\nSN-3,B-1,\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A register of three units, one of them at bed 12."""
    (tmp_path / "units.csv").write_text(CSV)
    assert equipment(tmp_path, "register", "units.csv").code == 0
    with open_record(tmp_path / "record") as record, record.act(by="tests", what="drain") as act:
        patient = key_of("patient", "P-1")
        act.add("patient", patient, {"label": "P-1"})
        act.add("episode", "stay", {"patient": patient, "ward": "South", "bed": "12"})
        act.add("space", "space", {"episode": "stay", "kind": "pleural", "side": "left"})
        act.add("drain", "drain", {"episode": "stay", "space": "space", "number": "1"})
        fields = {"patient": patient, "drain": "drain", "unit": key_of("unit", "SN-3"), "from_ms": act.at_ms}
        act.add("pairing", "pairing", fields)
        act.add("canister", "can", {"drain": "drain", "from_ms": act.at_ms, "lot": "C-1"})
    return tmp_path


def equipment(folder: Path, *arguments: str) -> Ran:
    return called("equipment", *arguments, "--record", "record", folder=folder)


def test_a_recall_is_answered_in_two_commands(folder: Path) -> None:
    ran = equipment(folder, "recall", "battery", "B-1", "--reason", "swells", "--by", "E. Engineer")
    assert ran.code == 0 and "To pull: 2, 1 of them at a patient" in ran.out
    ran = equipment(folder, "list", "--to-pull")
    lines = [line.strip() for line in ran.out.splitlines()]
    assert ran.code == 0 and lines[1] == "1. SN-3  at a patient: P-1/1, ward South, bed 12"
    assert lines[2] == "battery lot B-1 is recalled: swells"
    assert "SN-2" in ran.out and "safety test was due on 2001-01-01" in ran.out
    told = json.loads(equipment(folder, "list", "--to-pull", "--json").out)["to_pull"]
    assert told[0]["bed"] == "12" and {one["serial"] for one in told} == {"SN-1", "SN-2", "SN-3"}
    over = equipment(folder, "recall", "battery", "B-1", "--over", "batteries changed")
    assert over.code == 0 and "SN-1" not in equipment(folder, "list", "--to-pull").out


def test_the_list_says_each_day_with_its_year_and_who_asks_for_an_unknown_unit_is_told_which(folder: Path) -> None:
    assert "safety test overdue since 2001-01-01; service not recorded" in equipment(folder, "list").out
    ran = equipment(folder, "step", "SN-99", "cleaned")
    assert ran.code == 2 and "SN-99: there is no such unit" in ran.err


def test_a_recall_without_its_reason_is_refused(folder: Path) -> None:
    ran = equipment(folder, "recall", "battery", "B-1")
    assert ran.code == 2 and "--reason" in ran.err
    assert equipment(folder, "recall", "pump", "B-1", "--reason", "x").code == 2
    assert "Nothing recorded asks" not in equipment(folder, "list", "--to-pull").out, "a test is overdue all the same"


def test_lots_are_traced_both_ways(folder: Path) -> None:
    assert "canister lot C-1: P-1/1, ward South, bed 12, unit SN-3" in equipment(folder, "trace", "C-1").out
    both = json.loads(equipment(folder, "trace", "--drain", "P-1/1", "--json").out)["uses"]
    assert {(one["what"], one["lot"]) for one in both} == {("canister", "C-1"), ("battery", "B-1")}
    assert "not written down is not" in equipment(folder, "trace", "C-99").out
    assert equipment(folder, "trace").code == 2


def test_the_register_goes_out_and_in_unchanged_and_a_bad_line_changes_nothing(folder: Path) -> None:
    assert equipment(folder, "register", "--out", "out.csv").code == 0
    ran = equipment(folder, "register", "out.csv")
    assert ran.out.strip() == "nothing new"
    (folder / "bad.csv").write_text("serial,bought\nSN-9,2041-02-30\nSN-10,\n")
    ran = equipment(folder, "register", "bad.csv")
    assert ran.code == 2 and "bad.csv, line 2, bought" in ran.err and "nothing was recorded" in ran.err
    assert "SN-10" not in equipment(folder, "register", "--out", "-").out
    assert equipment(folder, "register").code == 2 and equipment(folder, "register", "nowhere.csv").code == 2


def test_steps_are_recorded_in_their_turn_alone(folder: Path) -> None:
    ran = equipment(folder, "step", "SN-1", "put-back")
    assert ran.code == 2 and "cannot be put back yet: it is dirty. Its next step is: cleaned" in ran.err
    assert "still needs: tested, put back" in equipment(folder, "step", "SN-1", "cleaned", "--how", "wiped").out
    equipment(folder, "step", "SN-1", "tested", "--how", "self-test passed")
    assert equipment(folder, "step", "SN-1", "put back").out.strip() == "SN-1: put back"
    assert "SN-1  put back" in equipment(folder, "list").out


def test_a_step_has_one_word_wherever_it_is_written(folder: Path) -> None:
    """Help, what is printed, and what is taken: 'ready' is the record's own spelling, and nobody is shown it."""
    from slackwater.cli.equipment import STEPS
    from slackwater.store.nouns import UNIT_STATES
    from slackwater.store.units import state_words

    assert [step.replace("-", " ") for step in STEPS] == [state_words(one) for one in UNIT_STATES if one != "in_use"]
    told = equipment(folder, "step", "--help").out + equipment(folder, "step", "SN-1", "gone").err
    assert all(step in told for step in STEPS) and "ready" not in told
    for spelt in ("in-service", "in service", "in_service"):
        assert equipment(folder, "step", "SN-1", spelt).out.strip().startswith("SN-1: in service")


def test_a_lot_that_nothing_carries_is_asked_back(folder: Path) -> None:
    """Mistyped, the recall would meet nobody; recalled before its units were written down, it must be possible."""
    ran = equipment(folder, "recall", "battery", "B1l", "--reason", "swells")
    assert ran.code == 2 and "no battery lot B1l is written down here" in ran.err and "--anyway" in ran.err
    assert "is recalled" not in equipment(folder, "list", "--to-pull").out
    said = equipment(folder, "recall", "battery", "B1l", "--reason", "swells", "--anyway")
    assert said.code == 0 and "To pull: 0" in said.out and "no battery lot B1l is written down here" in said.out
    assert equipment(folder, "recall", "battery", "b-1l", "--reason", "it is known now").code == 0
    assert equipment(folder, "recall", "battery", "B-1l", "--over", "was another's").code == 0


def test_with_little_past_nobody_can_tell_whether_units_run_short(folder: Path) -> None:
    ran = equipment(folder, "shortage")
    assert ran.code == 3 and "Cannot tell whether the shelf runs out" in ran.out
    assert json.loads(equipment(folder, "shortage", "--json").out)["shortage"] is None
    assert equipment(folder, "charge").code == 3, "no log tells of a battery"


@pytest.mark.slow
def test_run_times_come_from_recorded_logs_the_shortest_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_record(tmp_path / "record", create=True, clock=Clock(NOW_MS)) as record:
        recorded(record)
    monkeypatch.setattr("slackwater.store.record.Record.now_ms", lambda _: NOW_MS)
    ran = equipment(tmp_path, "charge")
    assert ran.code == 0 and ran.out.startswith("SN-6  from full to 33 % about 20")
    first = json.loads(equipment(tmp_path, "charge", "--json").out)["batteries"][0]
    assert first["minutes_from_full"]["low"] < 201 < first["minutes_from_full"]["high"], "67 % of 300 min (arithmetic)"
    assert first["down_to_percent"] == 33
    assert "cannot tell" in equipment(tmp_path, "charge").out, "of the units that no log names"
