"""Figures of a cohort as they may be shown: each with its interval, what it rests on, and small numbers kept back.

What is missing is counted beside each figure and is never kept back: it is a fact of the record, not of a patient.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.audit.statistics.bootstrap import bootstrap
from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.intervals import highest_rate, highest_share, rate, share
from slackwater.audit.statistics.suppress import kept_back

HALF = 0.5  # a bound above this says nothing
PER_DAYS = 100.0  # rates are told per 100 drain-days


@dataclass(frozen=True)
class Figure:
    """value, low, high in `unit`; None: cannot be told, or kept back (`note` says which).

    n: on how many it rests, None where that is kept back. untold: how many more were asked, of whom it is not known.
    """

    key: str
    title: str
    unit: str
    estimate: Estimate
    n: int | None
    of: str
    untold: int = 0
    kept_back: bool = False
    note: str = ""


@dataclass(frozen=True)
class Rules:
    """How figures are shown. fewest: the smallest number of drains that may be shown; 0: all, for this house alone."""

    fewest: int = 5
    seed: int = 1
    level: float = 0.95
    draws: int = 1000  # of intervals by drawing patients again

    @property
    def few(self) -> str:
        return f"fewer than {self.fewest}"


def share_of(
    key: str, title: str, events: int, n: int, of: str, rules: Rules, untold: int = 0, *, elsewhere: bool = False
) -> Figure:
    """events of n, in per cent, exact interval. None of n: the one-sided bound stands in its place.

    elsewhere: another table shows part of these numbers, so where any is kept back, n is too.
    """
    whole = Figure(key, title, "%", _times(share(events, n, rules.level), 100.0), n, of, untold)
    if not n:
        return replace(whole, note="of nobody is it known")
    if n < rules.fewest:
        return _back(whole, f"{rules.few} {of}: kept back")
    hidden = kept_back([events, n - events], rules.fewest)
    if not hidden[:2].any():
        if n and not events:
            bound = highest_share(0, n, rules.level)
            assert bound is not None
            told = Estimate(0.0, 0.0, 100 * bound, rules.level, "exact, one-sided (Clopper-Pearson)")
            return replace(whole, estimate=told, note=f"none of {n}: it may still be as much as {100 * bound:.1f} %")
        return whole
    if elsewhere:
        return _back(whole, "kept back")
    if events < rules.fewest:
        most = highest_share(min(rules.fewest - 1, n), n, rules.level)
        if most is None or most > HALF:
            return _back(whole, f"{rules.few} of {n}: kept back", n)
        return _back(whole, f"{rules.few} of {n}: kept back; at most {100 * most:.0f} % (exact, one-sided)", n)
    return _back(whole, f"all of {n} but {rules.few}: kept back", n)


def rate_of(key: str, title: str, events: int, days: float, of: str, rules: Rules, n: int, untold: int = 0) -> Figure:
    """Events per 100 drain-days, exact interval. n: drains that it rests on."""
    whole = Figure(
        key, title, "per 100 drain-days", _times(rate(events, days, rules.level), PER_DAYS), n, of, untold,
        note=f"{events} in {days:.0f} drain-days",
    )  # fmt: skip
    if not n:
        return replace(whole, note="of nobody is it known")
    if n < rules.fewest:
        return _back(whole, f"{rules.few} {of}: kept back")
    if events < rules.fewest:
        most = highest_rate(rules.fewest - 1, days, rules.level)
        bound = "" if most is None else f"; at most {PER_DAYS * most:.1f} per 100 drain-days (exact, one-sided)"
        return _back(whole, f"{rules.few} in {days:.0f} drain-days: kept back{bound}", n)
    return whole


def median_of(
    key: str, title: str, unit: str, values: Sequence[float | None], patients: Sequence[str], of: str, rules: Rules,
) -> Figure:  # fmt: skip
    """The median of what is known; interval by drawing patients again."""
    return _drawn(
        np.median, "median", Figure(key, title, unit, _nothing(rules, "median"), 0, of), values, patients, rules
    )


def mean_of(
    key: str, title: str, unit: str, values: Sequence[float | None], patients: Sequence[str], of: str, rules: Rules,
) -> Figure:  # fmt: skip
    """The mean of what is known; interval by drawing patients again. Kept back where the total is."""
    if too_few_make_it_up(values, rules):
        blank = Figure(key, title, unit, _nothing(rules, "mean"), None, of, sum(one is None for one in values), True)
        return replace(blank, note=f"{rules.few} have any: kept back")
    return _drawn(np.mean, "mean", Figure(key, title, unit, _nothing(rules, "mean"), 0, of), values, patients, rules)


def _drawn(
    middle: Callable[[NDArray[np.float64]], Any], name: str, blank: Figure, values: Sequence[float | None],
    patients: Sequence[str], rules: Rules,
) -> Figure:  # fmt: skip
    known = [(value, patient) for value, patient in zip(values, patients, strict=True) if value is not None]
    chosen, whose = np.array([value for value, _ in known]), [patient for _, patient in known]
    missing = len(values) - len(known)
    if not known:
        return replace(blank, untold=missing, note="none to tell it from")
    if len(known) < rules.fewest:
        return replace(blank, n=None, untold=missing, kept_back=True, note=f"{rules.few} {blank.of}: kept back")
    found = bootstrap(
        lambda rows: float(middle(chosen[rows])), whose, np.random.default_rng(rules.seed), rules.draws, rules.level,
        "percentile",
    )  # fmt: skip
    return replace(blank, estimate=replace(found, method=f"{name}; {found.method}"), n=len(known), untold=missing)


def _nothing(rules: Rules, method: str) -> Estimate:
    return Estimate(None, None, None, rules.level, method)


def total_of(key: str, title: str, unit: str, values: Sequence[float | None], of: str, rules: Rules) -> Figure:
    """The sum of what is known; it is no estimate and has no interval. Kept back where too few drains make it up."""
    known = [value for value in values if value is not None]
    total = float(np.sum(known)) if known else None
    whole = Figure(
        key, title, unit, Estimate(total, None, None, rules.level, "sum"), len(known), of, len(values) - len(known)
    )
    if 0 < len(known) < rules.fewest:
        return _back(whole, f"{rules.few} {of}: kept back")
    if too_few_make_it_up(known, rules):
        return _back(whole, f"{rules.few} have any: kept back", len(known))
    return whole


def too_few_make_it_up(values: Sequence[float | None], rules: Rules) -> bool:
    """Whether so few drains have any of it that their sum, or a mean of all, would tell of them."""
    return 0 < sum(value is not None and value != 0.0 for value in values) < rules.fewest


def without_n(figure: Figure, shown: bool) -> Figure:
    """The figure without the number it rests on, where that number is kept back in another table."""
    if shown:
        return figure
    method = re.sub(r"of \d+ patients", "of patients", figure.estimate.method)
    return replace(figure, n=None, estimate=replace(figure.estimate, method=method))


def gives_away(n: int, all_: int, rules: Rules) -> bool:
    """Whether n of so many, whose number is shown, would tell that a few are of the other kind."""
    return 0 < all_ - n < rules.fewest


def kept_from_sight(figure: Figure) -> Figure:
    """The figure without value and number, where a table of counts keeps back what they would give away."""
    return _back(figure, "kept back")


def _times(one: Estimate, factor: float) -> Estimate:
    value, low, high = (None if end is None else end * factor for end in (one.value, one.low, one.high))
    return Estimate(value, low, high, one.level, one.method)


def _back(figure: Figure, why: str, n: int | None = None) -> Figure:
    blank = Estimate(None, None, None, figure.estimate.level, figure.estimate.method)
    return replace(figure, estimate=blank, n=n, kept_back=True, note=why)


# --- tables of counts ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Counts:
    """Drains by what became of them; None: kept back. untold: not recorded, in no row and not in the total.

    together: names of which too few were to stand alone; they stand in one row.
    """

    key: str
    title: str
    rows: tuple[tuple[str, int | None], ...]
    total: int | None
    untold: int
    together: tuple[str, ...] = ()

    def shown(self, name: str) -> bool:
        return dict(self.rows).get(name) is not None

    def hides(self, name: str) -> bool:
        """Kept back, alone or so that nothing else is given away: no other figure may show it either."""
        return name in self.together or dict(self.rows).get(name, 0) is None


def counts_of(
    key: str, title: str, counted: Mapping[str, int], untold: int, rules: Rules, *, apart: str | None = None
) -> Counts:
    """Small numbers, and what would give them away by subtraction, kept back. apart: a row that stands by itself; of
    the others those too few are put together first, so that not most of the table is blank."""
    together: tuple[str, ...] = ()
    if apart is not None:
        together = _too_few_alone(counted, apart, rules)
        rest = {name: n for name, n in counted.items() if name not in together}
        counted = {**rest, "; ".join(together): sum(counted[name] for name in together)} if together else rest
    names = list(counted)
    total = sum(counted.values())
    if total and total >= rules.fewest and total in counted.values():  # nobody else, so there is nothing to give away
        whole = next(name for name in names if counted[name])
        return Counts(key, title, ((whole, total),), total, untold, together)
    hidden = kept_back([counted[name] for name in names], rules.fewest)
    rows = tuple((name, None if hide else counted[name]) for name, hide in zip(names, hidden, strict=False))
    return Counts(key, title, rows, None if hidden[-1] else total, untold, together)


def _too_few_alone(counted: Mapping[str, int], apart: str, rules: Rules) -> tuple[str, ...]:
    """The names, in their order, that are put together: each too small, and the next smallest until they are enough."""
    smallest = sorted((name for name in counted if name != apart), key=lambda name: counted[name])
    taken: list[str] = []
    for name in smallest:
        if counted[name] >= rules.fewest and (not taken or sum(counted[one] for one in taken) >= rules.fewest):
            break
        taken.append(name)
    return tuple(name for name in counted if name in taken) if len(taken) > 1 else ()


@dataclass(frozen=True)
class Hours:
    """Hours by part, of how many drains; parts with too few drains stand together. They add up to the total."""

    key: str
    title: str
    rows: tuple[tuple[str, float, int | None], ...]
    total: float | None  # None: kept back


def hours_of(key: str, title: str, drains: Sequence[Mapping[str, float]], rules: Rules) -> Hours:
    """One row a part, largest first; a part with fewer than the smallest number of drains joins the next smallest."""
    names = {name for one in drains for name, hours in one.items() if hours > 0}
    rows: list[tuple[tuple[str, ...], float, int]] = [
        ((name,), _hours_in(drains, (name,)), _drains_in(drains, (name,))) for name in names
    ]
    rows.sort(key=lambda row: (-row[2], -row[1], row[0]))
    while len(rows) > 1 and rows[-1][2] < rules.fewest:
        together = tuple(sorted(rows[-2][0] + rows[-1][0]))
        rows = [*rows[:-2], (together, _hours_in(drains, together), _drains_in(drains, together))]
    rows.sort(key=lambda row: (-row[1], row[0]))
    if rows and rows[-1][2] < rules.fewest and len(rows) == 1:
        return Hours(key, title, (), None)
    told = tuple(
        ("; ".join(names), hours, None if gives_away(n, len(drains), rules) else n) for names, hours, n in rows
    )
    return Hours(key, title, told, float(sum(row[1] for row in rows)))


def _hours_in(drains: Sequence[Mapping[str, float]], names: tuple[str, ...]) -> float:
    return float(sum(one.get(name, 0.0) for one in drains for name in names))


def _drains_in(drains: Sequence[Mapping[str, float]], names: tuple[str, ...]) -> int:
    return sum(any(one.get(name, 0.0) > 0 for name in names) for one in drains)
