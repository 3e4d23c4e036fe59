"""Tables: what goes with them (safety 4.2: C1, C3, C5, C6, units; no identifiers in file names), and no formulas."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from pathlib import Path
from typing import Any

import polars
import pytest
from hypothesis import given
from hypothesis import strategies as st

from behaviour.export.a_drain_told import CANARIES, KEY, found, material
from slackwater.assessment.minute_table import minute_columns, minute_csv
from slackwater.export.material import Material, of_files
from slackwater.export.tables import ABOUT, UNITS, files, guarded
from slackwater.export.unnamed import unnamed


def sheet(of: Material, kind: str = "csv") -> dict[str, Any]:
    said: dict[str, Any] = json.loads(files(of, kind)[ABOUT])
    return said


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_the_sheet_says_cautions_units_and_sources(kind: str) -> None:
    said = sheet(material(), kind)
    assert {"cau-C1", "cau-C3", "cau-C5", "cau-C6"} <= {one["id"] for one in said["cautions"]}
    written = files(material(), kind)
    assert said["sha256"] == {name: hashlib.sha256(data).hexdigest() for name, data in written.items() if name != ABOUT}
    trace, evaluation = material().found.trace, material().found.evaluation
    assert trace is not None and evaluation is not None
    assert [one["sha256"] for one in said["sources"]] == [
        trace.logs[0].sha256, material().found.chart.sha256, evaluation.protocol.sha256,
    ]  # fmt: skip
    assert "never zero" in said["missing"]


def test_parquet_carries_the_sheet_in_itself() -> None:
    for name, data in files(material(), "parquet").items():
        if name == ABOUT:
            continue
        said = json.loads(polars.read_parquet_metadata(io.BytesIO(data))["slackwater"])
        columns = polars.read_parquet(io.BytesIO(data)).columns
        assert list(said["units"][Path(name).stem]) == columns
        assert {"cau-C1", "cau-C3", "cau-C5", "cau-C6"} <= {one["id"] for one in said["cautions"]}


def test_every_column_has_its_unit() -> None:
    assert list(UNITS["minutes"]) == list(minute_columns(material().found))
    for name, data in files(material(), "csv").items():
        if name != ABOUT:
            head = next(csv.reader(io.StringIO(data.decode())))
            assert head == list(sheet(material())["units"][Path(name).stem])


def test_file_names_name_nobody() -> None:
    for kind in ("csv", "parquet"):
        assert set(files(material(), kind)) == {f"{name}.{kind}" for name in ("minutes", "chart", "clauses")} | {ABOUT}
        assert not any(word in name for name in files(material(), kind) for word in CANARIES)


def test_the_minute_table_is_the_one_that_assess_writes() -> None:
    assert files(material(), "csv")["minutes.csv"].decode() == minute_csv(material().found)


def test_csv_and_parquet_of_chart_and_clauses_say_the_same() -> None:
    for name in ("chart", "clauses"):
        text, data = files(material(), "csv")[f"{name}.csv"].decode(), files(material(), "parquet")[f"{name}.parquet"]
        read, frame = list(csv.DictReader(io.StringIO(text))), polars.read_parquet(io.BytesIO(data))
        assert len(read) == len(frame)
        for one, row in zip(read, frame.iter_rows(named=True), strict=True):
            assert [column for column, value in one.items() if value == ""] == [
                column for column, value in row.items() if value is None
            ]
            for column, value in row.items():
                if isinstance(value, float):
                    assert float(one[column]) == pytest.approx(value, abs=1e-6)


def test_a_clause_has_its_bounds_and_its_unit() -> None:
    read = {one["id"]: one for one in csv.DictReader(io.StringIO(files(material(), "csv")["clauses.csv"].decode()))}
    assert (read["air"]["unit"], read["air"]["limit"], read["air"]["needed_s"]) == ("mL/min", "50 mL/min", "3600")
    assert read["tube_open"]["block"] == "guard"


def test_no_text_of_the_chart_is_a_formula() -> None:
    """CSV: cells that begin with = + - @ are formulas to a spreadsheet (common practice, no source)."""
    text = files(material(), "csv")["chart.csv"].decode()
    assert "'=cmd|'x'!A1" in text
    for one in csv.DictReader(io.StringIO(text)):
        for column, value in one.items():
            assert column in ("number", "line") or not value.startswith(("=", "+", "-", "@"))
    assert any(one["number"] == "-10" for one in csv.DictReader(io.StringIO(text)))  # a number stays one


@given(st.text(max_size=8))
def test_a_guarded_text_begins_no_formula_and_loses_nothing(text: str) -> None:
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r"))
    assert guarded(text).removeprefix("'") == text.removeprefix("'")


def test_without_a_log_there_are_no_minutes_and_without_a_rule_no_clauses() -> None:
    of = of_files(found(log=(), chart=("2041-05-06T07:00:00Z,swing,present,,,1,,nurse",), rule=None))
    written = files(of, "csv")
    assert set(written) == {"chart.csv", "clauses.csv", ABOUT}
    assert written["clauses.csv"].decode().count("\n") == 1
    assert "cau-C6" not in {one["id"] for one in sheet(of)["cautions"]}


def test_a_de_identified_chart_has_no_column_for_free_text() -> None:
    of = unnamed(material(), KEY)
    assert not {"note", "by", "as_written", "line"} & set(sheet(of)["units"]["chart"])
    assert sheet(of)["de_identified"] is True
