"""Is it FHIR? Structure by the library fhir.resources, required codes and references by us.

The library's R4B models are R4's for what is written here. It lets a wrong code of a required binding pass: the codes
stand beside its fields as hints, and are held against them here.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from typing import Any

from slackwater.errors import MissingPart
from slackwater.export.parts import Resource


def library() -> Any:
    """The library's model of a Bundle. Raises MissingPart where it is not installed."""
    try:
        return import_module("fhir.resources.R4B.bundle").Bundle
    except ImportError:
        raise MissingPart(
            "a FHIR bundle is checked before it is written, which needs the extra 'fhir'",
            mend="Install it: pip install 'slackwater[fhir]'.",
        ) from None


def faults(made: Resource, text: bytes) -> list[str]:
    """What is wrong with a bundle, one line each. `text`: as it will be written."""
    model = library()
    try:
        read = model.model_validate_json(text)
    except ValueError as error:
        return [f"{'.'.join(str(part) for part in one['loc'])}: {one['msg']}" for one in error.errors()]  # type: ignore[attr-defined]
    return [*_wrong_codes(read, "Bundle"), *_loose_references(made)]


def _wrong_codes(model: Any, where: str) -> Iterator[str]:
    """Codes that a required binding does not list. (A list that ends with '+' is longer in the standard: we write none
    of what it leaves out.)"""
    for name, field in type(model).model_fields.items():
        value = getattr(model, name, None)
        if value is None:
            continue
        listed = (
            (field.json_schema_extra or {}).get("enum_values") if isinstance(field.json_schema_extra, dict) else None
        )
        for number, one in enumerate(value if isinstance(value, list) else [value]):
            here = f"{where}.{name}" + (f"[{number}]" if isinstance(value, list) else "")
            if listed and one not in listed:
                yield f"{here}: {one!r} is none of {', '.join(listed)}"
            if hasattr(type(one), "model_fields"):
                yield from _wrong_codes(one, here)


def _loose_references(made: Resource) -> Iterator[str]:
    """References that lead to nothing in this bundle."""
    there = {entry["fullUrl"] for entry in made["entry"]}
    if len(there) < len(made["entry"]):
        yield "Bundle.entry: two entries have one fullUrl"
    for entry in made["entry"]:
        resource = entry["resource"]
        inside = {f"#{one['id']}" for one in resource.get("contained", ())}
        for reference in _references(resource):
            if reference not in there | inside:
                yield f"{resource['resourceType']} {resource['id']}: {reference} is not in the bundle"


def _references(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        if isinstance(value.get("reference"), str):
            yield value["reference"]
        for inner in value.values():
            yield from _references(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _references(inner)
