"""However busy the machine is, a test waits until what must come has come: for so long that it never will else."""

from __future__ import annotations

import time
from collections.abc import Callable

LONG_S = 120.0


def until(holds: Callable[[], object], why: str = "it never came", every_s: float = 0.05) -> None:
    ends = time.monotonic() + LONG_S
    while not holds():
        assert time.monotonic() < ends, why
        time.sleep(every_s)
