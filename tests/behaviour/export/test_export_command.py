"""`slackwater export` from files and from the record, and `export read`: exits, files, and what is refused."""

from __future__ import annotations

import importlib
import json
import os
import re
import sys
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest

from behaviour.export.a_drain_told import of_type
from end_to_end import a_ward_folder as ward
from end_to_end.a_stay import ALL, folder_of
from end_to_end.the_command import called, files_in
from slackwater.episode.pseudonyms import pseudonym

FILES = ("export", "log.csv", *ALL, "--protocol", "air-50-8h")


@pytest.fixture(scope="module")
def stay(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return folder_of("healing", tmp_path_factory.mktemp("healing") / "healing", 12.0)


def made(path: Path) -> dict[str, Any]:
    read: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return read


def test_a_bundle_from_files_names_nobody_and_leaves_its_key_beside_it(stay: Path) -> None:
    ran = called(*FILES, "--format", "fhir", "--out", "drain.json", folder=stay)
    assert (ran.code, ran.err) == (3, ""), ran.err  # twelve hours of a leak: something cannot be told
    assert "de-identified" in ran.out
    key = (stay / "drain.json.key").read_bytes()
    for name in ("drain.json", "drain.json.key"):
        assert os.stat(stay / name).st_mode & 0o077 == 0
    (who,) = of_type(made(stay / "drain.json"), "Patient")
    assert who["identifier"][0]["value"] == pseudonym(key, "patient", "SIM-0001")
    assert "SIM-0001" not in (stay / "drain.json").read_text()


def test_identified_it_has_the_houses_own_number_and_dates(stay: Path) -> None:
    ran = called(*FILES, "--format", "fhir", "--out", "named.json", "--identified", folder=stay)
    assert ran.code == 3
    assert not (stay / "named.json.key").exists()
    (who,) = of_type(made(stay / "named.json"), "Patient")
    assert who["identifier"][0]["value"] == "SIM-0001"
    assert "2041-03-" in (stay / "named.json").read_text()


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_tables_go_to_a_new_folder(stay: Path, form: str) -> None:
    ran = called(*FILES, "--format", form, "--out", form, "--json", folder=stay)
    assert json.loads(ran.out)["de_identified"] is True
    assert {"cau-C1", "cau-C3", "cau-C5", "cau-C6"} <= {one["id"] for one in json.loads(ran.out)["cautions"]}
    names = {Path(name).name for name in json.loads(ran.out)["files"]}
    assert names == {f"minutes.{form}", f"chart.{form}", f"clauses.{form}", "about.json"}
    assert os.stat(stay / form).st_mode & 0o077 == 0
    again = called(*FILES, "--format", form, "--out", form, folder=stay)
    assert (again.code, "holds something already" in again.err) == (2, True)


def test_every_caution_is_printed(stay: Path) -> None:
    """Safety 4.2: C1, C3, C5, C6, C11 on the terminal."""
    ran = called(*FILES, "--format", "fhir", "--out", "cautious.json", folder=stay)
    for words in ("It does not decide.", "not a reading of zero", "Data until", "Judged by protocol", "in steps of"):
        assert words in ran.out


def test_from_the_record_it_has_the_cohorts_pseudonyms_and_its_removal(stay: Path, tmp_path: Path) -> None:
    """The same key gives the same pseudonym as `audit collect`; the time of day is in the cohort alone."""
    removed = '[removal]\nkind = "planned"\ntime = "2041-03-05T04:00:00+01:00"\nremoved_by = "doctor 3"\n'
    (stay / "course.toml").write_text(removed)
    record = str(tmp_path / "record")
    ward_folder = tmp_path / "bed-4"
    ward_folder.mkdir()
    for name in ("log.csv", "layout.toml", "chart.csv", "episode.toml", "course.toml"):
        (ward_folder / name).write_bytes((stay / name).read_bytes())
    assert called("record", "bed-4", "--record", record, "--by", "nurse", folder=tmp_path).code == 0
    zone = ("--zone", "Europe/Vienna")
    called("audit", "collect", "cohort", "--record", record, *zone, folder=tmp_path)
    ran = called(
        "export", "--drain", "SIM-0001/1", "--record", record, *zone, "--key", "cohort.key", "--format", "fhir",
        "--out", "drain.json", folder=tmp_path,
    )  # fmt: skip
    assert ran.code in (0, 3), ran.err
    made_ = made(tmp_path / "drain.json")
    (part,) = (tmp_path / "cohort").glob("drain=*")
    sheet = json.loads((part / "drain.json").read_text())
    (who,) = of_type(made_, "Patient")
    assert who["identifier"][0]["value"] == sheet["about"]["patient"]
    done = {one["code"]["coding"][-1]["code"]: one["performedDateTime"] for one in of_type(made_, "Procedure")}
    assert set(done) == {"connection", "removal"}
    import datetime

    def ms(text: str) -> int:
        return round(datetime.datetime.fromisoformat(text).timestamp() * 1000)

    assert done["connection"] == "2000-01-03T00:00:00Z"
    hours_in = sheet["outcome"]["removed_ms"] - sheet["facts"]["connected_ms"]
    assert ms(done["removal"]) - ms(done["connection"]) == hours_in
    assert "doctor 3" not in (tmp_path / "drain.json").read_text()
    named = ("--format", "fhir", "--identified", "--out", "named.json")
    called("export", "--drain", "SIM-0001/1", "--record", record, *named, folder=tmp_path)
    assert "doctor 3" in (tmp_path / "named.json").read_text()


def test_from_the_record_the_tables_hold_the_course(stay: Path, tmp_path: Path) -> None:
    """Holds, trips, times at home and signals; where nobody is named, with words of closed lists alone."""
    folder = tmp_path / "bed-5"
    folder.mkdir()
    for name in ("log.csv", "layout.toml", "chart.csv", "episode.toml"):
        (folder / name).write_bytes((stay / name).read_bytes())
    at = "2041-03-04T{}:00:00+01:00".format
    (folder / "course.toml").write_text(
        f'[[trip]]\nfrom = "{at(17)}"\nback = "{at(18)}"\ndestination = "Zwirnbach ward"\n'
        f'[[home]]\nfrom = "{at(22)}"\ncontact = "0664-555-0199"\n'
        f'[[unit_call]]\nkind = "tilted"\nfrom = "{at(19)}"\nunit = "SN-9"\n'
        f'[[hold]]\nreason = "awaiting_staff"\nfrom = "{at(20)}"\nto = "{at(23)}"\nnote = "for Zwirnbach"\n'
        '[[trip]]\nfrom = "2041-03-09T08:00:00+01:00"\ndestination = "imaging"\n'
    )
    record = str(tmp_path / "record")
    assert called("record", "bed-5", "--record", record, "--by", "nurse", folder=tmp_path).code == 0

    def course(*more: str) -> list[list[str]]:
        out = str(tmp_path / f"out{len(more)}")
        asked = ("--record", record, "--format", "csv", "--at", at(21), "--out", out)
        assert called("export", "--drain", "SIM-0001/1", *asked, *more, folder=tmp_path).code in (0, 3)
        return [line.split(",") for line in (Path(out) / "course.csv").read_text().splitlines()[1:]]

    named, unnamed = course("--identified"), course()
    assert [row[:2] for row in named] == [["trip", "Zwirnbach ward"], ["signal", "tilted"], ["hold", "awaiting_staff"]]
    assert [row[:2] for row in unnamed] == [["trip", ""], ["signal", "tilted"], ["hold", "awaiting_staff"]]
    assert [row[2] for row in named] == ["2041-03-04T16:00:00Z", "2041-03-04T18:00:00Z", "2041-03-04T19:00:00Z"]
    assert [bool(row[3]) for row in unnamed] == [True, False, False]  # the hold's end had not come by then
    told = "".join(path.read_text() for path in (tmp_path / "out0").iterdir())
    assert not [word for word in ("Zwirnbach", "0664-555", "SN-9") if word in told]
    assert not re.search(r"2041-\d\d-", told)  # a date: an identifier drawn by chance may hold "2041-"


def test_without_the_extra_it_exits_4_and_writes_nothing(stay: Path) -> None:
    before = files_in(stay)
    hidden = {name: None for name in sys.modules if name.startswith("fhir.resources.R4B")}
    with patch.dict(sys.modules, {**hidden, "fhir.resources.R4B.bundle": None}):
        ran = called(*FILES, "--format", "fhir", "--out", "none.json", folder=stay)
    assert (ran.code, "slackwater[fhir]" in ran.err) == (4, True)
    assert files_in(stay) == before
    importlib.import_module("fhir.resources.R4B.bundle")


def test_a_bundle_that_is_no_fhir_is_a_fault_of_ours_and_is_not_written(stay: Path) -> None:
    with patch("slackwater.export.valid.faults", return_value=["Bundle.type: wrong"]):
        ran = called(*FILES, "--format", "fhir", "--out", "wrong.json", "--identified", folder=stay)
    assert (ran.code, "a fault of ours" in ran.err) == (1, True)
    assert not (stay / "wrong.json").exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--format", "fhir", "--out", "-"), "not a place for health data"),
        (("--format", "fhir", "--out", "log.csv"), "would be written over"),
        (("--format", "fhir", "--out", "x.json", "--identified", "--key", "k"), "Leave one of them out"),
        (("--format", "pdf", "--out", "x"), "--format"),
        (("--format", "csv", "--out", "log.csv"), "holds something already"),
        (("--out", "x"), "--format"),
    ],
)
def test_what_makes_no_sense_is_refused(stay: Path, arguments: tuple[str, ...], said: str) -> None:
    before = files_in(stay)
    ran = called(*FILES, *arguments, folder=stay)
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.err
    assert files_in(stay) == before


def test_a_key_that_is_too_short_is_refused(stay: Path) -> None:
    (stay / "short.key").write_bytes(b"short")
    ran = called(*FILES, "--format", "fhir", "--out", "s.json", "--key", "short.key", folder=stay)
    assert (ran.code, "too short" in ran.err) == (2, True)


def test_without_an_episode_it_is_nobodys_and_says_so(stay: Path) -> None:
    given = ("export", "log.csv", "--layout", "layout.toml", "--format", "fhir", "--out", "nobody.json")
    assert called(*given, folder=stay).code in (0, 3)
    (who,) = of_type(made(stay / "nobody.json"), "Patient")
    assert who["identifier"][0]["extension"][0]["valueCode"] == "unknown"


# --- reading in -------------------------------------------------------------------------------------

HEART_RATE = {
    "resourceType": "Observation", "id": "hr-1", "status": "final", "subject": {"reference": "Patient/inv-1"},
    "code": {"coding": [{"system": "http://loinc.org", "code": "8867-4"}]},
    "effectiveDateTime": "2041-03-04T16:00:00+01:00",
    "valueQuantity": {"value": 72, "unit": "bpm", "system": "http://unitsofmeasure.org", "code": "/min"},
}  # fmt: skip


def test_vital_signs_become_a_chart_that_assess_reads(tmp_path: Path) -> None:
    folder = ward.write(tmp_path)
    (folder / "vitals.json").write_text(json.dumps(HEART_RATE))
    ran = called("export", "read", "vitals.json", "--chart", "vitals.csv", folder=folder)
    assert (ran.code, ran.err) == (0, "")
    assert "1 heart_rate" in ran.out and "Patient/inv-1" in ran.out
    assert "Confirm that it is this drain's patient" in ran.out
    asked = called("assess", "--chart", "vitals.csv", "--json", folder=folder)
    assert json.loads(asked.out)["ledger"]["chart"]["used"] == 1


def test_files_of_two_patients_are_refused_and_nothing_is_written(tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text(json.dumps(HEART_RATE))
    (tmp_path / "b.json").write_text(json.dumps({**HEART_RATE, "subject": {"reference": "Patient/inv-2"}}))
    before = files_in(tmp_path)
    ran = called("export", "read", "a.json", "b.json", "--chart", "c.csv", "--json", folder=tmp_path)
    assert (ran.code, "2 patients" in ran.err) == (2, True)
    assert files_in(tmp_path) == before


def test_what_was_passed_over_is_said(tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text(json.dumps({**HEART_RATE, "status": "entered-in-error"}))
    ran = called("export", "read", "a.json", "--chart", "c.csv", "--json", folder=tmp_path)
    assert json.loads(ran.out) == {
        "chart": "c.csv", "rows": {}, "subject": "Patient/inv-1",
        "passed_over": [{"where": "a.json, Observation hr-1", "why": "heart_rate: status entered-in-error"}],
    }  # fmt: skip
    assert (tmp_path / "c.csv").read_text().count("\n") == 1
