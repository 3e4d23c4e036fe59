"""When drains end, and how: by which day they are out, where death or transfer may come first; and how long after the
rule first held. Read by whole days or hours; a curve ends where fewer are left than may be shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from slackwater.audit.figures import Counts, Rules, gives_away
from slackwater.audit.measures import Measured
from slackwater.audit.statistics.competing import cumulative_incidence
from slackwater.audit.statistics.ends import Ends, count_ends
from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.survival import kaplan_meier, restricted_mean, time_until

PLANNED, DIED, OTHERWISE = 1, 2, 3
CAUSES = {PLANNED: "taken out as planned", DIED: "died with the drain", OTHERWISE: "ended otherwise"}
TOGETHER = {PLANNED: CAUSES[PLANNED], OTHERWISE: "any other end"}  # where deaths are kept back
MET_HOURS = 72
MEAN_HOURS = 24  # the mean counts no more: a few long stays would make it. Ours
DAYS = 14


@dataclass(frozen=True)
class Line:
    """Shares in per cent at `at`; low and high NaN where the formula says nothing."""

    name: str
    at: tuple[float, ...]
    value: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True)
class Curves:
    """Lines over `unit`; ends_at: the last time at which enough were left to be shown."""

    key: str
    title: str
    unit: str
    n: int | None  # None: kept back, for it would give away how few are not among them
    untold: int
    lines: tuple[Line, ...]
    ends_at: float | None
    median: Estimate | None
    note: str
    mean: Estimate | None = None  # counting no more than the hours that its method names


def ends_out(drains: Sequence[Measured], *, apart: bool) -> Ends:
    """From connection, whole minutes, by cause; apart: whether deaths are one of their own. Those of whom the
    connection or the kind of end is not known are left out."""
    told = [one for one in drains if one.connected_ms is not None and (not one.removed or one.removal is not None)]
    return count_ends(
        np.array([max(round(one.in_h * 60), 0) for one in told], np.int64),
        np.array([_cause(one, apart) for one in told], np.int64), causes=len(CAUSES),
    )  # fmt: skip


def ends_after_met(drains: Sequence[Measured]) -> Ends:
    """From the rule first met to the planned removal, whole minutes; any other end: followed no further."""
    met = [(one.in_h - one.first_met_h, one.planned) for one in drains if one.first_met_h is not None]
    return count_ends(
        np.array([round(60 * hours) for hours, _ in met], np.int64), np.array([int(out) for _, out in met], np.int64)
    )


def out_by_day(drains: Sequence[Measured], rules: Rules, ended: Counts) -> Curves:
    """From connection. Whoever is still in is followed no further; any end but planned or death is 'otherwise'.

    ended: how drains ended, as shown. A curve ends at its share of all, so what is kept back there has no line here.
    """
    apart = not ended.hides(CAUSES[DIED])
    causes = {} if ended.hides("planned") else CAUSES if apart else TOGETHER
    ends = ends_out(drains, apart=apart)
    days = np.arange(DAYS + 1)
    left = ends.at_risk
    lines = []
    at = days[[k == 0 or (k * 1440 < len(left) and left[k * 1440] >= max(rules.fewest, 1)) for k in days.tolist()]]
    for cause, name in causes.items():
        found = cumulative_incidence(ends, cause)
        if not ends.n or not ends.ended(cause).sum() or ends.ended(cause).sum() < rules.fewest:
            continue
        minutes = at * 1440
        low, high = found.interval_at(minutes, rules.level)
        lines.append(Line(name, *_told(at, found.at(minutes), low, high)))
    return Curves(
        "out_by_day", "Out by day", "days from connection", ends.n, len(drains) - ends.n, tuple(lines),
        float(at[-1]) if ends.n else None, None,
        "Aalen-Johansen: the share that ended so by then, where another end may come first. One minus a plain survival "
        "curve would say too much. An end with too few drains has no line; a step may be a single drain.",
    )  # fmt: skip


def met_to_removed(drains: Sequence[Measured], rules: Rules) -> Curves:
    """From the first moment the rule held to the planned removal; whoever ended otherwise is followed no further."""
    ends = ends_after_met(drains)
    n = ends.n
    curve = kaplan_meier(ends)
    left = ends.at_risk
    at = np.array(
        [h for h in range(MET_HOURS + 1) if h == 0 or (h * 60 < len(left) and left[h * 60] >= max(rules.fewest, 1))]
    )
    lines: tuple[Line, ...] = ()
    median = mean = None
    if n >= max(rules.fewest, 1):
        low, high = curve.interval_at(at * 60, rules.level)
        lines = (Line("not yet taken out", *_told(at, curve.at(at * 60), low, high)),)
        found = time_until(curve, level=rules.level)
        value, low_h, high_h = (None if one is None else one / 60 for one in (found.value, found.low, found.high))
        median = Estimate(value, low_h, high_h, found.level, found.method)
        whole = restricted_mean(curve, min(MEAN_HOURS, int(at[-1])) * 60, rules.level)
        value, low_h, high_h = (None if one is None else one / 60 for one in (whole.value, whole.low, whole.high))
        mean = Estimate(value, low_h, high_h, whole.level, f"mean of the first {min(MEAN_HOURS, int(at[-1]))} h")
    return Curves(
        "met_to_removed", "From the rule first met to the planned removal", "hours after it first held",
        None if gives_away(n, len(drains), rules) else n, 0,
        lines, float(at[-1]) if lines else None, median,
        "Kaplan-Meier; drains that ended otherwise, or are still in, count as followed up to then. Coded holds are not "
        "taken off here.", mean,
    )  # fmt: skip


def _cause(one: Measured, apart: bool) -> int:
    if not one.removed:
        return 0
    return {"planned": PLANNED, "patient_died": DIED if apart else OTHERWISE}.get(one.removal or "", OTHERWISE)


def _told(at: np.ndarray, *columns: np.ndarray) -> tuple[tuple[float, ...], ...]:
    return (tuple(at.astype(float).tolist()), *(tuple((100.0 * column).tolist()) for column in columns))
