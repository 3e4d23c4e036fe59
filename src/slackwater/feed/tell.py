"""One line for each refusal, and no flood of them."""

from __future__ import annotations

import time
from collections.abc import Callable

A_MINUTE = 20  # lines told in a minute; the rest is only counted


class Teller:
    """`tell(text)` writes one line, at most A_MINUTE of them a minute; then it says how many it left out."""

    def __init__(self, write: Callable[[str], None], clock: Callable[[], float] = time.monotonic) -> None:
        self._write = write
        self._clock = clock
        self._began = clock()
        self._told = self._left_out = 0

    def __call__(self, text: str) -> None:
        now = self._clock()
        if now - self._began >= 60:
            self._next(now)
        if self._told >= A_MINUTE:
            self._left_out += 1
            return
        self._told += 1
        self._write("".join(c if c.isprintable() else "·" for c in " ".join(text.split()))[:500])

    def _next(self, now: float) -> None:
        if self._left_out:
            self._write(f"{self._left_out} more of these in a minute were left out")
        self._began, self._told, self._left_out = now, 0, 0
