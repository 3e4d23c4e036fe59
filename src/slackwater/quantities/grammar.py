"""A strict number grammar: what a ward's log or rule may call a number."""

from __future__ import annotations

import re
from fractions import Fraction

from slackwater.errors import QuantityError

_GRAMMAR = re.compile(r"[+-]?(?:[0-9]{1,15}(?:\.[0-9]{0,40})?|\.[0-9]{1,40})(?:[eE][+-]?[0-9]{1,2})?", re.ASCII)
_MINUS = "−"  # U+2212, which word processors put for '-'


def parse_exact(text: str, decimal: str = ".") -> Fraction:
    """Read one number exactly.

    Accepts ASCII digits, an optional sign (also U+2212), one decimal mark and a short exponent.
    Refuses what `float()` lets through and a ward never means: `1_000`, other scripts' digits,
    `nan`, `inf`, thousands marks, more than 15 digits before the mark. After it up to 40: programs print so many.

    >>> parse_exact("-0,25", decimal=",")
    Fraction(-1, 4)
    """
    plain = text.strip(" ").replace(_MINUS, "-")
    if decimal != ".":
        if "." in plain:
            raise QuantityError(
                f"{text!r} has a '.', but the decimal mark here is {decimal!r}",
                mend="Write one decimal mark and no thousands mark.",
            )
        plain = plain.replace(decimal, ".")
    if not _GRAMMAR.fullmatch(plain):
        raise QuantityError(f"{text!r} is not a number", mend="Write digits with one decimal mark, e.g. 12.5.")
    return Fraction(plain)


def parse_number(text: str, decimal: str = ".") -> float:
    """Read one number as a float; the grammar is `parse_exact`'s."""
    return float(parse_exact(text, decimal))
