"""Missing never becomes zero (inv-M35, cau-C3): whatever rows a log lacks, in no format is there a number for them."""

from __future__ import annotations

import csv
import io

import numpy as np
import polars
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from behaviour.export.a_drain_told import GAP, MADE_MS, found, material, observation, told
from behaviour.store.a_drain import LAST, log_rows, row
from slackwater.export import tables
from slackwater.export.bundle import bundle
from slackwater.export.material import of_files
from slackwater.export.observations import sampled


def test_a_gap_is_E_minute_for_minute() -> None:
    """FHIR R4, SampledData.data: E where there is no valid value."""
    for name in ("air-flow-by-minute", "pressure-by-minute", "leak-by-minute"):
        words = observation(told(), name)["valueSampledData"]["data"].split()
        assert [minute + 1 for minute, word in enumerate(words) if word == "E"][: len(GAP)] == list(GAP)


def test_what_reaches_the_top_of_the_display_is_above_it() -> None:
    data = sampled(np.array([0.0, 4999.9, 5000.0, np.nan]), "mL/min", lowest=0, highest=5000)
    assert data["data"] == "0 4999.9 U E"
    assert (data["lowerLimit"], data["upperLimit"], data["period"]) == (0, 5000, 60_000)


@settings(max_examples=20, deadline=None)
@given(missing=st.sets(st.integers(1, LAST), min_size=1, max_size=LAST - 10), leak=st.sampled_from([0, 30]))
def test_whatever_rows_are_missing_there_is_no_number_for_them(missing: set[int], leak: int) -> None:
    lines = [one for minute, one in enumerate(log_rows(leak=leak), start=1) if minute not in missing]
    of = of_files(found(lines))
    assert of.found.leak_trace is not None
    n = len(of.found.leak_trace.minutes)
    gone = {minute - 1 for minute in missing if minute <= n}
    made = bundle(of, MADE_MS)
    for name in ("air-flow-by-minute", "pressure-by-minute"):
        words = observation(made, name)["valueSampledData"]["data"].split()
        assert {minute for minute, word in enumerate(words) if word == "E"} == gone
    written = tables.files(of, "csv")["minutes.csv"].decode()
    read = list(csv.DictReader(io.StringIO(written)))
    assert {minute for minute, one in enumerate(read) if not one["flow_ml_per_min"]} == gone
    frame = polars.read_parquet(io.BytesIO(tables.files(of, "parquet")["minutes.parquet"]))
    assert set(np.flatnonzero(frame["flow_ml_per_min"].is_null())) == gone


def test_a_total_over_time_nobody_charted_is_not_known_and_says_what_is_sure() -> None:
    """Two hours between entries are charted, the time before is not: at least so much, and no value."""
    only = (row(90, "fluid_output", "30", "mL"), row(170, "fluid_output", "15", "mL"))
    made = bundle(of_files(found(chart=only, connected=None)), MADE_MS)
    day = observation(made, "fluid-24-h")
    assert not {key for key in day if key.startswith("value")}
    assert day["dataAbsentReason"]["coding"][0]["code"] == "unknown"
    assert [part["valueQuantity"]["value"] for part in day["component"]] == [15]
    assert observation(made, "fluid-so-far")["dataAbsentReason"]["text"] == "since when is not recorded"


def test_a_clause_without_a_value_says_that_it_is_not_known() -> None:
    made = bundle(of_files(found(chart=())), MADE_MS)
    (response,) = [e["resource"] for e in made["entry"] if e["resource"]["resourceType"] == "GuidanceResponse"]
    fluid = next(one for one in response["contained"][0]["parameter"] if one["name"] == "fluid")
    values = [one["valueQuantity"] for one in fluid["part"] if "valueQuantity" in one]
    assert values and all("value" not in one and one["extension"][0]["valueCode"] == "unknown" for one in values)


@pytest.mark.parametrize("reason", ["in-doubt"])
def test_a_doubtful_stretch_says_from_when_to_when_and_why(reason: str) -> None:
    parts = observation(told(), "doubtful-minutes")["component"]
    gap = next(part for part in parts if part["interpretation"][0]["text"] == "missing")
    assert gap["code"]["coding"][0]["code"] == reason
    assert gap["valuePeriod"] == {"start": "2041-05-06T06:59:00Z", "end": "2041-05-06T07:29:00Z"}
    assert material().found.leak_trace is not None
