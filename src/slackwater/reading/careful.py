"""Reading one line with care: what the quick walk left over, and why a row is refused."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from slackwater.errors import QuantityError
from slackwater.quantities.grammar import parse_exact
from slackwater.quantities.spans import DAY_MS
from slackwater.reading.cells import cells
from slackwater.reading.channels import Channel, channels
from slackwater.reading.excerpt import excerpt
from slackwater.reading.header import Header
from slackwater.reading.layout import Layout
from slackwater.reading.log import NONE, RefusedRow

LATEST_MS = 7_258_118_400_000  # the end of 2199
LONGEST_ELAPSED_MS = 10 * 366 * DAY_MS
MOST_SERIALS = 64


def clock_scale(format_: str) -> tuple[Fraction, int]:
    """Milliseconds in one unit of a numeric clock, and the largest value allowed, in ms."""
    per = Fraction(1 if format_ == "epoch_ms" else 1000)
    return per, LONGEST_ELAPSED_MS if format_ == "elapsed_s" else LATEST_MS


@dataclass(frozen=True)
class CarefulRow:
    """A row as read: its stamp (`wall`: without an offset), one integer a channel, and how flow was printed.

    `refused`: a cell could not be read. The row keeps its place in time with no value in any channel: what
    stood there may have been worse than anything that could be read.
    """

    line: int
    ms: int
    wall: bool
    values: tuple[int, ...]
    serial: str
    flow: Fraction | None  # size of the printed number, in the layout's unit
    flow_places: int  # digits after its decimal mark
    refused: RefusedRow | None = None


class CarefulReader:
    """Reads single lines by a layout and a header: the reference that the quick walk must agree with."""

    def __init__(self, layout: Layout, header: Header) -> None:
        self._shape = layout.log
        self._header = header
        self._missing = frozenset(text.strip(" ") for text in layout.log.missing) | {""}
        self._time = layout.time
        self._stamps = layout.stamps
        self._channels: tuple[tuple[Channel, int], ...] = tuple((c, header.place(c.column)) for c in channels(layout))
        self._time_places = [header.place(column) for column in layout.time.columns]
        decimal = re.escape(layout.log.decimal)
        self._places = re.compile(rf"[^{decimal}]*{decimal}([0-9]*)[^eE]*")

    def read(self, text: str, line: int) -> CarefulRow | RefusedRow:
        """The row in `text`, or the column and reason for which it is refused."""
        found = cells(text, self._shape.separator, self._shape.quote)
        if isinstance(found, str):
            return RefusedRow(line, "", found)
        names = self._header.names
        if len(found) != len(names):
            short = "short" if len(found) < len(names) else "long"
            column = names[min(len(found), len(names)) - 1]
            return RefusedRow(line, column, f"the row is too {short}: {len(found)} cells, the header has {len(names)}")
        stamp = self._stamp(found, line)
        if isinstance(stamp, RefusedRow):
            return stamp
        values, serial = [], ""
        flow, places = None, 0

        def hole(why: RefusedRow) -> CarefulRow:
            nothing = tuple(NONE for channel, _ in self._channels if channel.kind != "serial")
            return CarefulRow(line, stamp[0], stamp[1], nothing, "", None, 0, why)

        for channel, place in self._channels:
            cell = found[place]
            if cell in self._missing:
                if channel.kind != "serial":
                    values.append(NONE)
            elif channel.kind == "serial":
                serial = cell
            elif channel.kind == "words":
                if cell not in channel.words:
                    why = f"the word {excerpt(cell)} is not among the layout's {channel.key} words"
                    return hole(RefusedRow(line, channel.column, why))
                values.append(channel.words[cell])
            else:
                number = self._number(cell, channel, line)
                if isinstance(number, RefusedRow):
                    return hole(number)
                value, printed = number
                values.append(value)
                if channel.key == "flow":
                    flow = abs(printed)
                    shown = self._places.fullmatch(cell)
                    places = len(shown[1]) if shown else 0
        return CarefulRow(line, stamp[0], stamp[1], tuple(values), serial, flow, places)

    def _stamp(self, found: list[str], line: int) -> tuple[int, bool] | RefusedRow:
        pieces = [found[place] for place in self._time_places]
        column = self._time.columns[0]
        for piece, name in zip(pieces, self._time.columns, strict=True):
            if piece in self._missing:
                return RefusedRow(line, name, "there is no time stamp")
        if self._stamps is not None:
            stamp = self._stamps.read(" ".join(pieces))
            return RefusedRow(line, column, stamp) if isinstance(stamp, str) else (stamp.ms, not stamp.utc)
        per, most = clock_scale(self._time.format)
        try:
            ms = round(parse_exact(pieces[0], self._shape.decimal) * per)
        except QuantityError:
            return RefusedRow(line, column, f"{excerpt(pieces[0])} is not a number, as {self._time.format} is")
        if not 0 <= ms <= most:
            return RefusedRow(line, column, f"{excerpt(pieces[0])} is out of range for {self._time.format}")
        return ms, False

    def _number(self, cell: str, channel: Channel, line: int) -> tuple[int, Fraction] | RefusedRow:
        try:
            printed = parse_exact(cell, self._shape.decimal)
        except QuantityError as error:
            hint = ", but the decimal mark here is" in error.what
            said = f" (the decimal mark here is {self._shape.decimal!r})" if hint else ""
            return RefusedRow(line, channel.column, f"{excerpt(cell)} is not a number{said}")
        value = round(printed * channel.per)
        value = -value if channel.negate else value
        if not channel.low <= value <= channel.high:
            return RefusedRow(line, channel.column, f"{excerpt(cell)} {channel.beyond}")
        return value, printed
