"""Everything concluded about one drain at one moment."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from slackwater.assessment.cautions import Caution
from slackwater.assessment.suction_steps import SuctionStep, suction_steps
from slackwater.episode.fluid.charted import fluid_intervals
from slackwater.episode.space import drains_known, this_drain
from slackwater.episode.types import Chart, Episode
from slackwater.leak.filter.model import FilterModel
from slackwater.leak.state import LeakTrace
from slackwater.protocol.evaluation import Evaluation
from slackwater.protocol.facts import Facts
from slackwater.protocol.status import Status
from slackwater.quantities.spans import format_span
from slackwater.reading.log import Ledger
from slackwater.reading.zones import clock_hour
from slackwater.trace.types import Trace

if TYPE_CHECKING:
    from slackwater.forecast.whole import Forecast


@dataclass(frozen=True)
class LeakNow:
    """The leak as last recorded, mL/min; None where it cannot be said."""

    state: str  # leaking, quiet, cannot_tell
    p: float | None  # chance of leaking at or above the limit
    limit: float | None
    low: float | None
    mid: float | None
    high: float | None
    pattern: str | None
    reason: str
    at_ms: int | None  # end of the minute this speaks of
    pattern_says: str = ""  # the pattern in a sentence
    out_of_date: bool = False  # the last reading is older than the rule takes: of now it says nothing


@dataclass(frozen=True)
class DueItem:
    """An observation the rule wants: when it was last charted, and when it is due."""

    item: str
    every_s: float | None  # None: once
    last_ms: int | None
    due_ms: int | None
    overdue: bool
    because: str = ""  # what set the pace: a score, or the event that it counts from

    @property
    def often(self) -> str:
        """How often, in words."""
        return "once" if self.every_s is None else f"every {format_span(self.every_s)}"


@dataclass(frozen=True, eq=False)
class Assessment:
    """The one answer that feeds every screen, sheet and export. There is no yes-or-no in it on purpose."""

    as_of_ms: int
    as_of_last_reading: bool  # nobody named a time: as of the last reading
    data_until_ms: int | None
    episode: Episode
    chart: Chart
    trace: Trace | None
    leak_trace: LeakTrace | None
    facts: Facts
    evaluation: Evaluation | None
    leak: LeakNow
    waiting_for: tuple[str, ...]
    schedule: tuple[DueItem, ...]
    ledger: Ledger
    cautions: tuple[Caution, ...]
    zone: str  # the ward's zone, for doors that print times
    model: FilterModel | None = None  # the leak filter's numbers; None: those that come with the program
    later_entries: bool = False  # chart rows after the last reading are not in the answer
    warnings: tuple[str, ...] = ()  # dangers that the record shows, the gravest first
    notes: tuple[str, ...] = ()  # what a reader must know and no clause says

    @property
    def overall(self) -> Status | None:
        """The whole rule's status; None without a removal rule."""
        if self.evaluation is None or not self.evaluation.protocol.removal:
            return None
        return self.evaluation.overall

    @cached_property
    def forecast(self) -> Forecast | None:
        """When the rule's clauses are likely to hold; never a clause. None without a rule for removal or a log."""
        from slackwater.forecast.fluid import charted_of
        from slackwater.forecast.whole import forecast

        if self.overall is None or self.evaluation is None or self.leak_trace is None or self.data_until_ms is None:
            return None
        known = drains_known(self.episode, self.chart)
        record = fluid_intervals(self.chart, this_drain(self.episode, self.chart), self.episode.connected_at, known)
        standing = [guard.note for guard in self.evaluation.guards if guard.id.startswith("veto") and guard.needs]
        return forecast(
            self.evaluation, self.facts, self.leak_trace.given, self.leak_trace.filtered,
            fluid=charted_of(record, self.data_until_ms), doubt=standing[0] if standing else None, model=self.model,
            first_hour=self.first_hour,
        )  # fmt: skip

    @cached_property
    def suction_steps(self) -> tuple[SuctionStep, ...]:
        """The leak before and after each change of suction, charted or recorded."""
        if self.leak_trace is None:
            return ()
        return suction_steps(self.leak_trace, self.facts.events.get("suction_change", ()))

    @property
    def first_hour(self) -> float | None:
        """Of the ward's clock in the first minute, 0..24: by the zone given, else by that of the log's own stamps."""
        if self.leak_trace is None or self.trace is None:
            return None
        own = self.trace.logs[0].clock_zone or "UTC"
        return clock_hour(self.leak_trace.minutes.start_ms, self.zone if self.zone != "UTC" else own)

    @property
    def doubtful(self) -> bool:
        """Something cannot be told, or is met only with gaps."""
        return bool(self.in_doubt)

    @property
    def in_doubt(self) -> tuple[str, ...]:
        """Everything that cannot be told, or is met only with gaps, by name."""
        blurred = (Status.CANNOT_TELL, Status.MET_WITH_GAPS)
        found = ["the air leak now"] if self.leak.state == "cannot_tell" else []
        if self.evaluation is not None:
            judged = self.evaluation
            found += ["whom the rule is for"] if judged.population.status in blurred else []
            blocks = (("", judged.criteria), ("", judged.guards), ("step-down ", judged.step_down),
                      ("item ", judged.escalation))  # fmt: skip
            for lead, parts in blocks:
                found += [f"{lead}{part.id.replace('_', ' ')}" for part in parts if part.status in blurred]
        if self.later_entries:
            found.append("what was charted after the last reading")
        return tuple(found)


def last_minute(leak: LeakTrace | None, length: int) -> int | None:
    """The last whole minute in which anything was recorded."""
    if leak is None or not length:
        return None
    recorded = np.flatnonzero(leak.minutes.covered[:length] > 0)
    return int(recorded[-1]) if len(recorded) else None
