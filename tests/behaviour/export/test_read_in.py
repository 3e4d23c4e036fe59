"""Reading FHIR in. Outside values: examples of HL7's Point-of-Care Device guide (tests/data/real/fhir_r4_pointofcare).

Three of them are named here: the heart rate 60 /min, the central venous pressure's SampledData (origin 0 mm[Hg], 8 ms,
125 values, first 2.00, largest 8.00, last 2.01), the monitor's serial number 123456. LOINC codes of vital signs:
9279-1, 8867-4, 2708-6, 8480-6, 8310-5, as published.
"""

from __future__ import annotations

import json
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.episode.chart import read_chart
from slackwater.errors import ChartError, RefusedInput
from slackwater.export.read_in import Vitals, amount_of, chart_csv, sampled_of, serial_of, vitals
from slackwater.export.tree import first, read_tree

EXAMPLES = Path(__file__).parents[2] / "data/real/fhir_r4_pointofcare"
LOINC, UCUM = "http://loinc.org", "http://unitsofmeasure.org"


def examples() -> dict[str, Any]:
    read = [read_tree(path.read_bytes(), path.name) for path in sorted(EXAMPLES.glob("*.xml"))]
    return {f"{one['resourceType']}/{first(one, 'id')}": one for one in read}


def quantity(value: Any, code: str, **more: Any) -> dict[str, Any]:
    return {"value": value, "unit": "what is printed", "system": UCUM, "code": code, **more}


def sign(loinc: str, value: dict[str, Any] | None, **more: Any) -> dict[str, Any]:
    out = {
        "resourceType": "Observation", "id": "o", "status": "final", "subject": {"reference": "Patient/p"},
        "code": {"coding": [{"system": LOINC, "code": loinc}]}, "effectiveDateTime": "2041-05-06T08:00:00+02:00",
    }  # fmt: skip
    return {**out, **({} if value is None else {"valueQuantity": value}), **more}


def read(*resources: dict[str, Any]) -> Vitals:
    made = {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": one} for one in resources]}
    return vitals(read_tree(json.dumps(made).encode(), "f.json"), "f.json")


# --- the guide's examples --------------------------------------------------------------------------


def test_the_heart_rate_of_the_guide() -> None:
    found = vitals(examples()["Observation/HeartRateNumericObservation"], "hr.xml")
    (row,) = found.rows
    assert (row.item, row.value, row.unit) == ("heart_rate", "60", "/min")
    assert chart_csv(found).splitlines()[1] == "2021-07-09T09:33:24Z,heart_rate,60,/min,,,,"  # 11:33:24+02:00


def test_the_sampled_pressure_of_the_guide() -> None:
    found = sampled_of(examples()["Observation/CVPSampleArrayObservation"], "cvp.xml")
    assert (found.origin.value, found.origin.code, found.period_ms) == (0, "mm[Hg]", 8)
    assert [float(value) for value in found.values[:4] if value is not None] == [2.0, 2.0, 2.0, 2.01]
    known = [value for value in found.values if value is not None]
    assert (len(known), float(max(known)), float(known[-1])) == (125, 8.0, 2.01)


def test_the_serial_number_behind_the_metric_of_the_guide() -> None:
    found = examples()
    metric = first(found["Observation/HeartRateNumericObservation"], "device", "reference")
    assert metric == "DeviceMetric/HeartRateNumericDeviceMetric"
    assert serial_of(found, metric) == "123456"
    assert serial_of(found, "Device/nobody") is None


def test_a_chain_of_devices_that_leads_back_to_itself_ends() -> None:
    loop = {
        "DeviceMetric/a": read_tree(b'{"resourceType": "DeviceMetric", "source": {"reference": "DeviceMetric/a"}}', "")
    }
    assert serial_of(loop, "DeviceMetric/a") is None


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("Observation-*.xml")), ids=lambda path: path.name)
def test_xml_and_json_of_one_observation_are_the_same(path: Path) -> None:
    """JSON of the example made by the library fhir.resources from our tree's own elements."""
    tree = read_tree(path.read_bytes(), path.name)
    single = {"coding", "component", "profile"}

    def plain(value: Any, name: str = "") -> Any:
        if isinstance(value, dict):
            return {key: inner if key == "resourceType" else plain(inner, key) for key, inner in value.items()}
        if isinstance(value, list):
            return [plain(one) for one in value] if name in (*single, "category") else plain(value[0])
        return value

    model = import_module("fhir.resources.R4B.observation").Observation
    again = read_tree(model.model_validate(plain(tree)).model_dump_json().encode(), "again.json")
    if "Sample" in path.name:
        assert sampled_of(again, "j").values == sampled_of(tree, "x").values
    else:
        assert [(one.item, float(one.value)) for one in vitals(again, "j").rows] == [("heart_rate", 60.0)]


# --- what becomes a row ----------------------------------------------------------------------------


def test_five_vital_signs_become_rows_that_the_chart_reads() -> None:
    found = read(
        sign("9279-1", quantity(18, "/min")), sign("8867-4", quantity(88, "{beats}/min")),
        sign("2708-6", quantity(94, "%")), sign("8310-5", quantity(37.4, "Cel"), issued="2041-05-06T08:05:00+02:00"),
        sign("85354-9", None, component=[
            {"code": {"coding": [{"system": LOINC, "code": "8480-6"}]}, "valueQuantity": quantity(121, "mm[Hg]")},
            {"code": {"coding": [{"system": LOINC, "code": "8462-4"}]}, "valueQuantity": quantity(70, "mm[Hg]")},
        ]),
    )  # fmt: skip
    chart = read_chart(chart_csv(found).encode(), "vitals.csv")
    told = {entry.item: entry.value for entry in chart.entries}
    assert told == {
        "resp_rate": 18.0, "heart_rate": 88.0, "spo2": 94.0, "temperature": 37.4,
        "systolic": pytest.approx(121 * 1.35951),  # in cmH2O: NIST SP 811, conventional mmHg and cmH2O
    }  # fmt: skip
    late = next(entry for entry in chart.entries if entry.item == "temperature")
    assert late.recorded - late.time == 5 * 60_000
    assert found.by_item["systolic"] == 1


def test_units_are_read_by_their_code_and_never_by_what_is_printed() -> None:
    (row,) = read(sign("8310-5", {**quantity(98.6, "[degF]"), "unit": "Cel"})).rows
    (entry,) = read_chart(chart_csv(Vitals((row,), (), None)).encode(), "v.csv").entries
    assert entry.value == pytest.approx(37.0)


@pytest.mark.parametrize(
    "value",
    [
        quantity(60, "beats"), quantity(60, "/h"), quantity(60, "%"), {"value": 60, "unit": "/min"},
        {"value": 60, "unit": "/min", "code": "/min"}, quantity(60, "/min", system="http://example.org"),
    ],
)  # fmt: skip
def test_a_unit_that_is_not_known_is_refused_naming_the_place(value: dict[str, Any]) -> None:
    with pytest.raises(ChartError, match=r"f\.json, entry 2, Observation o, heart_rate: (unit|has no unit)"):
        read(sign("9279-1", quantity(18, "/min")), sign("8867-4", value))


@pytest.mark.parametrize(
    ("made", "why"),
    [
        (sign("8867-4", None, dataAbsentReason={"text": "probe off"}), "absent"),
        (sign("8867-4", None), "no value"),
        (sign("8867-4", quantity(40, "/min", comparator="<")), "a bound"),
        (sign("8867-4", quantity(60, "/min"), status="entered-in-error"), "status"),
        (sign("8867-4", quantity(60, "/min"), effectiveDateTime=None), "no moment"),
    ],
)
def test_what_has_no_value_gives_no_row_and_is_told(made: dict[str, Any], why: str) -> None:
    found = read(made)
    assert found.rows == ()
    assert why in found.passed_over[0][1]
    assert chart_csv(found).count("\n") == 1


def test_other_observations_are_passed_over() -> None:
    """59408-5 is one of them: its entry was not read."""
    found = read(sign("59408-5", quantity(94, "%")), sign("8867-4", quantity(60, "/min")))
    assert len(found.rows) == 1
    assert "no vital sign" in found.passed_over[0][1]


def test_two_patients_in_one_file_are_refused() -> None:
    other = {"subject": {"reference": "Patient/q"}}
    with pytest.raises(ChartError, match="2 patients"):
        read(sign("8867-4", quantity(60, "/min")), sign("8867-4", quantity(60, "/min"), **other))


@pytest.mark.parametrize("text", ["2041-05-06", "2041-05-06T08:00:00", "yesterday"])
def test_a_time_without_offset_is_refused(text: str) -> None:
    with pytest.raises(ChartError, match="heart_rate"):
        read(sign("8867-4", quantity(60, "/min"), effectiveDateTime=text))


def test_a_value_beyond_meaning_is_refused() -> None:
    with pytest.raises(ChartError, match="spo2"):
        read(sign("2708-6", quantity(194, "%")))


@given(st.decimals(0, 300, places=2, allow_nan=False))
def test_the_number_is_carried_digit_for_digit(value: Any) -> None:
    """haz-H06's other side: no float in between."""
    text = json.dumps(sign("8867-4", quantity(0, "/min"))).replace('"value": 0', f'"value": {value}')
    (row,) = vitals(read_tree(text.encode(), "f"), "f").rows
    assert row.value == str(value)


# --- hostile files (haz-H06) ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "data",
    [
        b"", b"{}", b"[]", b"null", b'"x"', b"{" * 10_000, b'{"resourceType": ' + b"[" * 100_000,
        b'{"resourceType": "Observation", "a": ' + b'{"a":' * 60 + b"1" + b"}" * 60 + b"}",
        b'{"resourceType": "Observation", "value": ' + b"9" * 50_000 + b"}",
        b'{"resourceType": "Observation", "value": NaN}',
        b'{"resourceType": "Observation", "status": "final", "status": "final"}',
        b'{"resourceType": "Observation", "code": [[1]]}',
        b'<!DOCTYPE x [<!ENTITY a "aaaa">]><Observation xmlns="http://hl7.org/fhir">&a;</Observation>',
        b'<!DOCTYPE x SYSTEM "file:///etc/passwd"><Observation xmlns="http://hl7.org/fhir"/>',
        b'<Observation xmlns="http://hl7.org/fhir">', b"<Observation/>",
        b'<Observation xmlns="http://hl7.org/fhir">' + b"<code>" * 90 + b"</code>" * 90 + b"</Observation>",
        b"\xff\xfe<\x00",
    ],
)  # fmt: skip
def test_what_is_no_fhir_is_refused_in_one_line(data: bytes) -> None:
    with pytest.raises(RefusedInput) as refused:
        read_tree(data, "f")
    assert str(refused.value).count("\n") == 0


@given(st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(
        ["code", "coding", "system", "valueQuantity", "value", "status", "component", "subject", "reference", "data",
         "effectiveDateTime", "entry", "resource"]), inner, max_size=5),
    max_leaves=12,
))  # fmt: skip
def test_whatever_shape_it_has_it_is_read_or_refused(value: Any) -> None:
    made = {"resourceType": "Observation", **(value if isinstance(value, dict) else {"code": value})}
    try:
        tree = read_tree(json.dumps(made).encode(), "f")
        vitals(tree, "f")
        sampled_of(tree, "f")
    except ChartError as error:
        assert error.what


def test_an_amount_without_a_value_is_refused() -> None:
    with pytest.raises(ChartError, match="has no value"):
        amount_of({"code": ["/min"], "system": [UCUM]}, "here")
