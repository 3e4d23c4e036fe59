"""The value of one chart row: read by its item's rule, in the internal unit, never half."""

from __future__ import annotations

import re
from fractions import Fraction

from slackwater.episode.items import Item
from slackwater.episode.spelling import meant, plain_word
from slackwater.errors import ChartError, QuantityError
from slackwater.quantities.grammar import parse_exact
from slackwater.quantities.units import format_quantity, unit

NONE_ADDED = "none_added"  # water seal or gravity: no suction is added, which is not 'zero delivered'
CLAMP_KINDS = ("handling", "trial", "ordered")  # as the note of a clamp says it
AIR = "air"  # breathed without added oxygen
SHARE_IN_AIR = 20  # %; air holds 21, and less cannot be given

_BUBBLING = re.compile(r"(FE|E|I|C) ?([1-7])", re.ASCII)
UNIT_OF = {  # the internal unit of each dimension that staff chart
    "volume": "mL",
    "flow": "mL/min",
    "pressure": "cmH2O",
    "share": "%",
    "rate": "/min",
    "temperature": "Cel",
    "mass": "kg",
    "length": "cm",
}


def read_value(item: Item, value: str, unit_name: str) -> float | str | None:
    """What a row says of `item`; None for an empty cell, which says nothing and is not zero.

    Numbers come in the internal unit: mL, mL/min, cmH2O (also `systolic`), kg, cm, /min, %, degrees
    Celsius. Suction is negative however its sign was written: nobody orders or measures suction as
    a pressure above the room's, but many write it without the minus sign.
    Raises ChartError naming the column, `value` or `unit`.
    """
    if item.kind == "text":
        return value or None
    if item.kind in ("number", "suction"):
        return _number(item, value, unit_name)
    if item.kind == "oxygen":
        return _oxygen(value, unit_name)
    if unit_name:
        what = f"{item.name} takes no unit, {unit_name!r} is written"
        raise ChartError(what, where="column unit", mend="Empty it.")
    if not value:
        return None
    return _bubbling(value) if item.kind == "bubbling" else _word(item, value)


def _word(item: Item, value: str) -> str:
    word = plain_word(value)
    if word not in item.words:
        raise ChartError(f"{value!r} is no value of {item.name}", where="column value", mend=meant(word, item.words))
    return word


def _bubbling(value: str) -> str:
    if plain_word(value) == "none":
        return "none"
    match = _BUBBLING.fullmatch(value.upper())
    if not match:
        raise ChartError(
            f"{value!r} is no value of bubbling",
            where="column value",
            mend="Write none, or FE, E, I or C with its size from 1 to 7, e.g. E4.",
        )
    return match[1] + match[2]


def _oxygen(value: str, unit_name: str) -> str | None:
    """`air`, or a flow or a share above that of air as written with its unit: '2 L/min', '28 %'."""
    if plain_word(value) == AIR or not value:
        if unit_name:
            raise ChartError(f"oxygen {value or 'left empty'} takes no unit", where="column unit", mend="Empty it.")
        return AIR if value else None
    mend = "Write air without a unit, or how much with L/min or %, e.g. 2 with L/min."
    try:
        of, number = unit(unit_name), parse_exact(value)
    except QuantityError as error:
        where = "value" if unit_name else "unit"
        raise ChartError(f"oxygen {value} {unit_name}: {error.what}", where=f"column {where}", mend=mend) from error
    flow = of.dimension == "flow" and number > 0
    share = of.dimension == "share" and SHARE_IN_AIR < number <= 100
    if not (flow or share):
        raise ChartError(f"oxygen {value} {unit_name} cannot be".rstrip(), where="column value", mend=mend)
    return f"{value} {of.symbol}"


def _number(item: Item, value: str, unit_name: str) -> float | str | None:
    if item.kind == "suction" and plain_word(value) == NONE_ADDED:
        if unit_name:
            raise ChartError("none_added takes no unit", where="column unit", mend="Empty it.")
        return NONE_ADDED
    example = UNIT_OF.get(item.dimension, "")
    if value and not unit_name and item.dimension != "plain":
        raise ChartError(
            f"{item.name} {value} has no unit", where="column unit", mend=f"Write its unit, e.g. {example}."
        )
    try:
        of = unit(unit_name, item.dimension) if unit_name else unit("")
    except QuantityError as error:
        mend = error.mend if item.dimension != "plain" else "Empty it."
        raise ChartError(error.what, where="column unit", mend=mend) from error
    if not value:
        return None
    try:
        exact = parse_exact(value) * of.factor + of.shift
    except QuantityError as error:
        empty = "Write digits with one decimal point, e.g. 12.5; leave it empty if it was not measured."
        other = " Or none_added." if item.kind == "suction" else ""
        raise ChartError(error.what, where="column value", mend=empty + other) from error
    if item.kind == "suction":
        exact = abs(exact)
    for limit, beyond, word in ((item.lowest, -1, "below"), (item.highest, 1, "above")):
        if limit is not None and (exact - Fraction(str(limit))) * beyond > 0:
            raise ChartError(
                f"{item.name} {value} is {word} {format_quantity(limit, of.symbol)}",
                where="column value",
                mend="Write what was read; leave it empty if it was not measured.",
            )
    if item.whole and exact.denominator != 1:
        what = f"{item.name} {value} is not a whole number"
        raise ChartError(what, where="column value", mend="Write the grade.")
    if item.kind == "suction":
        return float(-exact) if exact else 0.0
    return float(exact)
