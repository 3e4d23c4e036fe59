"""How well a learner reads drains, and how well they know how well: by kind, with what few answers can tell.

The doors bring kappa along (slackwater.audit.statistics.agreement): one formula, one place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Protocol

from slackwater.teach.exercise import Exercise, Kind, kinds
from slackwater.teach.lesson import Lesson

FEW = 10  # answers: fewer tell too little to speak of skill or of confidence (ours)
Z95 = 1.959964
# Of confidence, in percent; the last includes 100.
BANDS = ((0.0, 50.0), (50.0, 60.0), (60.0, 70.0), (70.0, 80.0), (80.0, 90.0), (90.0, 100.0))


class Figure(Protocol):
    """A figure with its interval; None: cannot be told."""

    @property
    def value(self) -> float | None: ...
    @property
    def low(self) -> float | None: ...
    @property
    def high(self) -> float | None: ...


Kappa = Callable[[Sequence[Sequence[int]], str], Figure]


@dataclass(frozen=True)
class Share:
    """right of n, with Wilson's 95 % interval."""

    right: int
    n: int

    @property
    def value(self) -> float | None:
        return self.right / self.n if self.n else None

    @property
    def interval(self) -> tuple[float, float] | None:
        """Source: Wilson, J. Am. Stat. Assoc. 22 (1927) 209.

        >>> low, high = Share(8, 10).interval
        >>> round(low, 3), round(high, 3)
        (0.49, 0.943)
        """
        if not self.n:
            return None
        p, z2 = self.right / self.n, Z95 * Z95
        middle = (p + z2 / (2 * self.n)) / (1 + z2 / self.n)
        reach = Z95 / (1 + z2 / self.n) * sqrt(p * (1 - p) / self.n + z2 / (4 * self.n * self.n))
        return max(0.0, middle - reach), min(1.0, middle + reach)


@dataclass(frozen=True)
class Band:
    """Answers given with a confidence from `low` up to `high` percent: what was told, and what came."""

    low: float
    high: float
    told: float | None  # mean confidence, percent
    came: Share


@dataclass(frozen=True)
class Skill:
    """One learner's answers of one kind (kind None: of every kind)."""

    kind: Kind | None
    came: Share
    told: float | None  # mean confidence, percent
    brier: float | None  # of the confidence against right or wrong: 0 best
    agreement: Figure | None  # kappa against the truth, weighted where the answers are in order; None of few
    weights: str
    bands: tuple[Band, ...]

    @property
    def gap(self) -> float | None:
        """Mean confidence less the share right, in points of a hundred; above 0 is surer than right."""
        return None if self.told is None or self.came.value is None else self.told - 100.0 * self.came.value

    @property
    def says(self) -> str:
        """Where confidence and skill part, in words; nothing where the answers are few or the interval holds both."""
        interval = self.came.interval
        if self.told is None or interval is None:
            return "not tried yet"
        if self.came.n < FEW:
            return f"too few to say ({self.came.n} of {FEW})"
        if self.told > 100.0 * interval[1]:
            return "surer than right"
        if self.told < 100.0 * interval[0]:
            return "better than you think"
        return "confidence and skill agree, as far as this tells"


def skill(lessons: Iterable[Lesson], kind: Kind | None, kappa: Kappa) -> Skill:
    """From the lessons of one kind, or of all."""
    told = list(lessons)
    n = len(told)
    weights = "linear" if kind is not None and kind.ordered else "none"
    return Skill(
        kind, Share(sum(one.right for one in told), n),
        sum(one.confidence for one in told) / n if n else None,
        sum((one.confidence / 100.0 - one.right) ** 2 for one in told) / n if n else None,
        None if kind is None or n < FEW else kappa(table(told, kind), weights), weights,
        tuple(_band(told, low, high) for low, high in BANDS),
    )  # fmt: skip


def table(lessons: Iterable[Lesson], kind: Kind) -> list[list[int]]:
    """How often the truth was the row and the answer the column, in the order of the kind's answers."""
    names = list(kind.answers)
    out = [[0] * len(names) for _ in names]
    for one in lessons:
        out[names.index(one.truth)][names.index(one.answer)] += 1
    return out


def _band(lessons: Sequence[Lesson], low: float, high: float) -> Band:
    inside = [one for one in lessons if low <= one.confidence < high or (high == 100.0 == one.confidence)]
    mean = sum(one.confidence for one in inside) / len(inside) if inside else None
    return Band(low, high, mean, Share(sum(one.right for one in inside), len(inside)))


def by_kind(lessons: Iterable[Lesson], known: Mapping[str, Exercise]) -> dict[str, list[Lesson]]:
    """The lessons of each kind; those of an exercise that is gone, or that has other answers now, are left out."""
    found: dict[str, list[Lesson]] = {name: [] for name in kinds()}
    for one in lessons:
        kind = known[one.exercise].kind if one.exercise in known else None
        if kind is not None and one.answer in kind.answers and one.truth in kind.answers:
            found[kind.name].append(one)
    return found


def skills(lessons: Iterable[Lesson], known: Mapping[str, Exercise], kappa: Kappa) -> tuple[Skill, ...]:
    """Of every kind, and first of all together."""
    found = by_kind(lessons, known)
    every = [one for some in found.values() for one in some]
    return (skill(every, None, kappa), *(skill(some, kinds()[name], kappa) for name, some in found.items()))
