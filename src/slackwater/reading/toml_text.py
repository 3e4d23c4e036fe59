"""Writing tables as TOML (the standard library only reads it)."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def toml_text(tables: Mapping[str, Any]) -> str:
    """Top-level values first, then each table under its heading.

    >>> print(toml_text({"unconfirmed": [], "log": {"separator": ";"}}), end="")
    unconfirmed = []
    <BLANKLINE>
    [log]
    separator = ";"
    """
    lines = [f"{key} = {_value(value)}" for key, value in tables.items() if not isinstance(value, Mapping)]
    for table, keys in tables.items():
        if isinstance(keys, Mapping):
            lines += ["", f"[{table}]"] + [f"{_key(key)} = {_value(value)}" for key, value in keys.items()]
    return "\n".join(lines) + "\n"


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _value(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return str(value)
    if isinstance(value, str):
        # JSON's escapes are TOML's, save that TOML also wants DEL escaped
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {_value(item)}" for key, item in value.items()) + " }"
    return "[" + ", ".join(_value(item) for item in value) + "]"
