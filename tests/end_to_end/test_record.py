"""The record by the command alone: record, again, list, show, export, assess --drain, backup, restore, verify.

What a recorded drain is judged to be must be what its files are judged to be, to the letter.
"""

from __future__ import annotations

import gzip
import json
import os
import re
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import polars
import pytest

from end_to_end import a_ward_folder as ward
from end_to_end.a_record import KINDS, drain_folder, ok, record_schema, told
from end_to_end.a_stay import ALL, folder_of
from end_to_end.the_command import called
from slackwater.store.nouns import NOUNS

COURSE = """
[stay]
ward = "C2"
bed = "14"

[[order]]
kind = "suction"
level = "-10"
unit = "cmH2O"
from = "2041-05-06T09:00:00Z"

[[hold]]
reason = "awaiting_imaging"
from = "2041-05-06T09:30:00Z"

[removal]
kind = "planned"
time = "2041-05-06T09:55:00Z"
removed_by = "doctor 3"
tip_intact = true

[[check]]
what = "chest_xray"
due = "2041-05-06T13:55:00Z"
"""


# --- the whole job --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "rule", "at"),
    [
        ("usual_chart", "air-50-8h", None),
        ("exchanged", "strict-local", "2041-03-05T12:00:00+01:00"),
        ("off_zeros", "air-20-8h", None),
    ],
)
def test_a_recorded_drain_is_judged_as_its_files_are(name: str, rule: str, at: str | None, tmp_path: Path) -> None:
    """Record, export, back up, restore elsewhere: five times the same text, and the same exit."""
    folder = folder_of(name, tmp_path / name)
    logs = sorted(path.name for path in folder.glob("log*.csv"))
    moment = () if at is None else ("--at", at)
    by_files = called("assess", *logs, *ALL, "--protocol", rule, *moment, folder=folder)
    assert by_files.code in (0, 3), by_files.err
    ok("record", name, "--record", "rec", "--protocol", rule, folder=tmp_path)
    ok("record", "export", "SIM-0001/1", "--record", "rec", "--out", "out", folder=tmp_path)
    ok("record", "out", "--record", "rec-2", folder=tmp_path)
    ok("backup", "bk", "--record", "rec", folder=tmp_path)
    ok("restore", "bk", "--to", "rec-3", folder=tmp_path)
    for place in ("rec", "rec-2", "rec-3"):
        recorded = called("assess", "--drain", "SIM-0001/1", "--record", place, *moment, folder=tmp_path)
        assert recorded == by_files, place
    given = {path.read_bytes() for path in folder.glob("log*.csv")}
    assert given == {path.read_bytes() for path in (tmp_path / "out").glob("log*.csv")}
    heads = {told("verify", "--record", place, folder=tmp_path)["head"] for place in ("rec", "rec-3")}
    assert heads == {told("verify", "--backup", "bk", folder=tmp_path)["head"]}


def test_the_same_again_adds_nothing(bench: Path) -> None:
    first = told("record", "drain", folder=bench)
    rows = told("verify", folder=bench)
    answer = ok("assess", "--drain", "INV-1/1", folder=bench).out
    again = told("record", "drain", folder=bench)["drains"][0]
    assert (first["drains"][0]["new_logs"], first["drains"][0]["new_entries"]) == (1, 6)
    assert (again["new_logs"], again["new_entries"], again["rows"], again["new_drain"]) == (0, 0, 0, False)
    assert (again["same_logs"], again["same_entries"]) == (1, 6)
    after = told("verify", folder=bench)
    assert (after["rows"], after["files"]) == (rows["rows"], rows["files"])
    assert after["acts"] == rows["acts"] + 1  # that somebody did it is kept
    assert ok("assess", "--drain", "INV-1/1", folder=bench).out == answer
    assert "nothing new; there already: 1 log, 6 chart rows" in ok("record", "drain", folder=bench).out


def test_a_log_in_pieces_that_overlap_is_the_log(bench: Path) -> None:
    lines = ward.log().splitlines(keepends=True)
    pieces = bench / "pieces"
    pieces.mkdir()
    drain_folder(pieces)
    (pieces / "log.csv").write_text("".join(lines[:80]))
    (pieces / "log-2.csv").write_text("".join([*lines[:3], *lines[60:]]))
    ok("record", "drain", folder=bench)
    ok("record", "pieces", "--record", "rec-2", folder=bench)
    whole, joined = (
        json.loads(ok("assess", "--drain", "INV-1/1", "--json", "--record", place, folder=bench).out)
        for place in ("rec", "rec-2")
    )
    for key in ("as_of", "overall", "met_since", "first_met", "leak", "waiting_for"):
        assert joined[key] == whole[key], key
    assert [(one["status"], one["value"]) for one in joined["criteria"]] == [
        (one["status"], one["value"]) for one in whole["criteria"]
    ]
    assert joined["ledger"]["duplicate"] == 20
    assert told("record", "drain", "--record", "rec-2", folder=bench)["drains"][0]["new_logs"] == 1  # kept beside them


def test_a_log_that_contradicts_is_kept_beside_and_shown(bench: Path) -> None:
    """Two logs say different things of one minute: neither is used (the same holds for two files)."""
    other = bench / "other"
    other.mkdir()
    drain_folder(other)
    lines = ward.log().splitlines(keepends=True)
    cells = lines[50].split(";")
    lines[50] = ";".join([cells[0], str(int(float(cells[1].replace(",", "."))) + 500), *cells[2:]])
    (other / "log.csv").write_text("".join(lines))
    ok("record", "drain", folder=bench)
    assert told("record", "other", folder=bench)["drains"][0]["new_logs"] == 1
    found = json.loads(ok("assess", "--drain", "INV-1/1", "--json", folder=bench).out)
    assert found["ledger"]["conflicting"] == 2


def test_orders_removal_and_checks_come_from_the_course_file(bench: Path) -> None:
    (bench / "drain" / "course.toml").write_text(COURSE)
    ok("record", "drain", "--by", "nurse 1", folder=bench)
    assert told("record", "list", folder=bench)["drains"] == []
    (row,) = told("record", "list", "--all", folder=bench)["drains"]
    assert (row["ward"], row["bed"], row["removal"]) == ("C2", "14", "planned")
    assert row["removed_at"] == "2041-05-06T09:55:00Z"
    shown = told("record", "show", "INV-1/1", folder=bench)
    assert shown["removal"]["tip_intact"] is True
    assert [order["level"] for order in shown["orders"]] == ["-10"]
    assert [check["what"] for check in shown["checks"]] == ["chest_xray"]
    assert shown["pairings"][0]["to_at"] == "2041-05-06T09:55:00Z"  # the unit is free again
    assert {act["by"] for act in shown["history"]} == {"nurse 1", "slackwater 0.1.0"}
    answer = json.loads(ok("assess", "--drain", "INV-1/1", "--json", folder=bench).out)
    assert answer["data_until"] == "2041-05-06T09:55:00Z"  # no row after it


def test_a_correction_needs_a_reason_and_the_past_stays_as_it_was(bench: Path) -> None:
    (bench / "drain" / "course.toml").write_text(COURSE)
    ok("record", "drain", folder=bench)
    then = told("record", "show", "INV-1/1", folder=bench)["history"][-1]["recorded_at"]
    time.sleep(0.002)  # moments of the ledger are whole milliseconds
    (bench / "drain" / "course.toml").write_text(COURSE.replace('"planned"', '"unplanned"'))
    refused = called("record", "drain", folder=bench)
    assert (refused.code, refused.out) == (2, "")
    assert "kind is 'planned' in the record, and 'unplanned' here" in refused.err
    ok("record", "drain", "--correct", "ticked the wrong box", folder=bench)
    assert told("record", "show", "INV-1/1", folder=bench)["removal"]["kind"] == "unplanned"
    assert told("record", "show", "INV-1/1", "--known", then, folder=bench)["removal"]["kind"] == "planned"
    lines = ok("record", "show", "INV-1/1", folder=bench).out.splitlines()
    told_at = next(number for number, line in enumerate(lines) if "(ticked the wrong box)" in line)
    assert lines[told_at + 1].strip() == "removal kind: 'planned' became 'unplanned'"


def test_what_was_recorded_later_is_not_known_earlier(bench: Path) -> None:
    ok("record", "drain", folder=bench)
    then = told("record", "show", "INV-1/1", folder=bench)["history"][-1]["recorded_at"]
    before = ok("assess", "--drain", "INV-1/1", folder=bench).out
    time.sleep(0.002)
    later = ward.CHART + "2041-05-06T09:52:00Z,cough,leak,,,1,,nurse\n"
    (bench / "drain" / "chart.csv").write_text(later)
    ok("record", "drain", folder=bench)
    assert ok("assess", "--drain", "INV-1/1", folder=bench).out != before
    assert ok("assess", "--drain", "INV-1/1", "--known", then, folder=bench).out == before


def test_an_exported_folder_holds_what_can_be_worked_with(bench: Path) -> None:
    (bench / "drain" / "course.toml").write_text(COURSE)
    ok("record", "drain", folder=bench)
    made = told("record", "export", "INV-1/1", "--out", "out", folder=bench)
    assert set(made["files"]) == {path.name for path in (bench / "out").iterdir()}
    minutes = polars.read_parquet(bench / "out" / "minutes.parquet")
    assert minutes.height == 115  # 08:00 to 09:55
    assert (bench / "out" / "protocol.toml").read_text() == ward.RULE
    assert told("record", "out", folder=bench)["drains"][0]["rows"] == 0  # read back, it is the same drain


# --- damage ---------------------------------------------------------------------------------------


def test_verify_finds_a_damaged_file(bench: Path) -> None:
    ok("record", "drain", folder=bench)
    log = told("record", "show", "INV-1/1", folder=bench)["logs"][0]["sha256"]
    (kept,) = (bench / "rec" / "files").rglob(log)
    content = bytearray(kept.read_bytes())
    content[len(content) // 2] ^= 1
    kept.write_bytes(content)
    ran = called("verify", "--json", folder=bench)
    found = json.loads(ran.out)
    jsonschema.validate(found, {**record_schema(), "$ref": "#/$defs/verify"})
    assert ran.code == 1
    (fault,) = found["faults"]
    assert log in fault
    for words in (("assess", "--drain", "INV-1/1"), ("backup", "bk")):
        refused = called(*words, folder=bench)
        assert (refused.code, refused.out) == (2, "")
        assert log in refused.err


def test_verify_finds_a_row_that_was_changed_behind_the_record(bench: Path) -> None:
    ok("record", "drain", folder=bench)
    with sqlite3.connect(bench / "rec" / "record.sqlite") as raw:
        raw.execute("DROP TRIGGER entry_rows_no_update")
        raw.execute("UPDATE entry_rows SET value = '400' WHERE item = 'fluid_output'")
    raw.close()
    ran = called("verify", folder=bench)
    assert ran.code == 1
    assert re.search(r"entry [0-9a-f]{20} version 1 is not what act 1 recorded", ran.out)


@pytest.mark.parametrize("what", ["ledger", "file", "manifest"])
def test_a_damaged_backup_is_refused(what: str, bench: Path) -> None:
    ok("record", "drain", folder=bench)
    ok("backup", "bk", folder=bench)
    path = {
        "ledger": bench / "bk" / "ledger.jsonl.gz",
        "file": next((bench / "bk" / "files").rglob("??/*")),
        "manifest": bench / "bk" / "manifest.json",
    }[what]
    content = path.read_bytes()
    if what == "ledger":  # a whole ledger that says something else
        path.write_bytes(gzip.compress(gzip.decompress(content).replace(b'"value":"40"', b'"value":"41"')))
    else:
        path.write_bytes(content[:-3])
    for words in (("restore", "bk", "--to", "elsewhere"), ("verify", "--backup", "bk")):
        refused = called(*words, folder=bench)
        assert (refused.code, refused.out) == (2, "")
        assert refused.err.count("\n") == 1
    assert not (bench / "elsewhere").exists()


def test_nothing_is_written_over(bench: Path) -> None:
    ok("record", "drain", folder=bench)
    ok("backup", "bk", folder=bench)
    before = told("verify", folder=bench)
    for words in (("backup", "bk"), ("restore", "bk", "--to", "rec"), ("restore", "bk", "--to", "drain"),
                  ("record", "export", "INV-1/1", "--out", "drain")):  # fmt: skip
        refused = called(*words, folder=bench)
        assert (refused.code, refused.out, refused.err.count("\n")) == (2, "", 1), words
    assert told("verify", folder=bench) == before
    assert (bench / "drain" / "log.csv").read_text() == ward.log()


# --- the page of the record -----------------------------------------------------------------------


def test_the_page_names_every_noun_and_field_and_every_key_of_the_json() -> None:
    page = (Path(__file__).parents[2] / "docs" / "record.md").read_text("utf-8")
    for noun in NOUNS.values():
        row = next((line for line in page.splitlines() if line.startswith(f"| `{noun.name}` |")), "")
        assert row, f"docs/record.md has no row for {noun.name}"
        for field in noun.fields:
            assert f"`{field.name.removesuffix('_ms')}`" in row, f"{noun.name}.{field.name}"
    for kind in (*KINDS, "taken", "listed", "act"):
        for key in record_schema()["$defs"][kind]["properties"]:
            assert f"`{key}`" in page, f"{kind}.{key}"


def blocks_of(page: str, kind: str) -> list[str]:
    text = (Path(__file__).parents[2] / "docs" / page).read_text("utf-8")
    return re.findall(rf"^```{kind}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


def test_the_course_of_the_page_is_recorded_as_it_stands(tmp_path: Path) -> None:
    (course,) = (block for block in blocks_of("record.md", "toml") if "[removal]" in block)
    folder = folder_of("usual_chart", tmp_path / "drain")
    (folder / "course.toml").write_text(course)
    ok("record", "drain", "--record", "rec", folder=tmp_path)
    shown = told("record", "show", "SIM-0001/1", "--record", "rec", folder=tmp_path)
    assert [len(shown[name]) for name in ("pairings", "orders", "holds", "tasks", "checks")] == [1, 1, 1, 1, 1]
    assert shown["pairings"][0]["serial"] == "SW-0042"
    assert (shown["removal"]["kind"], shown["episode"]["ward"]) == ("planned", "C2")
    assert shown["removal"]["time_at"] == "2041-03-06T13:00:00Z"
    assert shown["tasks"][0]["done_by"] == "radiographer 2"


@pytest.mark.skipif(os.name != "posix", reason="the scripts are for a POSIX shell")
def test_the_scripts_of_the_operating_page_back_up_and_drill(bench: Path) -> None:
    ok("record", "drain", folder=bench)
    (bench / "backups").mkdir()
    env = {**os.environ, "PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}"}
    found = ""
    for script in (block for block in blocks_of("operating.md", "text") if block.startswith("#!/bin/sh")):
        text = script.replace("/srv/backups/slackwater", str(bench / "backups"))
        text = text.replace("/mnt/elsewhere", str(bench)).replace("/var/tmp", str(bench))
        done = subprocess.run(["sh", "-c", text], env=env, capture_output=True, text=True, check=False, timeout=120)
        assert (done.returncode, done.stderr) == (0, "")
        found += done.stdout
    head = json.loads((bench / "slackwater-heads").read_text())["head"]
    assert found.count(f"head {head}") == 2  # verified, and restored
    assert "INV-1/1" in found
    assert not list(bench.glob("slackwater-drill*"))  # it holds health data
