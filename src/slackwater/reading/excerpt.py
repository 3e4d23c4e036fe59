"""A glimpse of a cell for an error message: short, printable, never the whole cell."""

from __future__ import annotations

LONGEST = 20  # characters; logs can hold names, so an error shows no more than it takes to find the cell


def excerpt(text: str) -> str:
    """The first characters of `text` in quotes, with '·' for what does not print.

    >>> excerpt("12\\x00abc")
    "'12·abc'"
    >>> excerpt("a" * 30)
    "'aaaaaaaaaaaaaaaaaa…'"
    """
    room = LONGEST - 1
    shown = text if len(text) < room else text[: room - 1] + "…"
    return "'" + "".join(c if c.isprintable() else "·" for c in shown) + "'"
