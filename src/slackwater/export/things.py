"""Who, and with what: patient, units, tube, the program; what was done and what was ordered."""

from __future__ import annotations

from itertools import zip_longest
from typing import Any

from slackwater import __version__
from slackwater.assessment.document import stamp
from slackwater.episode.space import entries_for
from slackwater.export.codes import CODE, LOCAL, MDC, SECURITY, UCUM, UCUM_SYSTEM
from slackwater.export.material import Material
from slackwater.export.parts import Names, Resource, decimal, not_known, period, quantity, to

TAKEN_OUT = ("planned", "unplanned", "in_theatre", "exchanged")  # of the record's kinds of removal
METRICS = {"air-flow": "mL/min", "pressure": "cmH2O"}
_MDC_UNITS = {"cmH2O": "266048"}  # MDC_DIM_CM_H2O, read; others of ours were not


def patient(of: Material, names: Names) -> Resource:
    """Who: the house's own number, or a pseudonym. The program knows no name, sex or date of birth."""
    said = of.found.episode.patient_id
    kind = "pseudonym" if of.de_identified else "patient"
    out: Resource = {"resourceType": "Patient", "id": names.lasting("patient")}
    if of.de_identified:
        out["meta"] = {"security": [{"system": SECURITY, "code": "PSEUDED"}]}
    identifier = {"system": f"{LOCAL}:{kind}", "value": said} if said is not None else not_known()
    out["identifier"] = [identifier]
    return out


def program(names: Names) -> Resource:
    """What worked the values out."""
    return {
        "resourceType": "Device", "id": names.lasting("program"), "type": CODE["program"].concept,
        "deviceName": [{"name": "slackwater", "type": "model-name"}], "version": [{"value": __version__}],
    }  # fmt: skip


def tube(of: Material, names: Names, who: Resource) -> Resource:
    """The drain by its number, which is the patient's for ever; with side, space, site and size as far as known."""
    episode = of.found.episode
    said = {"side": episode.side, "space": episode.space, "site": episode.site}
    properties: list[dict[str, Any]] = [
        {"type": CODE[name].concept, "valueCode": [{"text": text}]} for name, text in said.items() if text
    ]
    if episode.size_fr is not None:
        properties.append({"type": CODE["size"].concept, "valueQuantity": [quantity(episode.size_fr, "Fr")]})
    out: Resource = {
        "resourceType": "Device", "id": names.lasting("tube"), "type": CODE["drain"].concept, "patient": to(who),
    }  # fmt: skip
    if episode.drain_number is not None:
        out["identifier"] = [{"type": CODE["drain-number"].concept, "value": episode.drain_number}]
    if properties:
        out["property"] = properties
    return out


def units(of: Material, names: Names) -> dict[str | None, Resource]:
    """Each suction unit by its serial number (None: a log that does not say), in the order of their logs."""
    found: dict[str | None, Resource] = {}
    for log in of.found.trace.logs if of.found.trace is not None else ():
        for serial in log.serials or (None,):
            out: Resource = {
                "resourceType": "Device", "id": names.lasting(f"unit {serial}"), "type": CODE["suction-unit"].concept,
            }  # fmt: skip
            if serial is not None and not of.de_identified:
                out["serialNumber"] = serial
            found[serial] = out
    return found


def metrics(names: Names, unit: Resource, every_ms: int) -> dict[str, Resource]:
    """What a unit measures, and how often it says so."""
    found: dict[str, Resource] = {}
    for name, symbol in METRICS.items():
        coding = [{"system": UCUM_SYSTEM, "code": UCUM[symbol]}]
        if symbol in _MDC_UNITS:
            coding.append({"system": MDC, "code": _MDC_UNITS[symbol]})
        found[name] = {
            "resourceType": "DeviceMetric", "id": names.lasting(f"{name} of {unit['id']}"),
            "type": CODE[f"{name}-metric"].concept, "unit": {"coding": coding, "text": symbol}, "source": to(unit),
            "category": "measurement",
            "measurementPeriod": {"repeat": {"frequency": 1, "period": decimal(every_ms / 1000), "periodUnit": "s"}},
        }  # fmt: skip
    return found


def procedures(of: Material, names: Names, who: Resource, drain: Resource) -> list[Resource]:
    """Connection and removal, where they were recorded; what was not recorded is not there."""
    found: list[Resource] = []

    def done(name: str, time_ms: int, more: dict[str, Any]) -> None:
        found.append(
            {
                "resourceType": "Procedure", "id": names.lasting(name), "status": "completed",
                "code": CODE[name].concept, "subject": to(who), "performedDateTime": stamp(time_ms),
                "usedReference": [to(drain)], **more,
            }
        )  # fmt: skip

    if of.found.episode.connected_at is not None:
        done("connection", of.found.episode.connected_at, {})
    if of.removal is not None:
        more: dict[str, Any] = {"outcome": {"text": of.removal.kind.replace("_", " ")}}
        if of.removal.by:
            more["performer"] = [{"actor": {"display": of.removal.by}}]
        done("removal" if of.removal.kind in TAKEN_OUT else "end-of-drain", of.removal.time_ms, more)
    return found


def orders(of: Material, names: Names, who: Resource) -> list[Resource]:
    """Orders of suction, each until the next, its end, or the removal. Entries that contradict each other are none."""
    own = entries_for(of.found.chart, "drain", of.found.episode)
    told = [one for one in own.of("suction_ordered") if not one.conflict and one.value is not None]
    out_ms = None if of.removal is None else of.removal.time_ms
    found: list[Resource] = []
    for one, following in zip_longest(told, told[1:]):
        said = [out_ms, of.order_ends.get(one.time), None if following is None else following.time]
        ends = min((end for end in said if end is not None), default=None)
        ended = ends is not None and (ends == out_ms or ends <= of.found.as_of_ms)
        order: Resource = {
            "resourceType": "ServiceRequest", "id": names.lasting(f"order {one.time}"),
            "status": "completed" if ended else "active", "intent": "order", "code": CODE["suction-order"].concept,
            "subject": to(who), "occurrencePeriod": period(one.time, ends), "authoredOn": stamp(one.recorded),
        }  # fmt: skip
        if isinstance(one.value, float):
            order["quantityQuantity"] = quantity(one.value, "cmH2O")
        else:
            order["orderDetail"] = [CODE["no-suction-added"].concept]
        if one.by and not of.de_identified:
            order["requester"] = {"display": one.by}
        if one.note and not of.de_identified:
            order["reasonCode"] = [{"text": one.note}]
        found.append(order)
    return found
