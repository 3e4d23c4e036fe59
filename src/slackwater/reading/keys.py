"""The keys a layout file may hold: a closed set, so that a slip of the pen is found and not passed over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from slackwater.errors import LayoutError, QuantityError
from slackwater.quantities import parse_quantity, parse_span, unit

ENCODINGS = ("utf-8", "utf-16", "latin-1", "cp1252", "ascii")
SEPARATORS = (",", ";", "\t", "|")
DECIMALS = (".", ",")
MARKS = ("end", "start")
ROUNDINGS = ("nearest", "floor", "ceil", "unknown")
STATISTICS = ("mean", "sample")
SIGNS = ("positive", "negative")


@dataclass(frozen=True)
class Key:
    """One key: what kind of value it takes, whether it must be there, and an example of a right one."""

    kind: str  # text, texts, whole, yes_no, words, unit:DIMENSION, amount:DIMENSION, span
    example: str
    required: bool = False
    choices: tuple[str, ...] = ()


TABLES: dict[str, dict[str, Key]] = {
    "log": {
        "separator": Key("text", '";"', required=True, choices=SEPARATORS),
        "decimal": Key("text", '"."', required=True, choices=DECIMALS),
        "encoding": Key("text", '"utf-8"', choices=ENCODINGS),
        "skip_lines": Key("whole", "3"),
        "units_line": Key("yes_no", "false"),
        "quote": Key("text", "'\"'", choices=('"', "'", "")),
        "missing": Key("texts", '["", "---"]'),
    },
    "time": {
        "columns": Key("texts", '["date", "time"]', required=True),
        "format": Key("text", '"iso"', required=True),
        "zone": Key("text", '"Europe/Vienna"'),
        "start": Key("text", '"2033-09-13T15:19:00"'),
        "marks": Key("text", '"end"', required=True, choices=MARKS),
        "every": Key("span", '"1 s"'),
    },
    "flow": {
        "column": Key("text", '"Flow"', required=True),
        "unit": Key("unit:flow", '"mL/min"', required=True),
        "step": Key("amount:flow", '"10 mL/min"'),
        "rounding": Key("text", '"nearest"', choices=ROUNDINGS),
        "statistic": Key("text", '"mean"', required=True, choices=STATISTICS),
        "max_column": Key("text", '"FlowMax"'),
        "ceiling": Key("amount:flow", '"5 L/min"'),
    },
    "pressure": {
        "column": Key("text", '"Pressure"', required=True),
        "unit": Key("unit:pressure", '"cmH2O"', required=True),
        "suction_is": Key("text", '"negative"', required=True, choices=SIGNS),
        "min_column": Key("text", '"PressureMin"'),
        "max_column": Key("text", '"PressureMax"'),
        "step": Key("amount:pressure", '"0.1 kPa"'),
    },
    "set_suction": {
        "column": Key("text", '"Set"', required=True),
        "unit": Key("unit:pressure", '"cmH2O"'),
        "suction_is": Key("text", '"positive"', choices=SIGNS),
    },
    "battery": {
        "column": Key("text", '"Battery"', required=True),
        "unit": Key("unit:share", '"%"'),
    },
    "mains": {
        "column": Key("text", '"Mains"', required=True),
        "yes": Key("texts", '["1"]', required=True),
        "no": Key("texts", '["0"]', required=True),
    },
    "fluid": {
        "column": Key("text", '"Fluid"', required=True),
        "unit": Key("unit:volume", '"mL"', required=True),
    },
    "state": {
        "column": Key("text", '"State"', required=True),
        "words": Key("words", '{ RUN = "running" }', required=True),
    },
    "serial": {
        "column": Key("text", '"Serial"', required=True),
    },
}
REQUIRED_TABLES = ("log", "time", "flow")


def check_keys(tables: Mapping[str, Any], name: str, unconfirmed: tuple[str, ...]) -> None:
    """Refuse an unknown key, a missing one, a value of the wrong kind. Keys in `unconfirmed` may be missing."""
    for table, keys in tables.items():
        if table == "unconfirmed":
            continue
        if table not in TABLES:
            raise LayoutError(
                f"there is no table or key {table!r}",
                where=name,
                mend=_nearest(table, [f"[{known}]" for known in TABLES] + ["unconfirmed"], bare=list(TABLES)),
            )
        if not isinstance(keys, Mapping):
            raise LayoutError(
                f"{table} is a table, not a value", where=name, mend=f"Write [{table}] and its keys under it."
            )
        for key, value in keys.items():
            known = TABLES[table]
            if key not in known:
                raise LayoutError(f"there is no key {key!r}", where=f"{name}, {table}", mend=_nearest(key, list(known)))
            _check_value(value, known[key], f"{name}, {table}.{key}")
    _check_present(tables, name, unconfirmed)


def _check_present(tables: Mapping[str, Any], name: str, unconfirmed: tuple[str, ...]) -> None:
    for table in REQUIRED_TABLES:
        if table not in tables and not any(open_key.startswith(f"{table}.") for open_key in unconfirmed):
            raise LayoutError(
                f"the table [{table}] is missing", where=name, mend=f"Write [{table}] with {_first(table)}."
            )
    for table, known in TABLES.items():
        if table not in tables:
            continue
        for key, what in known.items():
            if what.required and key not in tables[table] and f"{table}.{key}" not in unconfirmed:
                raise LayoutError(
                    f"{table}.{key} is missing; it has no default",
                    where=name,
                    mend=f"Write it, e.g. {key} = {what.example}.",
                )


def check_open(unconfirmed: object, name: str) -> tuple[str, ...]:
    """The keys that nobody has settled yet, each a key that a layout knows."""
    if not isinstance(unconfirmed, list | tuple) or not all(isinstance(key, str) for key in unconfirmed):
        raise LayoutError(
            "unconfirmed is not a list of keys", where=name, mend='Write e.g. unconfirmed = ["flow.unit"], or [].'
        )
    known = [f"{table}.{key}" for table, keys in TABLES.items() for key in keys]
    for key in unconfirmed:
        if key not in known:
            raise LayoutError(f"there is no key {key!r}", where=f"{name}, unconfirmed", mend=_nearest(key, known))
    return tuple(unconfirmed)


def _check_value(value: object, key: Key, where: str) -> None:
    kind, _, dimension = key.kind.partition(":")
    right = {
        "text": isinstance(value, str),
        "texts": isinstance(value, str) or (isinstance(value, list) and all(isinstance(v, str) for v in value)),
        "whole": isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 10_000,
        "yes_no": isinstance(value, bool),
        "words": isinstance(value, Mapping) and bool(value) and all(isinstance(v, str) for v in value.values()),
    }.get(kind, isinstance(value, str))
    if not right:
        said = {
            "texts": "text or a list of texts",
            "whole": "a whole number from 0 to 10000",
            "yes_no": "true or false",
            "words": "a table of words",
        }.get(kind, "text")
        raise LayoutError(f"the value is not {said}", where=where, mend=f"Write e.g. {key.example}.")
    if key.choices and value not in key.choices:
        shown = ", ".join(repr(choice) for choice in key.choices)
        raise LayoutError(
            f"{_brief(value)} is not one of {shown}", where=where, mend=f"Write one of them, e.g. {key.example}."
        )
    try:
        if kind == "unit":
            unit(str(value), dimension)
        elif (kind == "amount" and parse_quantity(str(value), dimension).value <= 0) or (
            kind == "span" and parse_span(str(value)) <= 0
        ):
            raise LayoutError(f"{_brief(value)} is not above zero", where=where, mend=f"Write e.g. {key.example}.")
    except QuantityError as error:
        raise LayoutError(error.what, where=where, mend=error.mend) from None


def _brief(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else text[:38] + "…'"


def _first(table: str) -> str:
    return ", ".join(f"{key} = {what.example}" for key, what in TABLES[table].items() if what.required)


def _nearest(key: str, known: list[str], bare: list[str] | None = None) -> str:
    close = get_close_matches(key, bare or known, n=1, cutoff=0.55)
    if close:
        return f'Did you mean "{close[0]}"?'
    return f"Known here: {', '.join(known)}."
