"""One table of a rule file while it is read: keys by kind, and a fault that names place, key and mend."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any

from slackwater.errors import ProtocolError, QuantityError
from slackwater.quantities.spans import parse_span

LONGEST_S = 366 * 86_400.0  # no drain stays so long; a longer time would overflow the sums of its windows


class Table:
    """One TOML table while it is read: asks for keys by kind and refuses what nobody asked for."""

    def __init__(self, content: Any, where: str, allowed: Iterable[str]) -> None:
        if not isinstance(content, Mapping):
            raise ProtocolError("must be a table", where=where, mend="Write key = value lines under its heading.")
        self.content = content
        self.where = where
        known(content, allowed, where)

    def fault(self, key: str, what: str, mend: str) -> ProtocolError:
        return ProtocolError(f"{key}: {what}", where=self.where, mend=mend)

    def text(self, key: str, default: str | None = None, choices: tuple[str, ...] = ()) -> str:
        value = self.content.get(key, default)
        if value is None:
            example = f'"{choices[0]}"' if choices else '"..."'
            raise self.fault(key, "is missing", f"Write {key} = {example}.")
        if not isinstance(value, str):
            raise self.fault(key, f"{value!r} is not text", f'Write {key} = "{value}".')
        if choices and value not in choices:
            raise self.fault(key, f"{value!r} is not known", f"Write one of: {', '.join(choices)}.")
        return value

    def texts(self, key: str, choices: tuple[str, ...] = ()) -> tuple[str, ...]:
        value = self.content.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self.fault(key, "is not a list of texts", f'Write {key} = ["...", "..."].')
        for item in value:
            if choices and item not in choices:
                raise self.fault(key, f"{item!r} is not known", f"Write any of: {', '.join(choices)}.")
        return tuple(value)

    def number(self, key: str) -> float | None:
        value = self.content.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value or abs(value) > 1e9:
            raise self.fault(key, f"{value!r} is not a number", f"Write {key} = 16.")
        return float(value)

    def span(self, key: str, *, needed: bool = False, positive: bool = True) -> float | None:
        if key not in self.content and not needed:
            return None
        try:
            seconds = parse_span(self.text(key))
        except QuantityError as error:
            raise self.fault(key, error.what, error.mend or 'Write e.g. "8 h".') from None
        if positive and seconds <= 0:
            raise self.fault(key, "must be longer than nothing", 'Write e.g. "8 h".')
        if seconds > LONGEST_S:
            raise self.fault(key, "is longer than a year", 'Write e.g. "8 h".')
        return seconds


def table_at(content: Any, where: str) -> Mapping[str, Any]:
    """The table that must stand there. Raises ProtocolError."""
    if not isinstance(content, Mapping):
        raise ProtocolError("is missing, or not a table", where=where, mend="Write { key = value }.")
    return content


def known(content: Mapping[str, Any], allowed: Iterable[str], where: str) -> None:
    """ProtocolError for the first key that is not allowed there."""
    allowed = tuple(allowed)
    for key in content:
        if key not in allowed:
            raise unknown(key, allowed, where)


def unknown(key: str, allowed: Iterable[str], where: str) -> ProtocolError:
    """A key that means nothing there, with the nearest that does."""
    allowed = tuple(allowed)
    near = difflib.get_close_matches(key, allowed, n=1)
    mend = f"Did you mean {near[0]!r}?" if near else f"Known here: {', '.join(allowed)}."
    return ProtocolError(f"unknown key {key!r}", where=where, mend=mend)


_AGO = re.compile(r"(.+) ago")


def ago(value: Any, where: str) -> int:
    """The milliseconds of an age as written: "3 h ago". Raises ProtocolError."""
    match = _AGO.fullmatch(value) if isinstance(value, str) else None
    if not match:
        raise ProtocolError(f"{value!r} is not an age", where=where, mend='Write e.g. "3 h ago".')
    try:
        return round(parse_span(match[1]) * 1000)
    except QuantityError as error:
        raise ProtocolError(error.what, where=where, mend=error.mend) from None
