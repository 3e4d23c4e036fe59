"""The unit's own rule, and what it gave: text and values with their doubts, never a verdict."""

from __future__ import annotations

import re
from typing import Any

from slackwater.assessment.document import stamp
from slackwater.export.codes import LOCAL
from slackwater.export.material import Material
from slackwater.export.observations import Told
from slackwater.export.parts import (
    Names,
    Resource,
    component,
    not_known,
    notes,
    quantity,
    to,
)
from slackwater.protocol.evaluation import Evaluation, Judged, Value
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.sentence import sentence
from slackwater.protocol.status import Status

_PLAN_STATUS = {"example": "draft", "draft": "draft", "approved": "active", "retired": "retired"}


def plan(rule: Protocol, names: Names) -> Resource:
    """The rule as a PlanDefinition: its file's hash is its name, so that nobody can mean another edition."""
    blocks = {
        "removal": rule.removal, "step down": rule.step_down, "home": rule.home,
        "escalation": rule.escalation,
    }  # fmt: skip
    out: Resource = {
        "resourceType": "PlanDefinition", "id": names.lasting(f"rule {rule.sha256}"),
        "url": f"{LOCAL}:rule:{rule.sha256}", "identifier": [{"system": f"{LOCAL}:sha256", "value": rule.sha256}],
        "version": rule.version, "name": f"Rule_{re.sub(r'[^A-Za-z0-9_]', '_', rule.name)}", "title": rule.name,
        "status": _PLAN_STATUS.get(rule.status, "unknown"), "experimental": rule.status != "approved",
        "description": _guards(rule),
        "action": [
            {"title": title, "action": [_action(clause) for clause in clauses]}
            for title, clauses in blocks.items()
            if clauses
        ],
    }  # fmt: skip
    if rule.approved_by:
        out["endorser"] = [{"name": rule.approved_by}]
    if rule.source:
        out["purpose"] = rule.source
    return {key: value for key, value in out.items() if value not in ("", [])}


def _guards(rule: Protocol) -> str:
    if rule.guards_waived:
        return "The rule's guards are waived: nothing asks whether the tube was open."
    return "All removal clauses must hold, and the guards: tube shown open, effort tried again after a leak with it."


def _action(clause: Clause) -> dict[str, Any]:
    return {"title": clause.id, "description": sentence(clause)}


def status(told: Told) -> list[Resource]:
    """The rule's status in words, with every clause's, as of the moment asked about."""
    found = told.of.found
    judged = found.evaluation
    if judged is None:
        return []
    parts = [{**component("clause", {"valueString": f"{part.id}: {part.status.said}"})} for part in _parts(judged)]
    overall = found.overall
    text = "this rule has no removal clauses" if overall is None else (
        f"criteria of the rule {judged.protocol.name} on what was recorded until "
        f"{stamp(found.data_until_ms) or stamp(found.as_of_ms)}: {overall.said}. It decides nothing."
    )  # fmt: skip
    when = {"effectiveDateTime": stamp(found.as_of_ms)}
    return [told.observation("rule-status", when, {"valueString": text}, component=parts)]


def response(of: Material, names: Names, who: Resource, program: Resource, rule: Resource) -> Resource:
    """What the rule gave: each clause with status, bounds and limit; what it waits for; every caution."""
    found = of.found
    judged = found.evaluation
    assert judged is not None
    waits = [
        {
            "type": "Observation",
            "codeFilter": [{"path": "code", "code": [{"system": f"{LOCAL}:clause", "code": part.id, "display": need}]}],
        }
        for part in (*judged.guards, *judged.criteria)
        if part.status is Status.CANNOT_TELL
        for need in [part.needs[0].what if part.needs else part.note or part.id]
    ]
    out: Resource = {
        "resourceType": "GuidanceResponse", "id": names.now("response"), "moduleCanonical": rule["url"],
        "status": _response_status(judged), "subject": to(who), "occurrenceDateTime": stamp(found.as_of_ms),
        "performer": to(program),
        "note": notes(found.cautions, [one.id for one in found.cautions])
        + [{"text": f"Warning: {text}"} for text in found.warnings]
        + [{"text": f"Waits for: {text}"} for text in found.waiting_for],
        "contained": [
            {"resourceType": "Parameters", "id": "given", "parameter": [_parameter(one) for one in _parts(judged)]}
        ],
        "outputParameters": {"reference": "#given"},
    }  # fmt: skip
    if waits:
        out["dataRequirement"] = waits
    return out


def _response_status(judged: Evaluation) -> str:
    """FHIR's own words about the request, not about the drain."""
    statuses = {part.status for part in _parts(judged)} | {judged.overall}
    if judged.overall is Status.CANNOT_TELL:
        return "data-required"
    if statuses & {Status.CANNOT_TELL, Status.MET_WITH_GAPS}:
        return "data-requested"
    return "success"


def _parts(judged: Evaluation) -> tuple[Judged, ...]:
    return (*judged.criteria, *judged.guards, *judged.step_down, *judged.escalation)


def _parameter(part: Judged) -> dict[str, Any]:
    said: list[dict[str, Any]] = [{"name": "status", "valueString": part.status.said}, *_value(part.value)]
    if part.clause is not None:
        said.append({"name": "rule", "valueString": sentence(part.clause)})
    if part.since_ms is not None:
        said.append({"name": "since", "valueDateTime": stamp(part.since_ms)})
    said += [{"name": "needs", "valueString": need.what} for need in part.needs]
    if part.note:
        said.append({"name": "note", "valueString": part.note})
    return {"name": part.id, "part": said}


def _value(value: Value | None) -> list[dict[str, Any]]:
    """Bounds, each with its unit; one that is not known says so."""
    if value is None:
        return [{"name": "value", "valueQuantity": not_known()}]
    if value.word is not None:
        return [{"name": "value", "valueString": value.word}]
    out = []
    for name, bound in (("lowest", value.low), ("highest", value.high)):
        known = bound is not None and abs(bound) != float("inf") and bound == bound
        out.append(
            {
                "name": name,
                "valueQuantity": quantity(bound, value.unit) if known and bound is not None else not_known(),
            }
        )
    return out
