"""Line numbers as they stand in a sentence."""

from __future__ import annotations

from collections.abc import Iterable

_SHOWN = 8


def line_list(lines: Iterable[int]) -> str:
    """The first eight lines in order, and how many more there are.

    >>> line_list([7, 3])
    'lines 3, 7'
    """
    ordered = sorted(lines)
    shown = ", ".join(str(line) for line in ordered[:_SHOWN])
    more = f" and {len(ordered) - _SHOWN} more" if len(ordered) > _SHOWN else ""
    return f"{'line' if len(ordered) == 1 else 'lines'} {shown}{more}"
