"""The small pieces that resources are built of. Plain dictionaries: the library checks them, it need not build them."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from slackwater.assessment.cautions import Caution
from slackwater.assessment.document import number, stamp
from slackwater.export.codes import ABSENT, ABSENT_EXTENSION, CODE, UCUM, UCUM_SYSTEM

Resource = dict[str, Any]

_OURS = uuid.uuid5(uuid.NAMESPACE_URL, "urn:slackwater:fhir")
NOTED = ("cau-C1", "cau-C3", "cau-C4", "cau-C5", "cau-C6")  # on every computed value; C6 where a rule judged


@dataclass(frozen=True)
class Names:
    """What the resources of one export are called. `drain` and `moment` give the same names again."""

    drain: str
    moment: str

    def lasting(self, name: str) -> str:
        """The id of a thing: the same in every export of this drain."""
        return str(uuid.uuid5(_OURS, f"{self.drain}\n{name}"))

    def now(self, name: str) -> str:
        """The id of what was said at this moment, from these files."""
        return str(uuid.uuid5(_OURS, f"{self.drain}\n{self.moment}\n{name}"))


def to(resource: Resource) -> dict[str, str]:
    """A reference to a resource of the same bundle."""
    return {"reference": f"urn:uuid:{resource['id']}", "type": resource["resourceType"]}


def quantity(value: float, symbol: str) -> dict[str, Any]:
    """A Quantity with its UCUM code. Raises KeyError for a unit that has none here."""
    return {"value": decimal(value), "unit": symbol or "1", "system": UCUM_SYSTEM, "code": UCUM[symbol]}


def decimal(value: float) -> int | float:
    """A number as FHIR's decimal: 24, not 24.0, which would claim a tenth."""
    told = number(value)
    assert told is not None
    return int(told) if told == int(told) else told


def absent(why: str, code: str = "unknown") -> dict[str, Any]:
    """Why there is no value: `unknown`, nothing was recorded; `error`, what was recorded cannot be believed."""
    return {"coding": [{"system": ABSENT, "code": code}], "text": why}


def measured(value: float | None, symbol: str, why: str, code: str = "unknown") -> dict[str, Any]:
    """The value, or why it is absent; never a zero in its place."""
    if value is None or number(value) is None:
        return {"dataAbsentReason": absent(why, code)}
    return {"valueQuantity": quantity(value, symbol)}


def not_known() -> dict[str, Any]:
    """A part that is not known, where the resource has no other place to say so."""
    return {"extension": [{"url": ABSENT_EXTENSION, "valueCode": "unknown"}]}


def component(name: str, value: dict[str, Any]) -> dict[str, Any]:
    """A component of an Observation."""
    return {"code": CODE[name].concept, **value}


def period(from_ms: int | None, to_ms: int | None) -> dict[str, str]:
    """A Period; an end that is not known is left out."""
    ends = {"start": stamp(from_ms), "end": stamp(to_ms)}
    return {name: text for name, text in ends.items() if text is not None}


def notes(cautions: Sequence[Caution], ids: Sequence[str] = NOTED) -> list[dict[str, str]]:
    """Cautions as annotations, in the order of `ids`."""
    texts = {one.id: one.text for one in cautions}
    return [{"text": texts[id_]} for id_ in ids if id_ in texts]
