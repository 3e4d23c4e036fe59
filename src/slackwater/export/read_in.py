"""From FHIR to what the program takes: numbers with their units, sampled data, a serial number, vital signs.

A unit is read by its UCUM code alone: what is printed beside the number may be anything. A code that is not known is
refused, naming the place; a value that is absent gives no row, and never a zero.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from slackwater.assessment.document import stamp
from slackwater.episode.instants import read_instant
from slackwater.episode.items import ITEMS
from slackwater.episode.table import COLUMNS
from slackwater.episode.values import read_value
from slackwater.errors import ChartError, QuantityError
from slackwater.export.codes import LOINC, UCUM_SYSTEM, VITALS, Vital
from slackwater.export.tree import Tree, first, resources
from slackwater.quantities.grammar import parse_exact

STATUSES = ("preliminary", "final", "amended", "corrected")  # FHIR R4 observation-status: there is a result to read


@dataclass(frozen=True)
class Amount:
    """A number and the UCUM code of its unit."""

    value: Fraction
    code: str


@dataclass(frozen=True)
class Sampled:
    """SampledData. A value is None where the data say E (no valid value), L or U (beyond the limits of detection).

    `words`: the data as written. `period_ms`: from one value to the next.
    """

    origin: Amount
    period_ms: Fraction
    values: tuple[Fraction | None, ...]
    words: tuple[str, ...]


@dataclass(frozen=True)
class Row:
    """One chart row, and where it came from."""

    time_ms: int
    item: str
    value: str
    unit: str
    recorded_ms: int | None
    place: str


@dataclass(frozen=True)
class Vitals:
    """The rows, in order of time; what was passed over and why; whom they speak of."""

    rows: tuple[Row, ...]
    passed_over: tuple[tuple[str, str], ...]  # (place, why)
    subject: str | None

    @property
    def by_item(self) -> Mapping[str, int]:
        return Counter(row.item for row in self.rows)


def amount_of(quantity: Tree | None, where: str, units: tuple[str, ...] | None = None) -> Amount:
    """A Quantity, or SampledData's origin. units: the codes it may stand in; None: any."""
    value, code, system = (first(quantity, name) for name in ("value", "code", "system"))
    if value is None:
        raise ChartError("has no value", where=where, mend="Send the value, or why it is absent.")
    if system != UCUM_SYSTEM or not code:
        raise ChartError(
            "has no unit as a UCUM code", where=where, mend=f"Send system {UCUM_SYSTEM} and its code, e.g. /min."
        )
    if units is not None and code not in units:
        raise ChartError(f"unit {code!r} is not known here", where=where, mend=f"Send one of: {', '.join(units)}.")
    return Amount(_number(value, where), str(code))


def sampled_of(observation: Tree, where: str) -> Sampled:
    """The SampledData of an Observation: value = origin + factor × number, one each period."""
    data = first(observation, "valueSampledData")
    if not isinstance(data, dict):
        raise ChartError("has no sampled data", where=where, mend="Give an Observation with valueSampledData.")
    if first(data, "dimensions") != "1":
        raise ChartError("has more than one value at a time", where=where, mend="Send one signal an Observation.")
    origin = amount_of(first(data, "origin"), f"{where}, origin")
    factor = _number(first(data, "factor") or "1", f"{where}, factor")
    words = tuple(str(first(data, "data") or "").split())
    values = tuple(
        None if word in ("E", "L", "U") else origin.value + factor * _number(word, f"{where}, data") for word in words
    )
    return Sampled(origin, _number(first(data, "period") or "", f"{where}, period"), values, words)


def serial_of(found: Mapping[str, Tree], reference: str) -> str | None:
    """The serial number behind a reference to a Device, or to a DeviceMetric and so its source.

    found: resources by Type/id.
    """
    resource = found.get(reference)
    if resource is None:
        return None
    if resource["resourceType"] == "DeviceMetric":
        return serial_of({**found, reference: {"resourceType": ""}}, str(first(resource, "source", "reference")))
    serial = first(resource, "serialNumber")
    return None if serial is None else str(serial)


def vitals(tree: Tree, name: str) -> Vitals:
    """The vital signs of a file as chart rows. Raises ChartError naming the place; and where two patients are in it."""
    rows: list[Row] = []
    passed: list[tuple[str, str]] = []
    subjects: set[str] = set()
    for place, resource in resources(tree):
        if resource["resourceType"] != "Observation":
            continue
        where = f"{name}, {place} {first(resource, 'id') or ''}".rstrip()
        told = list(_told(resource))
        if not told:
            passed.append((where, "no vital sign by a LOINC code read here"))
            continue
        subjects.add(str(first(resource, "subject", "reference") or "nobody named"))
        why = _not_readable(resource)
        for vital, value in told:
            own = why or _no_value(value)
            if own:
                passed.append((where, f"{vital.item}: {own}"))
            else:
                rows.append(_row(resource, vital, value, where))
    if len(subjects) > 1:
        raise ChartError(
            f"speaks of {len(subjects)} patients", where=name, mend="Give the Observations of one patient alone."
        )
    return Vitals(tuple(sorted(rows, key=lambda row: (row.time_ms, row.item))), tuple(passed), *subjects or (None,))


def chart_csv(found: Vitals) -> str:
    """The rows as a chart file that `slackwater assess --chart` reads; times in UTC."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in found.rows:
        writer.writerow((stamp(row.time_ms), row.item, row.value, row.unit, "", "", stamp(row.recorded_ms) or "", ""))
    return out.getvalue()


def _told(resource: Tree) -> Iterator[tuple[Vital, Tree]]:
    """Each vital sign in the Observation: its own value, and those of its components (as in a blood pressure)."""
    by_code = {vital.loinc: vital for vital in VITALS}
    for part in (resource, *(one for one in resource.get("component", ()) if isinstance(one, dict))):
        code = first(part, "code")
        for coding in code.get("coding", ()) if isinstance(code, dict) else ():
            vital = by_code.get(str(first(coding, "code")))
            if vital is not None and first(coding, "system") == LOINC:
                yield vital, part
                break


def _not_readable(resource: Tree) -> str:
    status = first(resource, "status")
    if status not in STATUSES:
        return f"status {status}"
    if first(resource, "effectiveDateTime") is None and first(resource, "effectiveInstant") is None:
        return "no moment is told"
    return ""


def _no_value(part: Tree) -> str:
    if first(part, "dataAbsentReason") is not None:
        return "absent, and it says why"
    if first(part, "valueQuantity", "value") is None:
        return "no value"
    comparator = first(part, "valueQuantity", "comparator")
    return f"a bound ({comparator}), no value" if comparator else ""


def _row(resource: Tree, vital: Vital, part: Tree, where: str) -> Row:
    place = f"{where}, {vital.item}"
    quantity = first(part, "valueQuantity")
    amount_of(quantity, place, vital.units)
    value, code = str(first(quantity, "value")), str(first(quantity, "code"))
    issued = first(resource, "issued")
    try:
        read_value(ITEMS[vital.item], value, code)
    except ChartError as error:
        raise error.at(place) from error
    moment = first(resource, "effectiveDateTime") or first(resource, "effectiveInstant")
    return Row(
        _instant(moment, place), vital.item, value, code, None if issued is None else _instant(issued, place), place
    )


def _instant(text: Any, where: str) -> int:
    try:
        return read_instant(str(text))
    except QuantityError as error:
        raise ChartError(error.what, where=where, mend=error.mend) from error


def _number(text: Any, where: str) -> Fraction:
    try:
        return parse_exact(str(text))
    except QuantityError as error:
        raise ChartError(error.what, where=where, mend=error.mend) from error
