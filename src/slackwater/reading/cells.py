"""One line cut into cells: separators, quotes, doubled quotes; and nothing that only seems to fit."""

from __future__ import annotations

import re

_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")


def cells(line: str, separator: str, quote: str) -> list[str] | str:
    """The cells of a line without the spaces around them, or in words why it cannot be cut.

    >>> cells('a; "b;c" ;d', ";", '"')
    ['a', 'b;c', 'd']
    """
    if _CONTROL.search(line):
        return "a control character (such as a NUL byte) stands in the line"
    found = []
    at, end = 0, len(line)
    while True:
        while at < end and line[at] == " ":
            at += 1
        if quote and at < end and line[at] == quote:
            close = line.find(quote, at + 1)
            while close >= 0 and line[close + 1 : close + 2] == quote:
                close = line.find(quote, close + 2)
            if close < 0:
                return "a quote is opened and not closed on this line"
            found.append(line[at + 1 : close].replace(quote * 2, quote).strip(" "))
            at = close + 1
            while at < end and line[at] == " ":
                at += 1
            if at < end and line[at] != separator:
                return "text follows a closing quote"
        else:
            stop = line.find(separator, at)
            stop = end if stop < 0 else stop
            cell = line[at:stop]
            if quote and quote in cell:
                return "a quote stands inside a cell"
            found.append(cell.strip(" "))
            at = stop
        if at >= end:
            return found
        at += 1
