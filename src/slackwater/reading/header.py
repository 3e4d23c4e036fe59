"""The header line: which column is where, and whether its units agree with the layout."""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import get_close_matches

from slackwater.errors import LogError, QuantityError
from slackwater.quantities import Unit, unit
from slackwater.reading.cells import cells
from slackwater.reading.excerpt import excerpt
from slackwater.reading.layout import Layout
from slackwater.reading.lines import line_at

MOST_COLUMNS = 1_000
HEADER_WITHIN = 60  # lines looked through for a header that is not where the layout says
_BRACKETS = re.compile(r"[\[(]((?:[^\[\]()]|\[[^\[\]]*\])*)[\])]\s*$")


@dataclass(frozen=True)
class Header:
    """The names in file order, and where the rows begin (byte and line, from 1)."""

    names: tuple[str, ...]
    begins: int
    first_line: int
    notes: tuple[str, ...] = ()

    def place(self, column: str) -> int:
        return self.names.index(column)


def read_header(text: bytes, begins: int, layout: Layout, name: str) -> Header:
    """Find every column the layout names, by its exact name; refuse what is double, missing or contradicts."""
    shape = layout.log
    start, line = begins, 1
    for _ in range(shape.skip_lines):
        if start >= len(text):
            break
        _, start = line_at(text, start)
        line += 1
    if start >= len(text):
        raise LogError(
            f"ends before line {shape.skip_lines + 1}, where the layout has the header",
            where=name,
            mend="Set log.skip_lines to the number of lines above the header.",
        )
    raw, start = line_at(text, start)
    where = f"{name}, line {line}"
    names = cells(raw.decode("utf-8", "replace"), shape.separator, shape.quote)
    if isinstance(names, str):
        raise LogError(f"the header cannot be read: {names}", where=where, mend="Set log.skip_lines and log.quote.")
    if len(names) > MOST_COLUMNS:
        raise LogError(
            f"the header has {len(names)} columns, over {MOST_COLUMNS}", where=where, mend="Check log.separator."
        )
    _check_names(names, layout, text, begins, where)
    notes = _check_units(dict(zip(names, map(_stated, names), strict=True)), layout, where)
    if shape.units_line:
        line += 1
        raw, start = line_at(text, start) if start < len(text) else (b"", start)
        units = cells(raw.decode("utf-8", "replace"), shape.separator, shape.quote)
        if isinstance(units, str) or len(units) != len(names):
            raise LogError(
                f"the line of units does not have the header's {len(names)} cells",
                where=f"{name}, line {line}",
                mend="Set log.units_line = false if there is none.",
            )
        bare = [text_.strip("[]() ") if text_[:1] in "[(" else text_ for text_ in units]
        notes += _check_units(dict(zip(names, bare, strict=True)), layout, f"{name}, line {line}")
    return Header(tuple(names), start, line + 1, notes)


def _check_names(names: list[str], layout: Layout, text: bytes, begins: int, where: str) -> None:
    places: dict[str, int] = {}
    wanted = list(layout.columns().values())
    lacking = [column for column in wanted if column not in names]
    if lacking:
        elsewhere = _found_elsewhere(wanted, layout, text, begins)
        close = get_close_matches(lacking[0], [n for n in names if n], n=1, cutoff=0.6)
        if elsewhere:
            mend = f"The header is on line {elsewhere}: set log.skip_lines = {elsewhere - 1}."
        elif close:
            mend = f"Did the layout mean {excerpt(close[0])}?"
        elif len(names) == 1:
            mend = "The line has one cell: check log.separator and log.skip_lines."
        else:
            mend = f"It has {_shown(names)}; name one of them in the layout, or check log.skip_lines."
        raise LogError(f"the header has no column {lacking[0]!r}", where=where, mend=mend)
    for place, column in enumerate(names, 1):
        if column and column in places:
            raise LogError(
                f"columns {places[column]} and {place} are both called {excerpt(column)}",
                where=where,
                mend="Give each column its own name in the export.",
            )
        places[column] = place


def _shown(names: list[str]) -> str:
    few = [excerpt(column) for column in names if column][:8]
    return ", ".join(few) + (", …" if len(names) > len(few) else "")


def _found_elsewhere(wanted: list[str], layout: Layout, text: bytes, begins: int) -> int:
    """The line, from 1, of the one place where all the wanted names stand; 0 if there is none."""
    start, line = begins, 0
    while start < len(text) and line < HEADER_WITHIN:
        raw, start = line_at(text, start)
        line += 1
        names = cells(raw[:65_536].decode("utf-8", "replace"), layout.log.separator, layout.log.quote)
        if not isinstance(names, str) and set(wanted) <= set(names):
            return line
    return 0


def _stated(column: str) -> str:
    """What a column's name says in brackets at its end: 'Flow [mL/min]' states 'mL/min'.

    >>> _stated("Vac (cm[H2O])")
    'cm[H2O]'
    """
    match = _BRACKETS.search(column)
    return match[1].strip() if match else ""


def known_unit(text: str, dimension: str) -> Unit | None:
    """The unit that `text` names, if it is one of that dimension."""
    try:
        return unit(text, dimension)
    except QuantityError:
        return None


def _check_units(stated: dict[str, str], layout: Layout, where: str) -> tuple[str, ...]:
    """Refuse a stated unit that contradicts the layout's; a stated text that is no unit is only told."""
    notes = []
    for table, key, column, declared, dimension in _unit_columns(layout):
        said = stated.get(column, "")
        first = re.split(r"[\s,;]", said, maxsplit=1)[0] if said else ""
        found = known_unit(said, dimension) or (known_unit(first, dimension) if first else None)
        if found is None:
            if said:
                notes.append(
                    f"the header says {excerpt(said)} of {excerpt(column)}, which is no unit known here; "
                    f"it is read in {declared}, as the layout says"
                )
            continue
        if found.factor != unit(declared, dimension).factor:
            raise LogError(
                f"the header says {found.symbol}, the layout says {declared}",
                where=f"{where}, column {excerpt(column)}",
                mend=f"Set {table}.{key} to what the log really holds.",
            )
    return tuple(notes)


def _unit_columns(layout: Layout) -> list[tuple[str, str, str, str, str]]:
    """(table, key, column, declared unit, dimension) of each column that has a unit."""
    flow, pressure, set_suction = layout.flow, layout.pressure, layout.set_suction
    found = [("flow", "unit", flow.column, flow.unit, "flow"), ("flow", "unit", flow.max_column, flow.unit, "flow")]
    if pressure is not None:
        for column in (pressure.column, pressure.min_column, pressure.max_column):
            found.append(("pressure", "unit", column, pressure.unit, "pressure"))
    if set_suction is not None:
        declared = set_suction.unit or (pressure.unit if pressure is not None else "")
        found.append(("set_suction", "unit", set_suction.column, declared, "pressure"))
    if layout.fluid is not None:
        found.append(("fluid", "unit", layout.fluid.column, layout.fluid.unit, "volume"))
    if layout.battery is not None:
        found.append(("battery", "unit", layout.battery.column, layout.battery.unit or "%", "share"))
    return [entry for entry in found if entry[2]]
