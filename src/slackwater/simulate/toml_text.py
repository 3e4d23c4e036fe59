"""Plain values as TOML text."""

from __future__ import annotations

import json
from collections.abc import Mapping

Value = str | bool | int | float | list[str]


def toml_text(top: Mapping[str, Value], tables: Mapping[str, Mapping[str, Value]]) -> str:
    """Top-level keys first, then each table in turn."""
    lines = [f"{key} = {_value(value)}" for key, value in top.items()]
    for name, table in tables.items():
        lines += ["", f"[{name}]"] + [f"{key} = {_value(value)}" for key, value in table.items()]
    return "\n".join(lines).lstrip("\n") + "\n"


def _value(value: Value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, str):
        # A TOML basic string takes the same escapes as a JSON one.
        return json.dumps(value, ensure_ascii=False)
    return repr(value)
