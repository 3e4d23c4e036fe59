"""One drain as a FHIR R4 Bundle.

A `collection`, not a `transaction`: a file that is handed on, from which the receiver takes what it has a place for.
A transaction would be an order to a server, and sent twice would be carried out twice.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from typing import Any

from slackwater import __version__
from slackwater.assessment.document import stamp
from slackwater.export import rule, things
from slackwater.export.codes import LOCAL, SECURITY
from slackwater.export.material import Material
from slackwater.export.observations import Told, doubtful, fluid, last_values, trends
from slackwater.export.parts import Names, Resource, to


def bundle(of: Material, made_ms: int) -> Resource:
    """The bundle. made_ms: when it is made (UTC ms); a de-identified one does not tell it."""
    found = of.found
    names = Names(of.drain, _moment(of))
    recorded_ms = found.as_of_ms if of.de_identified else made_ms
    who, program = things.patient(of, names), things.program(names)
    drain = things.tube(of, names, who)
    units = things.units(of, names)
    every_ms = found.trace.every_ms if found.trace is not None else 0
    metrics = {serial: things.metrics(names, unit, every_ms) for serial, unit in units.items()}
    told = Told(of, names, who, drain, next(iter(metrics.values())) if len(metrics) == 1 else {})
    computed = [*last_values(told), *fluid(told), *trends(told), *doubtful(told)]
    plans = []
    if found.evaluation is not None:
        plans = [rule.plan(found.evaluation.protocol, names)]
        computed += [*rule.status(told), rule.response(of, names, who, program, plans[0])]
    resources = [
        who, program, drain, *units.values(), *(one for of_unit in metrics.values() for one in of_unit.values()),
        *things.procedures(of, names, who, drain), *things.orders(of, names, who), *plans, *computed,
        provenance(of, names, program, computed, recorded_ms),
    ]  # fmt: skip
    out: Resource = {
        "resourceType": "Bundle", "id": names.now("bundle"), "type": "collection",
        "identifier": {"system": f"{LOCAL}:bundle", "value": names.now("bundle")},
        "entry": [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in resources],
    }  # fmt: skip
    if of.de_identified:
        out["meta"] = {"security": [{"system": SECURITY, "code": "PSEUDED"}]}
    else:
        out["timestamp"] = stamp(made_ms)
    return out


def bundle_json(made: Resource) -> bytes:
    """As it is written: UTF-8, one line a resource, so that two can be compared."""
    rest = {key: value for key, value in made.items() if key != "entry"}
    head = json.dumps(rest, ensure_ascii=False, allow_nan=False)[:-1]
    lines = ",\n".join(json.dumps(one, ensure_ascii=False, allow_nan=False) for one in made["entry"])
    return f'{head}, "entry": [\n{lines}\n]}}\n'.encode()


def provenance(
    of: Material, names: Names, program: Resource, computed: Iterable[Resource], recorded_ms: int
) -> Resource:
    """What every computed value was worked out of, and by which version: logs, chart and rule by their hashes."""
    return {
        "resourceType": "Provenance", "id": names.now("provenance"), "target": [to(one) for one in computed],
        "recorded": stamp(recorded_ms), "occurredDateTime": stamp(of.found.as_of_ms),
        "activity": {"text": f"worked out by slackwater {__version__} as of {stamp(of.found.as_of_ms)}"},
        "agent": [{"type": {"text": "program that worked it out"}, "who": to(program)}],
        "entity": [
            {"role": "source", "what": {"identifier": {"system": f"{LOCAL}:{system}", "value": value}, "display": name}}
            for name, system, value in sources(of)
        ],
    }  # fmt: skip


def sources(of: Material) -> list[tuple[str, str, str]]:
    """Logs, chart and rule: what each is, and its SHA-256; of a de-identified drain's files a pseudonym of it."""
    found = of.found
    system = "pseudonym-of-sha256" if of.de_identified else "sha256"
    out = [("log", system, log.sha256) for log in (found.trace.logs if found.trace is not None else ())]
    if found.chart.sha256:
        out.append(("chart", system, found.chart.sha256))
    if found.evaluation is not None:
        out.append(("rule", "sha256", found.evaluation.protocol.sha256))
    return out


def _moment(of: Material) -> str:
    """What tells one export of a drain from the next: its moment, its files, its rule, the program."""
    parts: list[Any] = [of.found.as_of_ms, __version__, of.de_identified, sources(of)]
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()
