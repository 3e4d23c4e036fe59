"""What a process that stays, and must always answer soon, sets of Python itself. Once, when all is loaded."""

from __future__ import annotations

import gc
import sys

SWITCH_S = 0.0005  # a thread gets its turn so soon; by default it waits 5 ms for each step of its own


def settle_in() -> None:
    """Let no thread, and no search for garbage, hold up the answers."""
    sys.setswitchinterval(SWITCH_S)
    gc.collect()
    gc.freeze()  # what was loaded stays for good: each look through it takes 0.1 s, in which nobody is answered
