"""A rule, two rules, or a grid of rules, over a whole cohort: drain by drain, and added up with what is not known."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from slackwater.audit.case import Case
from slackwater.audit.cohort import Cohort, read_case
from slackwater.audit.engines import Failed, Over, each
from slackwater.audit.first_hold import NEVER
from slackwater.audit.grid import tried
from slackwater.audit.replay import CANNOT_TELL, MET, NEVER_MET, OUTSIDE, Replayed, replay
from slackwater.audit.rules import ByRule
from slackwater.audit.statistics.bootstrap import bootstrap
from slackwater.audit.statistics.ends import count_ends
from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.intervals import share
from slackwater.audit.statistics.survival import kaplan_meier, time_until
from slackwater.audit.variants import Grid, Variant
from slackwater.protocol.rule import Protocol
from slackwater.quantities.spans import HOUR_MS

DRAWS = 1000
WHAT_IT_CANNOT_SHOW = (
    "A replay cannot show what would have happened. A drain that stayed in is not a drain that came out: whether air "
    "or fluid would have done harm after an earlier removal is not in the record. It shows when a rule would have "
    "held, and what the drain, still in, recorded after that; hours that were not recorded show no air, so 'air again' "
    "is the least there was. Chart rows count from their own time, not from when they were written. Drains that came "
    "out before a rule held tell nothing of how long it would have taken."
)


@dataclass(frozen=True)
class Summed:
    """One rule over a cohort. Hours; every figure with its interval, patients drawn again where drains repeat.

    met, cannot_tell, never: drains; outside: for which the rule is not made; failed: that could not be read.
    to_met: from connection to the first moment it held, the median of all drains that the rule is for; one that came
    out before, or whose record stops telling, is followed up to then. saved: from then to the removal, of planned
    removals alone. came_back: of the drains in which it held, those with air recorded again while they were in; of_all:
    of all that the rule is for, so that rules that held in different drains can be set side by side.
    """

    told: str
    drains: int
    met: int
    cannot_tell: int
    never: int
    outside: int
    failed: int
    out_before: int
    to_met_h: Estimate
    saved_h: Estimate
    saved_total_h: float
    came_back: Estimate
    came_back_of_all: Estimate
    came_back_largest: float | None
    came_back_after_h: float | None
    watched: float | None


@dataclass(frozen=True)
class Row:
    """What one drain adds to the sums: hours, NaN where there is none."""

    drain: str
    patient: str
    verdict: str
    to_met_h: float
    told_h: float  # from connection up to when the record surely says that it was not met; NaN where it was
    saved_h: float
    back_h: float
    largest: float
    out_before: bool
    watched_h: float = 0.0  # of the hours after it was met, those that are known
    after_h: float = 0.0  # all of them


def replay_rule(cohort: Cohort, by: ByRule, over: Over = map) -> Iterator[Row | Failed]:
    """Every drain under one rule, or its own, in order."""
    yield from each(over, partial(_replayed, cohort, by), cohort.drains)


def compared(cohort: Cohort, one: ByRule, other: Protocol, over: Over = map) -> Iterator[tuple[Row, Row] | Failed]:
    """Every drain under both rules, in order."""
    yield from each(over, partial(_both, cohort, one, other), cohort.drains)


def replay_grid(cohort: Cohort, rule: Protocol, grid: Grid, over: Over = map) -> Iterator[list[Row] | Failed]:
    """Every drain under every variant, in the order of `grid.variants()`."""
    yield from each(over, partial(_tried, cohort, rule, grid), cohort.drains)


def row_of(case: Case, found: Replayed) -> Row:
    planned = case.outcome.removal == "planned"
    back = found.came_back
    nan = float("nan")
    return Row(
        found.drain, found.patient, found.verdict,
        nan if found.first_ms is None else (found.first_ms - case.from_ms) / HOUR_MS,
        nan if found.told_until_ms is None else (found.told_until_ms - case.from_ms) / HOUR_MS,
        nan if found.saved_h is None or not planned else found.saved_h,
        nan if back is None else back.hours, nan if back is None else back.largest_ml_per_min,
        found.verdict not in (MET, OUTSIDE) and case.outcome.removed_ms is not None, found.watched_h, found.after_h,
    )  # fmt: skip


def told_apart(found: Iterable[Row | Failed]) -> tuple[list[Row], list[Failed]]:
    """Rows, and the drains that failed."""
    whole = list(found)
    return [one for one in whole if isinstance(one, Row)], [one for one in whole if isinstance(one, Failed)]


def summed(told: str, rows: Sequence[Row], failed: int, seed: int = 1) -> Summed:
    """One rule's rows added up."""
    verdicts = [row.verdict for row in rows]
    met = [row for row in rows if row.verdict == MET]
    patients = [row.patient for row in met]
    saved, back, largest = (np.array([getattr(row, name) for row in met]) for name in ("saved_h", "back_h", "largest"))
    came = np.isfinite(back)
    return Summed(
        told, len(rows) + failed, len(met), verdicts.count(CANNOT_TELL),
        len(verdicts) - len(met) - verdicts.count(CANNOT_TELL) - verdicts.count(OUTSIDE), verdicts.count(OUTSIDE),
        failed, sum(row.out_before for row in rows),
        _until_met(rows), _median(saved, patients, seed), float(np.nansum(saved)),
        share(int(came.sum()), len(met)), share(int(came.sum()), len(rows) - verdicts.count(OUTSIDE)),
        float(np.nanmax(largest)) if came.any() else None, float(np.nanmedian(back)) if came.any() else None,
        sum(row.watched_h for row in met) / after if (after := sum(row.after_h for row in met)) else None,
    )  # fmt: skip


def summed_grid(grid: Grid, found: Iterable[list[Row] | Failed], seed: int = 1) -> list[tuple[Variant, Summed]]:
    """Every variant added up over the drains."""
    whole = list(found)
    failed = sum(isinstance(one, Failed) for one in whole)
    drains = [one for one in whole if not isinstance(one, Failed)]
    return [
        (variant, summed(variant.told, [rows[place] for rows in drains], failed, seed))
        for place, variant in enumerate(grid.variants())
    ]


def _replayed(cohort: Cohort, by: ByRule, drain: str) -> Row:
    case = read_case(cohort.shelf, drain)
    return row_of(case, replay(case, by.needed(case.about.protocol_sha256, drain)))


def _both(cohort: Cohort, one: ByRule, other: Protocol, drain: str) -> tuple[Row, Row]:
    case = read_case(cohort.shelf, drain)
    first = replay(case, one.needed(case.about.protocol_sha256, drain))
    return row_of(case, first), row_of(case, replay(case, other))


def _tried(cohort: Cohort, rule: Protocol, grid: Grid, drain: str) -> list[Row]:
    case = read_case(cohort.shelf, drain)
    return grid_rows(case, rule, grid)


def grid_rows(case: Case, rule: Protocol, grid: Grid) -> list[Row]:
    """One drain under every variant."""
    found = tried(case, rule, grid)
    told, planned, out = case.about, case.outcome.removal == "planned", case.outcome.removed_ms
    nan = float("nan")
    rows = []
    for place, (first, verdict) in enumerate(zip(found.first_ms.tolist(), found.verdict, strict=True)):
        held = first != NEVER
        until = int(found.could_ms[place]) if verdict == CANNOT_TELL else case.until_ms
        rows.append(
            Row(
                told.drain, told.patient, verdict, (first - case.from_ms) / HOUR_MS if held else nan,
                (until - case.from_ms) / HOUR_MS if verdict in (CANNOT_TELL, NEVER_MET) else nan,
                (out - first) / HOUR_MS if held and planned and out is not None else nan,
                float(found.came_back_h[place]), float(found.largest_ml_per_min[place]),
                verdict not in (MET, OUTSIDE) and out is not None, float(found.watched_h[place]),
                (case.until_ms - first) / HOUR_MS if held else 0.0,
            )
        )  # fmt: skip
    return rows


def _until_met(rows: Sequence[Row]) -> Estimate:
    """Hours, worked out in whole minutes."""
    asked = [row for row in rows if row.verdict != OUTSIDE]
    met = [row.verdict == MET for row in asked]
    hours = [row.to_met_h if held else row.told_h for row, held in zip(asked, met, strict=True)]
    ends = count_ends(np.rint(60 * np.array(hours)).astype(np.int64), np.array(met, np.int64))
    found = time_until(kaplan_meier(ends))
    value, low, high = (None if one is None else one / 60 for one in (found.value, found.low, found.high))
    return Estimate(value, low, high, found.level, found.method)


def _median(values: NDArray[np.float64], patients: Sequence[str], seed: int) -> Estimate:
    """The median of what is known, with its interval by drawing patients again."""
    known = np.isfinite(values)
    chosen, whose = values[known], [one for one, told in zip(patients, known, strict=True) if told]
    return bootstrap(
        lambda rows: float(np.median(chosen[rows])) if len(rows) else float("nan"), whose,
        np.random.default_rng(seed), draws=DRAWS, method="percentile",
    )  # fmt: skip
