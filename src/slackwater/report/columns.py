"""Long columns of whole numbers as short text: what a page carries of a trace."""

from __future__ import annotations

import zlib
from base64 import b64encode
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

Whole = NDArray[np.int64]


class Column(TypedDict):
    """Base64 of raw deflate of byte planes, the lowest first, of zigzag values or of their differences."""

    count: int
    planes: int
    differences: bool
    data: str


def column(values: Whole) -> Column:
    """Pack values, as themselves or as differences, whichever is shorter.

    >>> column(np.array([7, 8, 9]))["planes"]
    1
    """
    plain, stepped = (_deflated(given) for given in (values, np.diff(values, prepend=np.int64(0))))
    planes, data = min(plain, stepped, key=lambda packed: len(packed[1]))
    return Column(count=len(values), planes=planes, differences=data is stepped[1], data=b64encode(data).decode())


def size_of(packed: Column) -> int:
    """Bytes before base64."""
    return len(packed["data"]) * 3 // 4


def _deflated(values: Whole) -> tuple[int, bytes]:
    zigzag = np.abs(2 * values) - (values < 0)  # 0, -1, 1, -2, 2 ... as 0, 1, 2, 3, 4 ...
    largest = int(zigzag.max(initial=0))
    planes = max(1, -(-largest.bit_length() // 8))
    raw = b"".join((zigzag >> 8 * plane & 0xFF).astype(np.uint8).tobytes() for plane in range(planes))
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -zlib.MAX_WBITS)
    return planes, squeeze.compress(raw) + squeeze.flush()
