"""The shape of an unknown log: its encoding, separator, header line and decimal mark, each with what shows it."""

from __future__ import annotations

import codecs
import re
from collections import Counter
from dataclasses import dataclass

from slackwater.errors import LogError, refuse_packed
from slackwater.reading.cells import cells
from slackwater.reading.column_names import roles_of, stated_unit
from slackwater.reading.decoding import utf16_kind
from slackwater.reading.header import HEADER_WITHIN, MOST_COLUMNS
from slackwater.reading.keys import SEPARATORS

HEAD_BYTES = 48_000_000  # of a longer file only this much is looked at
MOST_SAMPLED = 4_000  # rows, spread over the file
KNOWN_MISSING = ("-", "--", "---", "----", "n/a", "N/A", "NA", "NaN", "nan", "null", "NULL", "none", "?", "*", "***")

_LINE_END = re.compile("\r\n|\n|\r")
_NUMBER = re.compile(r"[+\-−]?[0-9]*[.,]?[0-9]+(?:[eE][+-]?[0-9]+)?", re.ASCII)
_STAMP_LIKE = re.compile(r"[0-9].*[:./-].*[0-9]", re.ASCII)


@dataclass(frozen=True)
class Structure:
    """What the bytes show. `rows` is a sample spread over the file: (line, cells)."""

    encoding: str
    separator: str
    quote: str
    header_line: int
    names: tuple[str, ...]
    units: tuple[str, ...]  # of the line of units, empty if there is none
    decimal: str
    decimal_proven: bool
    missing: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    evidence: tuple[str, ...]

    def values(self, column: str) -> list[tuple[int, str]]:
        """(line, cell) of a column's sampled cells that hold something."""
        place = self.names.index(column)
        return [(line, row[place]) for line, row in self.rows if row[place] and row[place] not in self.missing]

    def title(self, column: str) -> str:
        """A column's name with its cell in the line of units, which states as much as the name does."""
        place = self.names.index(column)
        return f"{column} [{self.units[place].strip('[]() ')}]" if self.units and self.units[place] else column


def structure_of(data: bytes, name: str) -> Structure:
    """Look at a log whose layout is not known."""
    if not data.strip(b"\x00\r\n \t\xef\xbb\xbf\xff\xfe"):
        raise LogError("the file is empty", where=name, mend="Export the log again.")
    refuse_packed(data, name, LogError, "log")
    encoding, text = _decoded(data)
    lines = _LINE_END.split(text)
    separator, quote, at = _header_place(lines, name)
    names = cells(lines[at], separator, quote)
    assert not isinstance(names, str)  # _header_place saw it cut
    evidence = [
        f"encoding {encoding}",
        f"the header is line {at + 1}, with {len(names)} columns between {separator!r}",
    ]
    units = _units_below(lines, at, separator, quote, len(names))
    if units:
        evidence.append(f"line {at + 2} is a line of units")
    rows = _sampled(lines, at + (2 if units else 1), separator, quote, len(names))
    decimal, proven, said = _decimal(rows)
    evidence.append(said)
    texts = Counter(cell for _, row in rows for cell in row if cell in KNOWN_MISSING)
    return Structure(
        encoding,
        separator,
        quote,
        at + 1,
        tuple(names),
        units,
        decimal,
        proven,
        ("", *sorted(texts)),
        rows,
        tuple(evidence),
    )


def is_number(cell: str) -> bool:
    """Whether a cell is a plain number with either decimal mark."""
    return _NUMBER.fullmatch(cell) is not None


def _decoded(data: bytes) -> tuple[str, str]:
    head = data[:HEAD_BYTES]
    if len(head) < len(data):  # not through the middle of a line, so not of a character either
        head = head[: head.rfind(b"\n")] or head
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) or _zeros_between(head):
        return "utf-16", head[: len(head) // 2 * 2].decode(utf16_kind(head), "replace").removeprefix("\ufeff")
    marked = any(0x80 <= byte <= 0x9F for byte in head)  # letters and signs in cp1252, controls in latin-1
    for encoding, codec in (("utf-8", "utf-8-sig"), ("cp1252", "cp1252" if marked else "latin-1")):
        try:
            text = head.decode(codec)
        except UnicodeDecodeError:
            continue
        return encoding if encoding == "utf-8" or marked else "latin-1", text
    return "latin-1", head.decode("latin-1")


def _zeros_between(head: bytes) -> bool:
    """UTF-16 without its mark: every other byte of plain letters is zero."""
    some = head[:2000]
    even, odd = some[0::2].count(0), some[1::2].count(0)
    return max(even, odd) > len(some) // 4 and min(even, odd) <= len(some) // 40


def _header_place(lines: list[str], name: str) -> tuple[str, str, int]:
    """Separator, quote and index of the line that names the most known columns over rows of its own width."""
    best: tuple[tuple[int, int, int], str, int] | None = None
    for separator in SEPARATORS:
        widths = [_width(line, separator) for line in lines[: HEADER_WITHIN + 40]]
        for at in range(min(HEADER_WITHIN, len(lines))):
            names = cells(lines[at][:65_536], separator, '"')
            if isinstance(names, str) or not 2 <= len(names) <= MOST_COLUMNS or not _names_only(names):
                continue
            below = [
                width
                for width, line in zip(widths[at + 1 : at + 31], lines[at + 1 : at + 31], strict=False)
                if line.strip()
            ]
            if not below or 2 * below.count(len(names)) < len(below):
                continue
            known = len({role for name_ in names for role in roles_of(name_)})
            score = (known, len(names), -at)
            if best is None or score > best[0]:
                best = (score, separator, at)
    if best is None:
        raise LogError(
            f"no header is found in the first {HEADER_WITHIN} lines",
            where=name,
            mend="A log needs a line of column names above its rows, between ',', ';', tab or '|'.",
        )
    return best[1], '"', best[2]


def _width(line: str, separator: str) -> int:
    found = cells(line[:65_536], separator, '"')
    return 0 if isinstance(found, str) else len(found)


def _names_only(names: list[str]) -> bool:
    return any(names) and not any(
        is_number(name) or (_STAMP_LIKE.fullmatch(name) and sum(c.isdigit() for c in name) >= 4) for name in names
    )


def _units_below(lines: list[str], at: int, separator: str, quote: str, columns: int) -> tuple[str, ...]:
    if at + 1 >= len(lines):
        return ()
    units = cells(lines[at + 1][:65_536], separator, quote)
    if isinstance(units, str) or len(units) != columns or not _names_only(units):
        return ()
    stated = any(stated_unit(f"x [{cell.strip('[]() ')}]", kind) for cell in units for kind in ("flow", "pressure"))
    return tuple(units) if stated else ()


def _sampled(
    lines: list[str], first: int, separator: str, quote: str, columns: int
) -> tuple[tuple[int, tuple[str, ...]], ...]:
    """Up to `MOST_SAMPLED` rows of the right width: the first, the last, and evenly between."""
    places = range(first, len(lines))
    if len(places) > MOST_SAMPLED:
        edge = MOST_SAMPLED // 4
        step = max(1, (len(places) - 2 * edge) // (2 * edge))
        chosen = [*places[:edge], *places[edge:-edge:step], *places[-edge:]]
    else:
        chosen = list(places)
    found = []
    for at in chosen:
        row = cells(lines[at], separator, quote)
        if not isinstance(row, str) and len(row) == columns:
            found.append((at + 1, tuple(row)))
    return tuple(found)


def _decimal(rows: tuple[tuple[int, tuple[str, ...]], ...]) -> tuple[str, bool, str]:
    """The decimal mark, whether it is proven, and what shows it.

    '1.250' may be a thousand and more, or a little over one; '0.25', '12.5' or '0.250' can only be decimals.
    """
    maybe: dict[str, str] = {}
    proof: dict[str, str] = {}
    for line, row in rows:
        for cell in row:
            match = re.fullmatch(r"[+\-−]?([0-9]+)([.,])([0-9]+)", cell, re.ASCII)
            if match is None:
                continue
            plain = len(match[3]) != 3 or match[1].startswith("0") or len(match[1]) > 3
            (proof if plain else maybe).setdefault(match[2], f"line {line} has a number like {_masked(cell)}")
    if len(proof) == 1:
        mark = next(iter(proof))
        return mark, True, f"the decimal mark is {mark!r}: {proof[mark]}"
    if len(proof) == 2:
        return ".", False, f"both '.' and ',' stand in numbers: {proof['.']}, {proof[',']}"
    if len(maybe) == 1:
        mark = next(iter(maybe))
        return mark, False, f"{maybe[mark]}: a decimal or a thousands mark cannot be told"
    if len(maybe) == 2:
        return ".", False, f"both '.' and ',' stand in numbers: {maybe['.']}, {maybe[',']}"
    return ".", True, "no number has a decimal mark"


def _masked(cell: str) -> str:
    """The form of a number without its digits: '12,5' -> '##,#'."""
    return repr(re.sub("[0-9]", "#", cell[:20]))
