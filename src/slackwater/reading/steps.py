"""Two things a log shows about itself: how often it has a row, and what its display can tell apart."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class UsualStep:
    """The usual time between rows, ms, and the share of steps within a tenth of it (0..1)."""

    every_ms: int
    share: float


def usual_step(time_ms: NDArray[np.int64]) -> UsualStep:
    """The usual step of the stamps in order of time, whatever the order of rows.

    One value held by over half the steps is it, else the median. 0 where fewer than two different
    instants are known.
    """
    ordered = time_ms if len(time_ms) < 2 or bool((time_ms[1:] >= time_ms[:-1]).all()) else np.sort(time_ms)
    steps = np.diff(ordered)
    if len(steps) and int(steps.min()) == 0:
        steps = steps[steps > 0]
    if not len(steps):
        return UsualStep(0, 0.0)
    usual = int(steps[len(steps) // 2])
    if 2 * int(np.count_nonzero(steps == usual)) <= len(steps):
        usual = int(np.partition(steps, (len(steps) - 1) // 2)[(len(steps) - 1) // 2])
    near = np.count_nonzero((10 * steps >= 9 * usual) & (10 * steps <= 11 * usual))
    return UsualStep(usual, near / len(steps))


@dataclass(frozen=True)
class Printed:
    """How a log's flows were printed, row order aside.

    divisors: digits after the mark -> greatest common divisor of the mantissas (0: only zeros);
    others: sizes that the quick walk did not see, with their digits after the mark.
    """

    divisors: dict[int, int]
    distinct: tuple[tuple[int, int], ...]
    others: tuple[tuple[Fraction, int], ...] = ()

    @property
    def different(self) -> int:
        """How many different flows there are, counted up to about two dozen."""
        seen = {Fraction(m, 10**places) for m, places in self.distinct} | {size for size, _ in self.others[:100]}
        return len(seen)

    def divisor(self) -> Fraction | None:
        """The largest number that every printed flow is a multiple of; None if all are zero."""
        numbers = [Fraction(d, 10**places) for places, d in self.divisors.items() if d] + [
            size for size, _ in self.others if size
        ]
        if not numbers:
            return None
        found = numbers[0]
        for number in numbers[1:]:
            found = Fraction(
                math.gcd(found.numerator * number.denominator, number.numerator * found.denominator),
                found.denominator * number.denominator,
            )
        return found

    def last_digit(self) -> Fraction | None:
        """One unit of the finest printed digit; None if no flow was printed."""
        places = [*self.divisors, *(p for _, p in self.others)]
        return Fraction(1, 10 ** max(places)) if places else None
