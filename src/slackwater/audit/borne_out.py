"""Were the forecasts borne out on the unit's own patients? What was told at moments of past stays against what came.

Several forecasts of one drain are not independent: intervals are by drawing patients again, each with all of his. What
the record cannot tell moves the least and the greatest share apart; drains that came out first are followed up to then.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import polars
from numpy.typing import NDArray

from slackwater.audit.figures import Figure, Rules
from slackwater.audit.forecasts import QUANTILES
from slackwater.audit.over_time import BLOCK
from slackwater.audit.statistics.bootstrap import bootstrap
from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.intervals import highest_share
from slackwater.audit.statistics.told_times import brier_by, came_by, place_in_forecast, reached, slope_by, within
from slackwater.forecast.whole import BY_HOURS, SHARES
from slackwater.leak.filter.model import BLOCK_MIN

Floats = NDArray[np.float64]

EDGES = (0.0, 0.1, 0.35, 0.65, 0.9, 1.0)  # bins of the chance told. Ours
DRAWS = 400
BY_SHARES = (0.10, 0.25, 0.50, 0.75, 0.90)
STEP_H = BLOCK_MIN / 60.0  # a run completes within a step of the forecast: all of it counts, as in `forecast.score`
JUMP_H = 0.2  # hours told closer together than this are one moment: a run about to be full
GROUPS = (
    ("whole", "All clauses that can be forecast", None), ("air", "The clause on air", "air_leak"),
    ("fluid", "The clause on fluid", "fluid_output"),
)  # fmt: skip
NOT_TO_TELL = "cannot be told: it came to all or to none, or nobody was followed so far"
NONE_KEPT = "No forecasts are in this cohort: it was collected without them, or no drain had a rule."


@dataclass(frozen=True)
class Mark:
    """Forecasts that told one range of chances for so many hours. told: their mean, per cent; came: with its interval.

    drains None: too few, kept back; then nothing else is told either.
    """

    hours: int
    low: float
    high: float
    forecasts: int | None
    drains: int | None
    told: float | None
    came: Estimate


@dataclass(frozen=True)
class Group:
    """One kind of forecast. forecasts, drains: on how many it rests; held: moments at which it held already."""

    key: str
    title: str
    forecasts: int | None
    drains: int | None
    held: int | None
    figures: tuple[Figure, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True)
class BorneOut:
    """withheld: the reason, at how many moments, of how many drains (None: kept back, then of all rare reasons)."""

    groups: tuple[Group, ...]
    withheld: tuple[tuple[str, int | None, int | None], ...]
    drains: int  # whose forecasts are in the cohort
    without: int  # whose are not
    why: str = ""


def borne_out(kept: polars.DataFrame | None, drains: int, rules: Rules) -> BorneOut:
    """kept: the forecasts of every drain, with columns `drain` and `patient`. drains: of the report, in all."""
    if kept is None or kept.is_empty():
        return BorneOut((), (), 0, drains, NONE_KEPT)
    there = kept["drain"].n_unique()
    groups: list[tuple[polars.DataFrame, Group]] = []
    for key, title, measure in GROUPS:
        of = polars.col("measure").is_null() if measure is None else polars.col("measure") == measure
        mine = kept.filter(of)
        told = mine.filter(~polars.col("held"), polars.col("withheld_because").is_null())
        if told.is_empty() or any(_same(told, before) for before, _ in groups):
            continue  # where air alone can be forecast it is all of them
        groups.append((told, _group(key, title, told, int(mine["held"].sum()), rules)))
    return BorneOut(tuple(one for _, one in groups), _withheld(kept, rules), there, drains - there)


def draws_of(rules: Rules) -> int:
    """Fewer than elsewhere: there are many figures here, each of all forecasts."""
    return min(rules.draws, DRAWS)


def fewest_of(rules: Rules) -> int:
    """Drains that a share of forecasts must rest on: as a point of a chart, few of them may have the event."""
    return max(rules.fewest, BLOCK) if rules.fewest else 1


def _same(one: polars.DataFrame, other: polars.DataFrame) -> bool:
    what = ("drain", "moment_ms", "q50_h", "by_24h", "came_h")
    return one.select(what).equals(other.select(what))


def _group(key: str, title: str, told: polars.DataFrame, held: int, rules: Rules) -> Group:
    drains, least = told["drain"].n_unique(), fewest_of(rules)
    if drains < least:
        return Group(key, title, None, None, None, (), ())
    found = _Told(told, rules)
    figures = [*_inside(key, found), *_reached(key, found)]
    marks: list[Mark] = []
    for hours in BY_HOURS:
        figures += _chances(key, found, hours)
        marks += _marks(found, hours, least)
    return Group(key, title, len(told), drains, held, tuple(figures), tuple(marks))


class _Told:
    """The columns of one kind of forecast as arrays, and figures of them by drawing patients again."""

    def __init__(self, told: polars.DataFrame, rules: Rules) -> None:
        self.rules = rules
        self.frame = told
        self.patients = told["patient"].to_numpy()
        self.drains = told["drain"].to_numpy()
        self.horizon = self.column("horizon_h")
        came, sure = self.column("came_h"), self.column("not_before_h")
        self.ended = ~np.isnan(came)
        self.time = np.where(self.ended, came, self.column("followed_h"))
        self.earliest = np.minimum(sure, self.time)
        self.latest = np.where(self.ended, came, np.inf)

    def column(self, name: str) -> Floats:
        return self.frame[name].to_numpy().astype(np.float64)  # null becomes NaN

    def drawn(self, figure: Callable[[NDArray[np.int64]], float], rows: NDArray[np.bool_]) -> Estimate:
        """figure(row numbers), over those rows."""
        at = np.flatnonzero(rows)
        chance = np.random.default_rng(self.rules.seed)
        return bootstrap(
            lambda drawn: figure(at[drawn]),
            self.patients[at],
            chance,
            draws_of(self.rules),
            self.rules.level,
            "percentile",
        )

    def figure(
        self, key: str, title: str, unit: str, figure: Callable[[NDArray[np.int64]], float], rows: NDArray[np.bool_],
        note: str = "",
    ) -> Figure:  # fmt: skip
        """n: drains; how many forecasts stands in the note."""
        drains = len(np.unique(self.drains[rows]))
        blank = Figure(key, title, unit, Estimate(None, None, None, self.rules.level, ""), drains, "drains")
        if drains < fewest_of(self.rules):
            few = f"fewer than {fewest_of(self.rules)} drains: kept back" if drains else "of nobody is it known"
            return replace(blank, n=None if drains else 0, kept_back=bool(drains), note=few)
        told, found = f"{int(rows.sum())} forecasts" + (f"; {note}" if note else ""), self.drawn(figure, rows)
        return replace(blank, estimate=found, note=told if found.value is not None else NOT_TO_TELL)


def _inside(key: str, found: _Told) -> list[Figure]:
    """Whether the range from q10 to q90 held what came, both cut at the horizon that the forecast was tried to."""
    low, high = (np.fmin(found.column(name), found.horizon) for name in ("q10_h", "q90_h"))
    low, high = (np.where(np.isnan(one), found.horizon, one) for one in (low, high))
    held = within(
        low - STEP_H, high, np.minimum(found.earliest, found.horizon), np.minimum(found.latest, found.horizon)
    )
    untold = np.isnan(held)
    every = np.ones(len(held), np.bool_)
    ends = np.where(np.isnan(found.column("q90_h")), 1.0, 0.9) - np.where(
        np.isnan(found.column("q10_h")), np.fmax(found.column(f"by_{BY_HOURS[-1]}h"), 0.0), 0.1
    )
    note = (
        f"of {int(untold.sum())} it cannot be told; by the chances told it should be {100.0 * np.nanmean(ends):.0f} %"
    )
    return [
        found.figure(
            f"forecast_{key}_inside_{word.replace(' ', '_')}", f"The 80 % range told held what came, {word}", "%",
            lambda rows, fill=fill: float(100.0 * np.where(untold[rows], fill, held[rows]).mean()), every, note,  # type: ignore[misc]
        )
        for word, fill in (("at least", 0.0), ("at most", 1.0))
    ]  # fmt: skip


def _reached(key: str, found: _Told) -> list[Figure]:
    """By the hour told for a share of the chance, that share should have come. Where several shares are told for one
    moment nothing of the kind is promised, so forecasts of a run about to be full are left out."""
    hours = np.stack([found.column(name) for name in QUANTILES], axis=1)
    shares = np.array(list(SHARES.values()))
    with np.errstate(invalid="ignore"):
        apart = np.isfinite(hours[:, 0]) & ~((np.diff(hours, axis=1) < JUMP_H).any(axis=1))
    places, ended = np.zeros(len(hours)), np.zeros(len(hours), np.bool_)
    for row in np.flatnonzero(apart):
        known = np.isfinite(hours[row])
        grid, chance = np.append(0.0, hours[row][known]), np.append(0.0, shares[known])
        places[row], ended[row] = place_in_forecast(grid, chance, float(found.time[row]), bool(found.ended[row]))
    note = "without those of a run about to be full" if not apart.all() else ""

    def came(rows: NDArray[np.int64], share: float) -> float:
        return float(100.0 * reached(places[rows], ended[rows], [share]).came[0])

    return [
        found.figure(
            f"forecast_{key}_by_q{round(100 * share)}",
            f"Came by the hour told for {100 * share:.0f} % of the chance", "%",
            lambda rows, share=share: came(rows, share), apart, note,  # type: ignore[misc]
        )
        for share in BY_SHARES
    ]  # fmt: skip


def _chances(key: str, found: _Told, hours: int) -> list[Figure]:
    """Of the chance told that it comes within so many hours."""
    told, time, ended = found.column(f"by_{hours}h"), found.time, found.ended
    known = ~np.isnan(told)
    short = int((known & ~ended & (time < hours)).sum())
    note = f"{short} followed no further before then" if short else ""

    def off(rows: NDArray[np.int64]) -> float:
        return 100.0 * (came_by(time[rows], ended[rows], hours) - float(told[rows].mean()))

    return [
        found.figure(
            f"forecast_{key}_off_{hours}h", f"Within {hours} h: came, less told", "% points", off, known, note
        ),
        found.figure(
            f"forecast_{key}_brier_{hours}h", f"Within {hours} h: Brier score", "",
            lambda rows: brier_by(told[rows], time[rows], ended[rows], hours), known, note,
        ),
        found.figure(
            f"forecast_{key}_slope_{hours}h", f"Within {hours} h: calibration slope", "",
            lambda rows: slope_by(told[rows], time[rows], ended[rows], hours), known & (told > 0.0) & (told < 1.0),
            "without chances of 0 and 1",
        ),
    ]  # fmt: skip


def _marks(found: _Told, hours: int, least: int) -> list[Mark]:
    """By bins of the chance told, set beforehand; what came by Kaplan-Meier within each."""
    told, time, ended = found.column(f"by_{hours}h"), found.time, found.ended
    marks = []
    for low, high in pairwise(EDGES):
        rows = (told >= low) & ((told < high) | ((high == EDGES[-1]) & (told <= high)))
        drains = len(np.unique(found.drains[rows]))
        if not drains:
            continue
        mark = Mark(hours, low, high, None, None, None, Estimate(None, None, None, found.rules.level, ""))
        if drains >= least:
            came = found.drawn(lambda some: 100.0 * came_by(time[some], ended[some], hours), rows)
            mark = Mark(
                hours, low, high, int(rows.sum()), drains, 100.0 * float(told[rows].mean()), bounded(came, drains)
            )
        marks.append(mark)
    return marks


def bounded(came: Estimate, drains: int) -> Estimate:
    """Where it came to nobody, or to all, drawing again shows no chance: the exact bound of as many drains stands."""
    if came.value not in (0.0, 100.0):
        return came
    reach = 100.0 * (highest_share(0, drains, came.level) or 1.0)
    low, high = (0.0, reach) if came.value == 0.0 else (100.0 - reach, 100.0)
    return Estimate(came.value, low, high, came.level, f"exact, one-sided, of {drains} drains")


def _withheld(kept: polars.DataFrame, rules: Rules) -> tuple[tuple[str, int | None, int | None], ...]:
    """Of all clauses together; reasons of too few drains stand as one."""
    mine = kept.filter(
        polars.col("measure").is_null(), ~polars.col("held"), polars.col("withheld_because").is_not_null()
    )
    rows: list[tuple[str, int, Sequence[Any]]] = [
        (str(reason), len(part), part["drain"].unique().to_list())
        for (reason,), part in sorted(mine.group_by("withheld_because"), key=lambda one: str(one[0][0]))
    ]
    often = [row for row in rows if len(row[2]) >= rules.fewest]
    rare = [row for row in rows if len(row[2]) < rules.fewest]
    told: list[tuple[str, int | None, int | None]] = [(why, n, len(whose)) for why, n, whose in often]
    told.sort(key=lambda row: -(row[1] or 0))
    if rare:
        whose = {drain for _, _, some in rare for drain in some}
        shown = len(whose) >= rules.fewest
        told.append(("other reasons", sum(n for _, n, _ in rare) if shown else None, len(whose) if shown else None))
    return tuple(told)
