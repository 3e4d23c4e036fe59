"""From readings to the log that their unit would have written: rows as text, and what they declare. Pure.

Rows are in order of the unit's own numbers, so that neither the order in which messages came nor how they were cut
into pieces changes the log.
"""

from __future__ import annotations

import json
from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any, TypeVar

from slackwater.errors import RecordError
from slackwater.quantities import parse_span
from slackwater.reading.layout import Layout
from slackwater.reading.log import STATES

COLUMNS = ("sequence", "time", "flow", "flow_max", "pressure", "pressure_min", "pressure_max", "set_suction",
           "battery", "mains", "fluid", "state")  # fmt: skip
HEADER = (",".join(COLUMNS) + "\n").encode()
DISPUTED = "in-dispute"  # in place of a flow, where two readings came under one number: no number, so it is refused

# What a reading declares of each amount, beside its numbers; what it may report beside the amount itself.
_DECLARES = {
    "flow": ("unit", "step", "ceiling", "rounding"),
    "pressure": ("unit", "suction_is", "step"),
    "set_suction": ("unit", "suction_is"),
    "fluid": ("unit",),
}
_BESIDE = {"flow_max": ("flow", "max"), "pressure_min": ("pressure", "min"), "pressure_max": ("pressure", "max")}

_Part = TypeVar("_Part")


@dataclass(frozen=True)
class Declared:
    """How rows are to be read: `said` by amount (or `base`), and which of COLUMNS hold any value."""

    said: Mapping[str, Mapping[str, str]]
    columns: frozenset[str]

    def plus(self, other: Declared) -> Declared | None:
        """Both in one log; None where they contradict one another. What was not reported contradicts nothing."""
        if any(self.said[name] != other.said[name] for name in self.said.keys() & other.said.keys()):
            return None
        return Declared({**self.said, **other.said}, self.columns | other.columns)

    def to_json(self) -> str:
        told = {"said": self.said, "columns": sorted(self.columns)}
        return json.dumps(told, sort_keys=True, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> Declared:
        told = json.loads(text)
        return cls(told["said"], frozenset(told["columns"]))

    @property
    def reach_ms(self) -> tuple[int, int]:
        """From a row's stamp to the beginning and the end of what it stands for; (0, 0) where not declared."""
        base = self.said["base"]
        every_ms = round(parse_span(base["every"]) * 1000) if base["every"] else 0
        return (0, every_ms) if base["marks"] == "start" else (-every_ms, 0)

    def layout(self) -> Layout:
        """The layout that reads the rows. Only channels that were reported are named."""
        base, said = self.said["base"], self.said
        tables: dict[str, dict[str, Any]] = {
            "log": {"separator": ",", "decimal": "."},
            "time": {"columns": ["time"], "format": "iso", "marks": base["marks"]},
            "flow": {"column": "flow", "statistic": base["statistic"], "unit": "mL/min"},
        }
        if base["every"]:
            tables["time"]["every"] = base["every"]
        for name, declared in said.items():
            if name == "base":
                continue
            unit = declared["unit"]
            table = tables.setdefault(name, {"column": name})
            table |= {key: f"{value} {unit}" if key in ("step", "ceiling") else value
                      for key, value in declared.items()}  # fmt: skip
        for column, (name, key) in _BESIDE.items():
            if column in self.columns:
                tables[name][f"{key}_column"] = column
        if "battery" in self.columns:
            tables["battery"] = {"column": "battery", "unit": "%"}
        if "mains" in self.columns:
            tables["mains"] = {"column": "mains", "yes": ["true"], "no": ["false"]}
        if "state" in self.columns:
            tables["state"] = {"column": "state", "words": {word: word for word in STATES}}
        return Layout.from_tables(tables, "the unit's own messages")


@dataclass(frozen=True)
class Piece:
    """Some rows of one unit, in order of their numbers, each with its line end. `first`, `last`: those numbers."""

    declared: Declared
    rows: bytes
    first: int
    last: int

    @classmethod
    def of(cls, declared: Declared, lines: Sequence[str]) -> Piece:
        rows = "".join(f"{line}\n" for line in lines).encode()
        return cls(declared, rows, number(lines[0]), number(lines[-1]))

    @property
    def lines(self) -> list[str]:
        return self.rows.decode().splitlines()

    @property
    def states(self) -> list[str]:
        """The words for the unit's state that stand in it."""
        return sorted({line.rpartition(",")[2] for line in self.lines} - {""})


def number(line: str) -> int:
    """The unit's own number of a row."""
    return int(line[: line.index(",")])


def stamp(at_ms: int) -> str:
    """An instant as the rows have it: always as long, so that their order is the order of time."""
    return f"{datetime.fromtimestamp(at_ms // 1000, UTC):%Y-%m-%dT%H:%M:%S}.{at_ms % 1000:03d}Z"


def pieces_of(bodies: Iterable[str]) -> list[Piece]:
    """Messages' words as rows; those of other units or signs in pieces of their own. RecordError for other words."""
    rows = sorted(map(_row, bodies), key=lambda row: _by_number(row[1]))
    return [Piece.of(declared, lines) for declared, lines in _together(rows)]


def joined(pieces: Iterable[Piece], disputed: Collection[int] = ()) -> list[Piece]:
    """As few pieces as their declarations allow, each in order of its numbers.

    disputed: numbers under which more than one reading came. None of them has a value: which is true cannot be told.
    """
    ordered = sorted(pieces, key=lambda piece: (piece.first, piece.last, piece.rows))
    numbers = sorted(disputed)
    return [_end_to_end(declared, held) for declared, held in
            _together((one.declared, _in_dispute(one, numbers)) for one in ordered)]  # fmt: skip


def _together(parts: Iterable[tuple[Declared, _Part]]) -> list[tuple[Declared, list[_Part]]]:
    """Rows or pieces in their order, each with the first others whose declaration it does not contradict."""
    found: list[tuple[Declared, list[_Part]]] = []
    for declared, part in parts:
        for at, (others, held) in enumerate(found):
            both = others if others == declared else others.plus(declared)
            if both is not None:
                held.append(part)
                found[at] = both, held
                break
        else:
            found.append((declared, [part]))
    return found


def only(piece: Piece, spans: Sequence[tuple[int, int | None]]) -> Piece | None:
    """The rows whose whole time lies within one of the spans (from, to] of UTC ms; None where there is none.

    So a reading that began on one patient and ended on another is neither's.
    """
    before, after = piece.declared.reach_ms
    bounds = [(stamp(max(0, begin - after)), stamp(max(0, begin - before)), None if end is None else
               stamp(max(0, end - after))) for begin, end in spans]  # fmt: skip
    kept = []
    for line in piece.lines:
        at = line.split(",", 2)[1]
        if any(at > ends and at >= begins and (last is None or at <= last) for ends, begins, last in bounds):
            kept.append(line)
    return Piece.of(piece.declared, kept) if kept else None


def _end_to_end(declared: Declared, pieces: list[Piece]) -> Piece:
    if all(one.last < other.first for one, other in pairwise(pieces)):
        rows = b"".join(piece.rows for piece in pieces)
        return Piece(declared, rows, pieces[0].first, pieces[-1].last)
    return Piece.of(declared, sorted((line for piece in pieces for line in piece.lines), key=_by_number))


def _by_number(line: str) -> tuple[int, str]:
    return number(line), line


def _in_dispute(piece: Piece, numbers: Sequence[int]) -> Piece:
    """The same rows, those under one of the numbers without a flow. `numbers`: in order."""
    if bisect_left(numbers, piece.first) == bisect_right(numbers, piece.last):
        return piece
    known = frozenset(numbers)
    return Piece.of(piece.declared, [_without_flow(line) if number(line) in known else line for line in piece.lines])


def _without_flow(line: str) -> str:
    cells = line.split(",")
    cells[COLUMNS.index("flow")] = DISPUTED
    return ",".join(cells)


def _row(body: str) -> tuple[Declared, str]:
    try:
        told = json.loads(body, parse_int=str, parse_float=str)
        base = {"marks": told["marks"], "statistic": told["statistic"], "every": ""}
        if "every" in told:
            base["every"] = f"{told['every']['value']} {told['every']['unit']}"
        cells = dict.fromkeys(COLUMNS, "") | {"sequence": told["sequence"], "time": told["time"]}
        said: dict[str, Mapping[str, str]] = {"base": base}
        for name in ("flow", "pressure", "set_suction", "battery", "fluid"):
            if name in told:
                cells[name] = told[name]["value"]
                if name in _DECLARES:
                    said[name] = {key: told[name][key] for key in _DECLARES[name] if key in told[name]}
        for column, (name, key) in _BESIDE.items():
            cells[column] = told.get(name, {}).get(key, "")
        if "mains" in told:
            cells["mains"] = "true" if told["mains"] else "false"
        cells["state"] = told.get("state", "")
    except (ValueError, KeyError, TypeError, AttributeError):
        raise RecordError("holds no reading", where="a message", mend="See: slackwater verify.") from None
    has = frozenset(name for name in COLUMNS[2:] if cells[name])
    return Declared(said, has), ",".join(cells[name] for name in COLUMNS)
