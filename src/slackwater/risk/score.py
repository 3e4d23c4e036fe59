"""What a published score is, and what comes of asking it about one patient."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from slackwater.risk.inputs import KEYS, RiskInputs
from slackwater.risk.prolonged import Definition


@dataclass(frozen=True)
class Part:
    """Points for one item. Where the paper leaves them open, `or_points` is the other reading and `why` says so."""

    text: str
    points: float
    or_points: float | None = None
    why: str = ""

    @property
    def counted(self) -> str:
        """What it is, and the points it adds."""
        return f"{self.text} {self.points:+.10g}" if self.points else f"{self.text} 0"

    @property
    def low(self) -> float:
        return self.points if self.or_points is None else min(self.points, self.or_points)

    @property
    def high(self) -> float:
        return self.points if self.or_points is None else max(self.points, self.or_points)


@dataclass(frozen=True)
class Rate:
    """A published figure about a group, in percent, with its 95 % interval where one was printed."""

    of: str
    percent: float
    low: float | None = None
    high: float | None = None

    @property
    def told(self) -> str:
        """The figure with its interval."""
        interval = "" if self.low is None else f" ({self.low:g} to {self.high:g})"
        return f"{self.of} {self.percent:g} %{interval}"


def _no_band(_: float) -> str | None:
    return None


@dataclass(frozen=True)
class Published:
    """One paper's score. `inside` lists, for each key, the words for which it was made; any other word is outside."""

    id: str
    name: str
    source: str
    population: str
    cohort: str
    outcome: Definition
    inside: Mapping[str, tuple[str, ...]]
    items: tuple[str, ...]  # keys that earn points
    parts: Callable[[RiskInputs], tuple[Part, ...]]
    band: Callable[[float], str | None] = _no_band
    rates: tuple[Rate, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def needs(self) -> tuple[str, ...]:
        """Every key without which nothing is told: of the population, then of the points."""
        return tuple(dict.fromkeys((*self.inside, *self.items)))


@dataclass(frozen=True)
class Score:
    """The answer of one score for one patient. Without points there is no band, no part and no rate either."""

    id: str
    name: str
    source: str
    population: str
    cohort: str
    outcome: Definition
    notes: tuple[str, ...]
    points: float | None = None
    band: str | None = None
    parts: tuple[Part, ...] = ()
    rates: tuple[Rate, ...] = ()
    missing: tuple[str, ...] = ()  # keys
    outside_because: str = ""
    doubt: str = ""  # the paper leaves open how this patient is counted

    @property
    def status(self) -> Literal["told", "cannot_tell", "not_applicable"]:
        if self.points is not None:
            return "told"
        return "not_applicable" if self.outside_because else "cannot_tell"

    @property
    def made_for(self) -> str:
        """The population, and whether this patient is of it, where that is known."""
        inside = {"told": " This patient is inside it.", "not_applicable": " This patient is outside it."}
        return f"{self.population}.{inside.get(self.status, '')}"

    @property
    def answer(self) -> str:
        """The one sentence that every door shows."""
        if self.points is not None:
            return points_text(self.points) + (f", {self.band}" if self.band else "")
        if self.outside_because:
            return f"does not apply: {self.outside_because}. No number is given."
        if self.missing:
            return f"cannot tell: needs {', '.join(KEYS[name].label for name in self.missing)}"
        return f"cannot tell: {self.doubt}"


def asked(paper: Published, given: RiskInputs) -> Score:
    """Ask one score: refused outside its population, then for what is missing, then where the paper is silent."""
    empty = Score(paper.id, paper.name, paper.source, paper.population, paper.cohort, paper.outcome, paper.notes)
    outside = [
        f"{KEYS[name].label.partition(' (')[0]}: {str(given.values[name]).replace('_', ' ')}"
        for name, words in paper.inside.items()
        if name in given.values and given.values[name] not in words
    ]
    if outside:
        return replace(empty, outside_because=" and ".join(outside))
    missing = tuple(name for name in paper.needs if name not in given.values)
    if missing:
        return replace(empty, missing=missing)
    parts = paper.parts(given)
    low, high = _total(part.low for part in parts), _total(part.high for part in parts)
    if low != high:
        reasons = "; ".join(dict.fromkeys(part.why for part in parts if part.or_points is not None))
        return replace(empty, doubt=f"{low:.10g} to {points_text(high)}, as {reasons}")
    return replace(empty, points=low, band=paper.band(low), parts=parts, rates=paper.rates)


def points_text(points: float) -> str:
    """Points as printed.

    >>> points_text(3.5), points_text(-6.0), points_text(1.0)
    ('3.5 points', '-6 points', '1 point')
    """
    return f"{points:.10g} point{'' if points == 1 else 's'}"


def _total(points: Iterable[float]) -> float:
    return round(sum(points), 6)  # 27 - 24.3 is 2.7, whatever binary makes of it
