"""The bundle held against an outside reader: fhir.resources 8.3, its R4B models (for what we write, R4).

inv-M35: out and in again, the same values, UCUM codes, and what is missing as absent with its reason, never zero.
"""

from __future__ import annotations

import copy
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from behaviour.export.a_drain_told import KEY, MADE_MS, drain, found, material, of_type, told
from slackwater import __version__
from slackwater.export.bundle import bundle, bundle_json
from slackwater.export.material import of_files
from slackwater.export.read_in import sampled_of
from slackwater.export.tree import read_tree, resources
from slackwater.export.unnamed import unnamed
from slackwater.export.valid import faults

GOLDEN = Path(__file__).parents[2] / "data/fhir/small-bundle.json"
DRAINS = ("small", "healing", "blocked", "dropout", "exchanged", "off_zeros", "pneumonectomy")


def read_by_library(made: dict[str, Any]) -> Any:
    return import_module("fhir.resources.R4B.bundle").Bundle.model_validate_json(bundle_json(made))


def named(read: Any, name: str) -> Any:
    (one,) = [
        entry.resource
        for entry in read.entry
        if entry.resource.__resource_type__ == "Observation"
        and name in [coding.code for coding in entry.resource.code.coding]
    ]
    return one


@pytest.mark.parametrize("name", DRAINS)
def test_it_is_fhir_named_or_not(name: str) -> None:
    of = drain(name)
    for one in (of, unnamed(of, KEY)):
        made = bundle(one, MADE_MS)
        assert faults(made, bundle_json(made)) == []


@pytest.mark.parametrize("drain_name", DRAINS)
def test_the_library_reads_the_same_numbers_back(drain_name: str) -> None:
    of = drain(drain_name)
    read = read_by_library(bundle(of, MADE_MS))
    leak = of.found.leak_trace
    assert leak is not None
    for name, values, unit in (
        ("air-flow-by-minute", leak.minutes.flow, "mL/min"),
        ("pressure-by-minute", leak.minutes.pressure, "cm[H2O]"),
        ("leak-by-minute", leak.mid, "mL/min"),
    ):
        data = named(read, name).valueSampledData
        assert (data.period, data.dimensions, data.origin.value, data.origin.code) == (60_000, 1, 0, unit)
        back = np.array([np.nan if word in "EU" else float(word) for word in data.data.split()])
        np.testing.assert_allclose(back, np.where(np.isnan(back), np.nan, values), atol=0.0005)
        np.testing.assert_array_equal(np.isnan(back), np.isnan(values))  # missing stays missing
    now = named(read, "air-flow")
    if of.found.leak.mid is None:
        assert now.valueQuantity is None and now.dataAbsentReason is not None
    else:
        assert float(now.valueQuantity.value) == pytest.approx(of.found.leak.mid, abs=1e-6)


def test_our_own_reader_reads_the_trend_back() -> None:
    tree = read_tree(bundle_json(told()), "bundle.json")
    (trend,) = [
        one for _, one in resources(tree)
        if one["resourceType"] == "Observation" and one["code"][0]["coding"][0]["code"] == ["air-flow-by-minute"]
    ]  # fmt: skip
    read = sampled_of(trend, "trend")
    leak = material().found.leak_trace
    assert leak is not None
    assert [None if value is None else round(float(value), 3) for value in read.values] == [
        None if np.isnan(value) else round(value, 3) for value in leak.minutes.flow.tolist()
    ]


def test_without_a_log_every_value_is_absent_and_says_why() -> None:
    made = bundle(of_files(found(log=(), chart=NO_FLUID)), MADE_MS)
    assert faults(made, bundle_json(made)) == []
    read = read_by_library(made)
    for name in ("air-flow", "pressure", "swing", "fluid-24-h", "fluid-so-far"):
        one = named(read, name)
        assert one.valueQuantity is None
        assert one.dataAbsentReason.coding[0].code == "unknown"


NO_FLUID = ("2041-05-06T07:00:00Z,swing,present,,,1,,nurse",)


@pytest.mark.parametrize(
    ("kind", "element", "wrong"),
    [
        ("Observation", "status", "finall"),
        ("GuidanceResponse", "status", "ready"),
        ("Procedure", "status", "done"),
        ("ServiceRequest", "intent", "wish"),
        ("PlanDefinition", "status", "approved"),
        ("DeviceMetric", "category", "measured"),
        ("Bundle", "type", "collections"),
    ],
)
def test_a_wrong_code_of_a_required_binding_is_found_though_the_library_lets_it_pass(
    kind: str, element: str, wrong: str
) -> None:
    made = copy.deepcopy(told())
    (made if kind == "Bundle" else of_type(made, kind)[0])[element] = wrong
    read_by_library(made)
    (fault,) = faults(made, bundle_json(made))
    assert wrong in fault and element in fault


def test_a_reference_to_nothing_is_found() -> None:
    made = copy.deepcopy(told())
    of_type(made, "Observation")[0]["subject"]["reference"] = "urn:uuid:00000000-0000-0000-0000-000000000000"
    assert "is not in the bundle" in faults(made, bundle_json(made))[0]


def test_a_missing_element_is_found() -> None:
    made = copy.deepcopy(told())
    del of_type(made, "Observation")[0]["code"]
    assert faults(made, bundle_json(made))


def test_the_small_bundle_is_as_it_was() -> None:
    """Golden file of an invented drain; after an intended change, in tests/:
    python -m behaviour.export.test_bundle_oracle"""
    assert bundle_json(told()).decode() == GOLDEN.read_text("utf-8"), f"made by {__version__}"


if __name__ == "__main__":
    GOLDEN.write_bytes(bundle_json(told()))
