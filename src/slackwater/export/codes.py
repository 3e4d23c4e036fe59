"""What each thing is called in FHIR: standard codes where one was read at its source, else our own.

LOINC and SNOMED CT identifiers only where the published entry was read: a wrong code is worse than none. For the
rest a local code system with a fixed name, and a text; docs/export.md holds the table that awaits real codes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

UCUM_SYSTEM = "http://unitsofmeasure.org"
LOINC = "http://loinc.org"
SNOMED = "http://snomed.info/sct"
MDC = "urn:iso:std:iso:11073:10101"
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
ABSENT_EXTENSION = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"
SECURITY = "http://terminology.hl7.org/CodeSystem/v3-ObservationValue"
LOCAL = "urn:slackwater:fhir"
CODES = f"{LOCAL}:codes:1"

UCUM = {
    "cmH2O": "cm[H2O]", "mL/min": "mL/min", "mL/h": "mL/h", "mL": "mL", "mL/kg": "mL/kg", "%": "%", "/min": "/min",
    "Cel": "Cel", "kg": "kg", "cm": "cm", "h": "h", "min": "min", "s": "s", "d": "d", "Fr": "[Ch]", "": "1",
    "mL/min per cmH2O": "mL/min/cm[H2O]",
}  # fmt: skip
"""UCUM's code of each symbol that the program prints."""


@dataclass(frozen=True)
class Code:
    """One thing: our name for it, what it is in words, and a standard code if one is known."""

    name: str
    text: str
    system: str = ""
    code: str = ""

    @property
    def concept(self) -> dict[str, Any]:
        """A CodeableConcept."""
        standard = [{"system": self.system, "code": self.code}] if self.code else []
        return {"coding": [*standard, {"system": CODES, "code": self.name}], "text": self.text}


_ALL = (
    # what is observed
    Code("air-flow", "air flow at the unit, mean of the last recorded minute"),
    Code("air-flow-by-minute", "air flow at the unit, mean of what was recorded in each minute"),
    Code("leak-by-minute", "air leak in each minute that can be judged, middle of an estimate"),
    Code("pressure", "pressure at the unit, mean of the last recorded minute; suction is negative"),
    Code("pressure-by-minute", "pressure at the unit, mean of what was recorded in each minute; suction is negative"),
    Code("swing", "breathing swing of the pressure at the unit, last recorded minute"),
    Code("fluid-24-h", "fluid from this chest drain, total of the 24 h up to the last entry", LOINC, "9129-8"),
    Code("fluid-so-far", "fluid from this chest drain, total from connection to the last entry", LOINC, "9129-8"),
    Code("doubtful-minutes", "stretches in which the recorded flow is no evidence, and why"),
    Code("rule-status", "the unit's own rule, held against what was recorded; it decides nothing"),
    # what a unit measures
    Code("air-flow-metric", "air flow, as the unit measures it"),
    Code("pressure-metric", "pressure, as the unit measures it; suction is negative"),
    # parts of what is observed
    Code("lowest", "smallest that it may be, by the whole step of the display"),
    Code("highest", "largest that it may be, by the whole step of the display"),
    Code("at-least", "surely so much; how much more is not known"),
    Code("leak-state", "what the last recorded minute says of the leak"),
    Code("chance-at-limit", "chance of a leak at or above the limit, an estimate"),
    Code("leak-limit", "the limit that the chance speaks of"),
    Code("in-doubt", "why these minutes are no evidence"),
    Code("clause", "a clause or guard of the rule, and its status"),
    # things
    Code("suction-unit", "digitally regulated suction unit"),
    Code("drain", "chest drain (tube)"),
    Code("program", "slackwater, software"),
    Code("drain-number", "drain number", LOINC, "81664-5"),
    Code("side", "side of the chest"),
    Code("space", "space that the drain lies in"),
    Code("site", "where the drain enters"),
    Code("size", "outer size of the tube"),
    # what was done and ordered
    Code("connection", "connection of the drain to the suction unit"),
    Code("removal", "removal of the drain", SNOMED, "241031001"),
    Code("end-of-drain", "end of this drain's time on the ward"),
    Code("suction-order", "suction on the chest drain, as ordered", SNOMED, "274441001"),
    Code("no-suction-added", "no suction added: water seal or gravity"),
)  # fmt: skip

CODE: dict[str, Code] = {one.name: one for one in _ALL}


@dataclass(frozen=True)
class Vital:
    """A vital sign that is read in: its chart item, and the UCUM codes its value may stand in."""

    item: str
    loinc: str
    units: tuple[str, ...]


VITALS = (
    Vital("resp_rate", "9279-1", ("/min", "{breaths}/min")),
    Vital("heart_rate", "8867-4", ("/min", "{beats}/min")),
    Vital("spo2", "2708-6", ("%",)),
    Vital("systolic", "8480-6", ("mm[Hg]", "kPa")),
    Vital("temperature", "8310-5", ("Cel", "[degF]")),
)
