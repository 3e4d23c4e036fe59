"""Rules by which points of a chart are marked as more than chance. A mark always says which rule made it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RuleSet:
    """A point outside the limits; `side` points in a row on one side of the centre; `trend` rising or falling in a row.

    How points are counted, where sources differ, is ours: a point on the centre counts for neither side and ends no
    run; two equal points end a trend; a trend counts its first point; a missing point ends both, and so
    does a new phase.
    """

    name: str
    side: int
    trend: int
    source: str


SEVEN_FIVE = RuleSet(
    "7 on a side, 5 in a row",
    7,
    5,
    "a state agency's page on such charts (NSW Clinical Excellence Commission), after 'making data count'",
)
EIGHT_SIX = RuleSet(
    "8 on a side, 6 in a row",
    8,
    6,
    "8 on a side: Western Electric handbook, 1956; 6 in a row: Nelson, J. Qual. Technol. 16 (1984) 237; from memory",
)


@dataclass(frozen=True)
class Mark:
    """Points first to last (from 0, both in it) that a rule marks; known at the point `known_at`, not before."""

    rule: str
    first: int
    last: int
    known_at: int


def marks(
    values: Floats, middle: Floats, low: Floats, high: Floats, phase: Sequence[int], rules: RuleSet
) -> list[Mark]:
    """Marks of a chart; all arrays (n,), NaN for what is missing. middle: what sides are counted about."""
    found = [
        Mark(f"{side} the limits", k, k, k)
        for k in range(len(values))
        for side, outside in (("above", values[k] > high[k]), ("below", values[k] < low[k]))
        if outside
    ]
    sides = [None if np.isnan(off) else int(np.sign(off)) for off in values - middle]
    for way, points in _runs(sides, phase):
        if len(points) >= rules.side:
            word = f"{rules.side} {'above' if way > 0 else 'below'} the centre"
            found.append(Mark(word, points[0], points[-1], points[rules.side - 1]))
    steps: list[int | None] = [None]
    steps += [None if np.isnan(step) else int(np.sign(step)) or None for step in np.diff(values)]
    for k in range(1, len(values)):
        if phase[k] != phase[k - 1]:
            steps[k] = None
    for way, points in _runs(steps, phase):
        first = points[0] - 1
        if len(points) + 1 >= rules.trend:
            word = f"{rules.trend} {'rising' if way > 0 else 'falling'} in a row"
            found.append(Mark(word, first, points[-1], first + rules.trend - 1))
    return sorted(found, key=lambda mark: (mark.first, mark.last))


def _runs(signs: Sequence[int | None], phase: Sequence[int]) -> Iterator[tuple[int, list[int]]]:
    """Longest runs of one sign: None ends a run, 0 is passed over, a new phase begins anew."""
    way, points = 0, list[int]()
    for k, sign in enumerate(signs):
        if points and (sign is None or phase[k] != phase[points[-1]] or sign == -way):
            yield way, points
            points = []
        if sign:
            way = sign
            points.append(k)
    if points:
        yield way, points
