"""One rule over one past drain: when it held, what stood in its way, what came after, and what a replay cannot say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.audit.case import Case, facts_for
from slackwater.protocol.evaluate import evaluate
from slackwater.protocol.evaluation import Evaluation
from slackwater.protocol.facts import Signal
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.status import HOLDS, Codes, Status
from slackwater.protocol.windows import SCALE, window_bounds, window_codes
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS

# What a replay can say of a drain.
MET, NEVER_MET, CANNOT_TELL, OUTSIDE = "met", "never met", "cannot tell", "not for this drain"


@dataclass(frozen=True)
class Recurrence:
    """Air that was recorded again after the rule had held, while the drain was still in.

    hours: from the moment the rule held to the first window that broke the air clause's limit for certain; largest: of
    the air clause's own means (or readings) from then on, mL/min, a lower bound of what leaked.
    """

    hours: float
    largest_ml_per_min: float


@dataclass(frozen=True)
class Replayed:
    """One drain under one rule. Hours; None: not known, or there was none.

    first_ms: the first moment it was met. told_until_ms: where it was not, up to when the record surely says so.
    since_ms: from when it was met without a break up to the removal. saved_h: from first_ms to the removal as it was.
    watched_h: how much of the time after first_ms, after_h, is recorded and free of doubt.
    """

    drain: str
    patient: str
    verdict: str
    first_ms: int | None = None
    told_until_ms: int | None = None
    since_ms: int | None = None
    saved_h: float | None = None
    came_back: Recurrence | None = None
    watched_h: float = 0.0
    after_h: float = 0.0
    with_gaps: bool = False


def judged(case: Case, rule: Protocol) -> Evaluation:
    """The rule over the whole stay, at the end of every minute. Looking back: a chart row counts from its own time."""
    return evaluate(rule, facts_for(case, rule))


def replay(case: Case, rule: Protocol) -> Replayed:
    """When the rule first held in this drain, and what the record shows after that."""
    found = judged(case, rule)
    told = case.about
    if found.population.status is Status.NOT_APPLICABLE or found.overall is Status.NOT_APPLICABLE:
        return Replayed(told.drain, told.patient, OUTSIDE)
    codes = found.timeline[: minutes_in(case)]
    met = np.isin(codes, HOLDS)
    if not met.any():
        open_ = np.flatnonzero(codes == Status.CANNOT_TELL)
        if len(open_):
            return Replayed(told.drain, told.patient, CANNOT_TELL, told_until_ms=end_of(case, int(open_[0])))
        return Replayed(told.drain, told.patient, NEVER_MET, told_until_ms=case.until_ms)
    k = int(np.argmax(met))
    first = end_of(case, k)
    out = case.outcome.removed_ms
    seen = known(case)[k + 1 : len(codes)]
    return Replayed(
        told.drain, told.patient, MET, first, since_ms=since(case, codes),
        saved_h=None if out is None else (out - first) / HOUR_MS,
        came_back=_recurrence(case, found, k, len(codes)), watched_h=float(seen.sum()) / 60,
        after_h=(case.until_ms - first) / HOUR_MS, with_gaps=bool(codes[k] == Status.MET_WITH_GAPS),
    )  # fmt: skip


def minutes_in(case: Case) -> int:
    """How many minutes of the grid had ended when the drain came out."""
    facts = case.facts
    return int(np.clip((case.until_ms - facts.grid_start_ms) // MINUTE_MS, 0, facts.length))


def end_of(case: Case, k: int) -> int:
    return case.facts.grid_start_ms + (k + 1) * MINUTE_MS


def since(case: Case, codes: Codes) -> int | None:
    """From when the rule was met without a break to the end of what was recorded; None if it was not met then."""
    good = np.isin(codes, HOLDS)
    if not len(good) or not good[-1]:
        return None
    worse = np.flatnonzero(~good)
    return end_of(case, int(worse[-1]) + 1 if len(worse) else 0)


def known(case: Case) -> NDArray[np.bool_]:
    signal = next(iter(case.facts.signals.values()), None)
    return np.zeros(case.facts.length, np.bool_) if signal is None else signal.known


def _recurrence(case: Case, found: Evaluation, k: int, behind: int) -> Recurrence | None:
    """The first certain break of the air clause after minute k, and the largest leak from then on."""
    air = found.protocol.air_clause
    signal = None if air is None else case.facts.signals.get((air.measure_name, air.scope))
    if air is None or air.limit is None or signal is None or air.comparison not in ("below", "at_most"):
        return None
    codes = window_codes(signal, air.bin_min, air.comparison, air.limit)[:behind]
    first = k + (air.bin_min or 1)  # the first window that lies wholly after the moment
    broken = np.flatnonzero(codes[first:] == Status.NOT_MET)
    if not len(broken):
        return None
    at = first + int(broken[0])
    return Recurrence((end_of(case, at) - end_of(case, k)) / HOUR_MS, float(least_means(signal, air)[at:behind].max()))


def least_means(signal: Signal, air: Clause) -> NDArray[np.float64]:
    """The lower bound of each window's mean (or largest reading), mL/min."""
    low, _, _, _, divisor = window_bounds(signal, air.bin_min, air.comparison, None)
    return np.asarray(low / (np.maximum(divisor, 1) * SCALE))
