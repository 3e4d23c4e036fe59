"""A past drain as it is kept for learning: what any rule may ask about it, and how it went."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.assessment.fluid import amounts_of, fluid_records
from slackwater.assessment.vetoes import effort_vetoes
from slackwater.episode.fluid.record import FluidRecord
from slackwater.episode.space import SCOPES
from slackwater.leak.effort import Effort, tries
from slackwater.leak.state import swing_nearby
from slackwater.leak.words import REASONS
from slackwater.protocol.facts import Facts, Flags, Try
from slackwater.protocol.rule import Protocol
from slackwater.quantities.spans import MINUTE_MS

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Hold:
    """A time in which the drain was kept for a coded reason. UTC ms; to None: until it came out."""

    reason: str
    from_ms: int
    to_ms: int | None


@dataclass(frozen=True)
class Outcome:
    """How it went. None is 'not known', never 'no'. UTC ms."""

    removed_ms: int | None = None  # None: still in, or nobody wrote it down
    removal: str | None = None  # planned, unplanned, in_theatre, exchanged, patient_died, transferred
    against_rule_because: str | None = None  # a person gave a reason to remove although the rule was not met
    holds: tuple[Hold, ...] = ()
    back_ms: int | None = None  # the next drain into the same space was connected
    followed_until_ms: int | None = None  # what came after the removal is known so far


@dataclass(frozen=True)
class About:
    """What tells one drain from another in an audit; no name, no number of the hospital."""

    drain: str  # a pseudonym
    patient: str  # a pseudonym: drains of one patient are not independent
    ward: str | None = None
    indication: str | None = None
    operation: str | None = None
    space: str | None = None
    side: str | None = None
    age_years: float | None = None
    order: int = 0  # place by time of connection
    protocol: str | None = None  # name and version of the rule that was pinned to it
    protocol_sha256: str | None = None


@dataclass(frozen=True, eq=False)
class Case:
    """One drain. `facts` hold everything but efforts seen in the trace, which depend on the limit asked about.

    Arrays of minutes lie on the grid of `facts`: n values each.
    """

    about: About
    outcome: Outcome
    facts: Facts
    records: Mapping[str, tuple[FluidRecord, ...]]  # by scope
    burst: Floats  # size of a burst of flow in the minute, mL/min; NaN: none
    cough: Flags  # a cough seen in the pressure, with the tube shown open around it
    pressure: Floats  # mean, cmH2O; NaN: not recorded
    reason: NDArray[np.int8]  # leak.words.REASONS
    flow: Floats  # mean of recorded flow, mL/min; NaN: not recorded
    step_ml_per_min: float = 0.0  # what the display can tell apart; 0: not known, or no log
    ordered: tuple[tuple[int, float], ...] = ()  # suction ordered: from (UTC ms), cmH2O

    @property
    def until_ms(self) -> int:
        """Up to when the drain was in, as far as is known."""
        return self.outcome.removed_ms if self.outcome.removed_ms is not None else self.facts.now_ms

    @property
    def from_ms(self) -> int:
        """Since when it was in, as far as is known."""
        return self.facts.connected_ms if self.facts.connected_ms is not None else self.facts.grid_start_ms


def case_of(found: Assessment, about: About, outcome: Outcome) -> Case:
    """What is kept of a drain that was judged as of its removal (or of its last reading)."""
    facts, leak = found.facts, found.leak_trace
    n = facts.length
    charted = tuple(one for one in facts.tries if one.source == "charted")
    blank = np.full(n, np.nan)
    if leak is None:
        burst, cough, pressure, flow = blank, np.zeros(n, np.bool_), blank, blank
        reason = np.full(n, REASONS.index("missing"), np.int8)
    else:
        burst, pressure, flow = leak.found.size[:n], leak.minutes.pressure[:n], leak.minutes.flow[:n]
        cough = (leak.found.cough & swing_nearby(leak.open_shown))[:n]
        reason = leak.doubt.reason[:n]
    records = {
        scope: kept for scope in SCOPES if (kept := fluid_records(found.episode, found.chart, found.trace, scope))
    }
    vetoes = tuple(one for one in facts.vetoes if one not in effort_vetoes(facts.tries))
    step = 0.0 if found.trace is None else max(log.flow_step_ul_per_min for log in found.trace.logs) / 1000
    return Case(
        about, outcome, replace(facts, tries=charted, vetoes=vetoes, amounts={}), records, burst, cough, pressure,
        reason, flow, step, leak.handled.ordered if leak is not None else (),
    )  # fmt: skip


def facts_for(case: Case, rule: Protocol) -> Facts:
    """The facts as this rule sees them: what counts as a leak on effort depends on its limit."""
    air = rule.air_clause
    limit = air.limit if air is not None and air.limit is not None else (case.step_ml_per_min or 1.0)
    return facts_at(case, limit, waived=rule.guards_waived)


def facts_at(case: Case, limit_ml_per_min: float, *, waived: bool) -> Facts:
    """The facts with a leak on effort counted from `limit_ml_per_min`; waived: the rule asks nothing of effort."""
    facts = case.facts
    with np.errstate(invalid="ignore"):
        burst = case.burst >= limit_ml_per_min
    seen = tries(Effort(burst, case.cough, facts.cough_visible, case.burst), case.cough)
    ends = facts.grid_start_ms + MINUTE_MS * (np.flatnonzero(seen) + 1)
    shown = [Try(int(end), bool(code > 0), "trace") for end, code in zip(ends, seen[seen != 0], strict=True)]
    efforts = tuple(sorted((*facts.tries, *shown), key=lambda one: one.time_ms))
    vetoes = (*facts.vetoes, *effort_vetoes(efforts)) if waived else facts.vetoes
    amounts = {("fluid_output", scope): amounts_of(records) for scope, records in case.records.items()}
    return replace(facts, tries=efforts, vetoes=vetoes, amounts=amounts)
