"""The bundle: what is in it, by which codes, with which cautions.

Sources: FHIR R4 (hl7.org/fhir/R4); terminology as published and read: LOINC 9129-8, 81664-5; SNOMED CT 241031001,
274441001; IEEE 11073 266048 (MDC_DIM_CM_H2O); UCUM for units.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from behaviour.export.a_drain_told import MADE_MS, drain, found, material, observation, of_type, text, told
from slackwater import __version__
from slackwater.export.bundle import bundle
from slackwater.export.codes import CODE, CODES, LOINC, MDC, SNOMED, UCUM, UCUM_SYSTEM, VITALS
from slackwater.export.material import Material, Removal, of_files
from slackwater.export.observations import METHODS
from slackwater.protocol.measures import MEASURES
from slackwater.protocol.moments import UNITS

NO_NOTE: tuple[str, ...] = ()
READ = {
    LOINC: {"9129-8", "81664-5"},
    SNOMED: {"241031001", "274441001"},
    MDC: {"266048"},
}  # codes whose published entry was read; a code from memory may not be here


def every(value: Any) -> Iterator[dict[str, Any]]:
    """Every object in the bundle."""
    if isinstance(value, dict):
        yield value
        for inner in value.values():
            yield from every(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from every(inner)


def test_it_is_a_collection_that_orders_nobody_to_write_anything() -> None:
    made = told()
    assert made["type"] == "collection"
    assert not any("request" in entry for entry in made["entry"])


def test_each_kind_of_resource_is_there() -> None:
    kinds = {entry["resource"]["resourceType"] for entry in told()["entry"]}
    assert kinds == {
        "Patient", "Device", "DeviceMetric", "Observation", "Procedure", "ServiceRequest", "PlanDefinition",
        "GuidanceResponse", "Provenance",
    }  # fmt: skip


def test_every_observation_is_preliminary_and_names_its_method() -> None:
    made = told()
    assert {one["status"] for one in of_type(made, "Observation")} == {"preliminary"}
    assert all(one["method"]["text"] for one in of_type(made, "Observation"))
    assert {one["code"]["coding"][-1]["code"] for one in of_type(made, "Observation")} == set(METHODS)


def test_no_yes_or_no_can_be_read_as_a_verdict() -> None:
    made = told()
    for one in every([one for kind in ("Observation", "GuidanceResponse") for one in of_type(made, kind)]):
        assert not [key for key, value in one.items() if isinstance(value, bool)]
        assert "valueBoolean" not in one
    assert "final" not in {one["status"] for one in of_type(made, "Observation")}
    assert "It decides nothing." in observation(made, "rule-status")["valueString"]


def test_what_was_computed_carries_the_cautions_and_the_rule_in_force() -> None:
    """C1, C3, C4, C5, C6 on every computed resource."""
    made = told()
    texts = {one.id: one.text for one in material().found.cautions}
    for one in (*of_type(made, "Observation"), *of_type(made, "GuidanceResponse")):
        said = [note["text"] for note in one["note"]]
        for id_ in ("cau-C1", "cau-C3", "cau-C4", "cau-C5", "cau-C6"):
            assert texts[id_] in said, (one["resourceType"], id_)


def test_every_computed_value_has_its_provenance() -> None:
    made = told()
    (origin,) = of_type(made, "Provenance")
    computed = {f"urn:uuid:{one['id']}" for kind in ("Observation", "GuidanceResponse") for one in of_type(made, kind)}
    assert {target["reference"] for target in origin["target"]} == computed
    assert __version__ in origin["activity"]["text"]
    found_ = material().found
    assert found_.trace is not None and found_.evaluation is not None
    assert [(one["what"]["display"], one["what"]["identifier"]["value"]) for one in origin["entity"]] == [
        ("log", found_.trace.logs[0].sha256),
        ("chart", found_.chart.sha256),
        ("rule", found_.evaluation.protocol.sha256),
    ]
    (program,) = [one for one in of_type(made, "Device") if "version" in one]
    assert origin["agent"][0]["who"]["reference"] == f"urn:uuid:{program['id']}"


def test_units_are_ucum_codes() -> None:
    """UCUM codes: mL/min, mL (common forms); cm[H2O], [Ch] as UCUM has them."""
    quantities = [one for one in every(told()) if "value" in one and one.get("system") == UCUM_SYSTEM]
    assert quantities
    assert {one["code"] for one in quantities} <= set(UCUM.values())
    assert observation(told(), "pressure")["valueQuantity"]["code"] == "cm[H2O]"
    assert observation(told(), "air-flow")["valueQuantity"]["code"] == "mL/min"
    assert observation(told(), "fluid-so-far")["valueQuantity"]["code"] == "mL"


def test_every_unit_that_a_rule_can_speak_in_has_a_ucum_code() -> None:
    dimensions = {measure.dimension for measure in MEASURES.values() if measure.dimension}
    assert {UNITS.get(dimension, "") for dimension in dimensions} | {"mL/min", "mL", "mL/kg"} <= set(UCUM)


@pytest.mark.parametrize("name", ["small", "healing", "clamped_charted"])
def test_standard_codes_are_only_those_that_were_read(name: str) -> None:
    for one in every(bundle(drain(name), MADE_MS)):
        if one.get("system") in READ:
            assert one["code"] in READ[one["system"]]
        if one.get("system") == CODES:
            assert one["code"] in CODE


def test_the_suction_unit_the_tube_and_what_the_unit_measures() -> None:
    made = told()
    devices = {one["type"]["coding"][-1]["code"]: one for one in of_type(made, "Device")}
    unit, tube = devices["suction-unit"], devices["drain"]
    assert unit["serialNumber"] == "SN-CANARY-9"
    assert tube["identifier"][0]["value"] == "1"
    assert tube["identifier"][0]["type"]["coding"][0] == {"system": LOINC, "code": "81664-5"}
    said = {one["type"]["coding"][-1]["code"]: one["valueCode"][0]["text"] for one in tube["property"]}
    assert said == {"side": "left", "space": "pleural", "site": "ward Krähenfeld"}
    assert {one["source"]["reference"] for one in of_type(made, "DeviceMetric")} == {f"urn:uuid:{unit['id']}"}
    metric = observation(made, "air-flow-by-minute")["device"]["reference"]
    assert metric in {f"urn:uuid:{one['id']}" for one in of_type(made, "DeviceMetric")}


def test_an_order_of_suction_has_its_quantity_with_unit_and_sign() -> None:
    (order,) = of_type(told(), "ServiceRequest")
    assert order["quantityQuantity"] == {
        "value": -10, "unit": "cmH2O", "system": UCUM_SYSTEM, "code": "cm[H2O]",
    }  # fmt: skip
    assert (order["intent"], order["status"]) == ("order", "completed")  # the drain is out
    assert {"system": SNOMED, "code": "274441001"} in order["code"]["coding"]


def test_no_suction_added_is_no_order_of_zero() -> None:
    from behaviour.store.a_drain import ROWS, row

    of = of_files(found(chart=(*ROWS, row(5, "suction_ordered", "none_added"))))
    (order,) = of_type(bundle(of, MADE_MS), "ServiceRequest")
    assert "quantityQuantity" not in order
    assert order["status"] == "active"
    assert order["orderDetail"][0]["coding"][0]["code"] == "no-suction-added"


def test_removal_is_there_where_it_was_recorded_and_a_death_is_none() -> None:
    done = {one["code"]["coding"][-1]["code"]: one for one in of_type(told(), "Procedure")}
    assert set(done) == {"connection", "removal"}
    assert {"system": SNOMED, "code": "241031001"} in done["removal"]["code"]["coding"]
    of = material()
    died = Material(of.found, of.patient, of.drain, Removal("patient_died", of.found.as_of_ms))
    assert {one["code"]["coding"][0]["code"] for one in of_type(bundle(died, MADE_MS), "Procedure")} == {
        "connection", "end-of-drain",
    }  # fmt: skip
    still_in = of_files(of.found)
    assert len(of_type(bundle(still_in, MADE_MS), "Procedure")) == 1


def test_the_rule_is_pinned_by_its_hash() -> None:
    (rule,) = of_type(told(), "PlanDefinition")
    evaluation = material().found.evaluation
    assert evaluation is not None
    assert rule["identifier"][0]["value"] == evaluation.protocol.sha256
    assert rule["url"].endswith(evaluation.protocol.sha256)
    assert (rule["version"], rule["status"], rule["experimental"]) == ("1", "draft", True)
    (response,) = of_type(told(), "GuidanceResponse")
    assert response["moduleCanonical"] == rule["url"]


def test_the_response_says_each_clause_with_its_doubt() -> None:
    made = told()
    (response,) = of_type(made, "GuidanceResponse")
    judged = material().found.evaluation
    assert judged is not None
    said = {one["name"]: one["part"] for one in response["contained"][0]["parameter"]}
    for part in (*judged.criteria, *judged.guards):
        assert said[part.id][0]["valueString"] == part.status.said
    assert (response["status"], "dataRequirement" in response) == ("success", False)


def test_what_cannot_be_told_is_required_by_name() -> None:
    """FHIR R4, guidance-response-status: data-required, more data is required to complete the evaluation."""
    (response,) = of_type(bundle(of_files(found(chart=NO_NOTE)), MADE_MS), "GuidanceResponse")
    assert response["status"] == "data-required"
    asked = [one["codeFilter"][0]["code"][0] for one in response["dataRequirement"]]
    assert ("fluid", "fluid charted") in [(one["code"], one["display"]) for one in asked]


def test_without_a_rule_nothing_is_judged() -> None:
    made = bundle(of_files(found(rule=None)), MADE_MS)
    assert not of_type(made, "PlanDefinition") + of_type(made, "GuidanceResponse")
    assert "rule" not in {one["what"]["display"] for one in of_type(made, "Provenance")[0]["entity"]}


def test_the_same_drain_gives_the_same_bytes_and_things_keep_their_ids() -> None:
    again = bundle(Material(*(getattr(material(), name) for name in ("found", "patient", "drain", "removal"))), MADE_MS)
    assert json.dumps(again) == json.dumps(told())
    later = bundle(of_files(found(chart=NO_NOTE)), MADE_MS)
    for kind in ("Patient", "Device"):
        assert {one["id"] for one in of_type(later, kind)} == {one["id"] for one in of_type(told(), kind)}
    assert not {one["id"] for one in of_type(later, "Observation")} & {
        one["id"] for one in of_type(told(), "Observation")
    }


def test_banned_words_are_in_no_bundle() -> None:
    """haz: what no door may say."""
    from frame.test_words import BANNED

    shown = " ".join(
        value for one in every(told()) for key, value in one.items() if isinstance(value, str) and key != "reference"
    )
    without_cautions = shown
    for caution in material().found.cautions:
        without_cautions = without_cautions.replace(caution.text, "")
    assert not [word for word, pattern in BANNED.items() if pattern.search(without_cautions)]
    assert "ready" not in text(material())


def test_the_page_holds_every_code_of_ours_with_its_standard_code() -> None:
    page = (Path(__file__).parents[3] / "docs/export.md").read_text("utf-8")
    short = {"": "–", LOINC: "LOINC", SNOMED: "SNOMED CT"}
    for one in CODE.values():
        assert f"| `{one.name}` | {one.text} | {f'{short[one.system]} {one.code}'.strip()} |" in page, one.name
    for vital in VITALS:
        assert vital.loinc in page
        assert all(f"`{unit}`" in page for unit in vital.units)
