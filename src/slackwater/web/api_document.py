"""The OpenAPI document of the routes for programs. The assessment's own schema stands in it as it ships."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI

from slackwater.assessment.schema import schema
from slackwater.web.guard import COOKIE
from slackwater.web.shapes import Problem

WHAT = (
    "What the ward's pages show and take of a drain, its rule and its unit, for other programs: by the same functions, "
    "the same roles and the same refusals. It arranges what was recorded and compares it with the unit's own rule. It "
    "does not decide: a licensed professional who has seen the patient decides, under local policy. It is no monitor. "
    "Every answer about a drain says on what data, how old they are, by which rule, and carries its cautions: show "
    "them. Missing is never zero. Times are ISO 8601 with their offset; quantities carry their unit in the name or in "
    "the text."
)
DRAIN = {
    "name": "drain", "in": "path", "required": True, "schema": {"type": "string"},
    "description": "The drain's key, as the list of drains has it.",
}  # fmt: skip
_OPEN = ("/api/v1/login", "/api/v1/unlock")


def document_of(app: FastAPI) -> dict[str, Any]:
    """Made once for each app."""
    held: dict[str, Any] | None = getattr(app.state, "api_document", None)
    if held is None:
        held = app.state.api_document = _made(app)
    return held


def _made(app: FastAPI) -> dict[str, Any]:
    found: dict[str, Any] = app.openapi()
    found["info"]["description"] = WHAT
    parts = found["components"]
    parts["schemas"] |= _assessment()
    parts["schemas"]["Problem"] = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    parts["schemas"] |= parts["schemas"]["Problem"].pop("$defs", {})
    parts["securitySchemes"] = {
        "session": {"type": "apiKey", "in": "cookie", "name": COOKIE},
        "csrf": {"type": "apiKey", "in": "header", "name": "x-csrf-token"},
    }
    for path, methods in found["paths"].items():
        for method, operation in methods.items():
            if "{drain}" in path:  # the guard finds it, so no route asks for it
                operation["parameters"] = [DRAIN, *operation.get("parameters", [])]
            if path in _OPEN:
                operation["security"] = []
            else:
                operation["security"] = [{"session": []} if method == "get" else {"session": [], "csrf": []}]
    return found


def _assessment() -> dict[str, Any]:
    """The assessment's schema and its parts under names of this document."""
    whole = schema()
    parts = whole.pop("$defs")
    for name in ("$schema", "$id"):
        whole.pop(name, None)
    return {
        "Assessment": _renamed(whole),
        **{f"Assessment_{name}": _renamed(part) for name, part in parts.items()},
    }


def _renamed(value: Any) -> Any:
    if isinstance(value, dict):
        return {
            key: f"#/components/schemas/Assessment_{one.removeprefix('#/$defs/')}"
            if key == "$ref" and isinstance(one, str)
            else _renamed(one)
            for key, one in value.items()
        }
    return [_renamed(one) for one in value] if isinstance(value, list) else value
