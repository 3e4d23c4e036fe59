"""Physical lines of a text: LF, CR LF and CR all end one."""

from __future__ import annotations

import numpy as np

_CHUNK = 1 << 24


def line_at(text: bytes, start: int) -> tuple[bytes, int]:
    """The line that begins at `start`, without its end, and where the next one begins."""
    feed = text.find(b"\n", start)
    feed = len(text) if feed < 0 else feed
    bare = text.find(b"\r", start, feed)
    if bare >= 0:
        return text[start:bare], bare + 2 if bare + 1 == feed else bare + 1
    return text[start:feed], feed + 1


def count_lines(text: bytes, start: int) -> int:
    """How many lines there are from `start` on."""
    view = np.frombuffer(text, np.uint8)
    total = sum(int(np.count_nonzero(view[at : at + _CHUNK] == 10)) for at in range(start, len(text), _CHUNK))
    if text.find(b"\r", start) >= 0:
        total += text.count(b"\r", start) - text.count(b"\r\n", start)
    return total
