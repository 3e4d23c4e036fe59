"""The quick walk's tables, and what it brings back: from a layout and a header to arrays."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.reading import kernels
from slackwater.reading.careful import clock_scale
from slackwater.reading.channels import Channel, channels
from slackwater.reading.header import Header
from slackwater.reading.layout import Layout

_KINDS = {"number": 0, "words": 1, "serial": 2}
_STAMP, _CLOCK = 3, 4
_PLACES = 19  # 0 to 18 digits after the decimal mark
_LARGEST = 2**63 - 1
_SCALE_ROOM = 2**61  # twice a remainder must stay within 63 bits


@dataclass(frozen=True)
class QuickRows:
    """Rows in file order; `odd` holds (line, start, end) of each line left to the careful reader."""

    time_ms: NDArray[np.int64]
    wall: NDArray[np.bool_]
    line: NDArray[np.int32]
    values: list[NDArray[np.int32]]  # one a channel, without serial
    odd: NDArray[np.int64]
    blank_lines: int
    too_long: int  # the line that is over the limit, 0 if none
    divisors: dict[int, int]  # digits after the mark -> greatest common divisor of flow's mantissas, 0: only zeros
    distinct: tuple[tuple[int, int], ...]  # the first different flows: mantissa and digits after the mark
    serials: tuple[tuple[int, str], ...]  # line of first appearance, and the text


def quick_rows(text: bytes, layout: Layout, header: Header, lines: int) -> QuickRows:
    """Walk over the rows of `text`, which has `lines` lines after the header and ends with a line feed."""
    wanted = channels(layout)
    numeric = layout.stamps is None
    pieces = len(layout.time.columns)
    slots = len(wanted) + pieces
    roles = np.full(len(header.names), -1, np.int32)
    kinds = np.full(slots, _CLOCK if numeric else _STAMP, np.int32)
    for slot, channel in enumerate(wanted):
        roles[header.place(channel.column)] = slot
        kinds[slot] = _KINDS[channel.kind]
    for n, column in enumerate(layout.time.columns):
        roles[header.place(column)] = len(wanted) + n
    low, high, negate, times, over, safe = _scales(wanted, layout, slots)
    missing = _missing_texts(layout)
    words = [(slot, word.encode(), code) for slot, c in enumerate(wanted) for word, code in c.words.items()]
    stored = len([c for c in wanted if c.kind != "serial"])
    time_ms, line_of = np.empty(lines, np.int64), np.empty(lines, np.int32)
    wall, values = np.empty(lines, np.uint8), np.empty((stored, lines), np.int32)
    odd, tally = np.empty((lines, 3), np.int64), np.zeros(8, np.int64)
    divisors, distinct = np.zeros(_PLACES, np.int64), np.zeros((kernels.MOST_DISTINCT, 2), np.int64)
    serials = np.zeros((kernels.MOST_SERIALS, 3), np.int64)
    program = np.array(layout.stamps.program if layout.stamps else (), np.int32).reshape(-1, 2)
    shape = layout.log
    kernels.scan(
        text,
        header.begins,
        header.first_line,
        ord(shape.separator),
        ord(shape.quote) if shape.quote else 256,
        ord(shape.decimal),
        _classes(shape.separator, shape.quote),
        roles,
        kinds,
        negate,
        low,
        high,
        times,
        over,
        safe,
        b"".join(missing),
        np.cumsum([len(m) for m in missing], dtype=np.int32),
        bytes(any(m[0] == byte for m in missing) for byte in range(256)),
        b"".join(word for _, word, _ in words),
        np.cumsum([len(word) for _, word, _ in words], dtype=np.int32),
        np.array([slot for slot, _, _ in words], np.int32),
        np.array([code for _, _, code in words], np.int32),
        program,
        1 if numeric else pieces,
        bytearray(256),
        np.array([0, 0, 0, -1, 0], np.int64),
        np.zeros((slots, 2), np.int64),
        np.full((slots, 3), -1, np.int64),
        time_ms,
        wall,
        line_of,
        values,
        odd,
        tally,
        divisors,
        distinct,
        serials,
    )
    n = int(tally[kernels.ROWS])
    return QuickRows(
        time_ms[:n],
        wall[:n].view(np.bool_),
        line_of[:n],
        [values[slot, :n] for slot in range(stored)],
        odd[: int(tally[kernels.ODD])],
        int(tally[kernels.BLANK]),
        int(tally[kernels.TOO_LONG]),
        {places: max(int(d), 0) for places, d in enumerate(divisors) if d != 0},
        tuple((int(m), int(p)) for m, p in distinct[: int(tally[kernels.DISTINCT])]),
        tuple(
            (int(line), text[int(start) : int(end)].decode())
            for start, end, line in serials[: int(tally[kernels.SERIALS])]
        ),
    )


def _scales(wanted: tuple[Channel, ...], layout: Layout, slots: int) -> tuple[NDArray[Any], ...]:
    """Limits, signs and the exact fraction for each slot and each count of digits after the mark."""
    low, high, negate = np.zeros(slots, np.int64), np.zeros(slots, np.int64), np.zeros(slots, np.int32)
    times, over = np.ones((slots, _PLACES), np.int64), np.ones((slots, _PLACES), np.int64)
    safe = np.full((slots, _PLACES), -1, np.int64)  # -1: no mantissa is safe, so the line is left over
    rows: list[tuple[int, Fraction, int, int, bool]] = [
        (slot, c.per, c.low, c.high, c.negate) for slot, c in enumerate(wanted) if c.kind == "number"
    ]
    if layout.stamps is None:
        per, most = clock_scale(layout.time.format)
        rows.append((len(wanted), per, 0, most, False))
    for slot, per, lowest, highest, flipped in rows:
        low[slot], high[slot], negate[slot] = lowest, highest, flipped
        for places in range(_PLACES):
            exact = per / 10**places
            if exact.numerator < _SCALE_ROOM and exact.denominator < _SCALE_ROOM:
                times[slot, places], over[slot, places] = exact.numerator, exact.denominator
                safe[slot, places] = _LARGEST // exact.numerator
    return low, high, negate, times, over, safe


def _missing_texts(layout: Layout) -> list[bytes]:
    """The 'missing' texts that can stand in a cell as they are; others are left to the careful reader."""
    special = layout.log.separator + (layout.log.quote or "")
    texts = {text.strip(" ") for text in layout.log.missing} - {""}
    return sorted(text.encode() for text in texts if not any(c in special or not c.isprintable() for c in text))


def _classes(separator: str, quote: str) -> bytes:
    """What each byte is to a cell: 0 text, 1 separator, 2 line end, 3 quote, 4 space, 5 control."""
    table = bytearray(256)
    for control in (*range(32), 127):
        table[control] = 5
    table[9] = 0
    table[10] = table[13] = 2
    table[32] = 4
    table[ord(separator)] = 1
    if quote:
        table[ord(quote)] = 3
    return bytes(table)
