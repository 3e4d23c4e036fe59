"""What was truly so at a moment of an invented stay: from the simulator alone, never from what we conclude of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from slackwater.errors import UsageError
from slackwater.protocol.rule import Protocol, TripMargin
from slackwater.simulate import Stay
from slackwater.simulate.fault import SHUT
from slackwater.simulate.suction import ordered
from slackwater.teach.charted import OWN, amount, clause_on, film, recent, rows_at

HIDING = SHUT | {
    "off", "battery", "dropout", "blank", "stuck", "zero_shift", "limb_blocked", "exchange", "clock_back", "dst",
}  # fmt: skip
"""Faults behind which a log shows nothing of the lung, or nothing that can be placed in time."""

SPELL_MIN = 120  # over which the leak before and after is compared (ours)
GONE_MIN = 360  # without a leak, from which its return is one (ours; as leak/filter/pattern.py has it)
SWING_SHOWS_CMH2O = 0.3  # less than this nobody sees (ours; as simulate/chart.py has it)


@dataclass(frozen=True, eq=False)
class Facts:
    """The truth of `stay` at the end of minute `minute` (counted from connection)."""

    stay: Stay
    minute: int
    protocol: Protocol | None = None
    walk_min: float | None = None
    charge_percent: float | None = None  # as the unit's log last had it
    margin: TripMargin | None = None
    drains: tuple[str, ...] = (OWN,)  # of the same space

    @property
    def faults(self) -> frozenset[str]:
        return frozenset(self.stay.truth.faults[self.minute])

    @property
    def leaking(self) -> bool:
        """At rest."""
        return bool(self.stay.truth.conductance_ml_per_min_per_cmh2o[self.minute] > 0.0)

    @property
    def effort(self) -> bool:
        """A leak that effort opens."""
        return bool(self.stay.truth.effort_conductance_ml_per_min_per_cmh2o[self.minute] > 0.0)

    @property
    def run_min(self) -> int:
        """Minutes up to now in which less air than the rule's limit left the lung, and all of it by an open tube."""
        if self.protocol is None or self.protocol.air_clause is None or self.protocol.air_clause.limit is None:
            raise UsageError("the run is asked of no rule", where="truth", mend="Name a protocol with an air clause.")
        truth, limit = self.stay.truth, float(self.protocol.air_clause.limit)
        air = truth.leak_rest_ml_per_min + truth.leak_effort_ml_per_min
        mean = np.convolve(air, np.ones(10) / 10.0, mode="same")  # as the rule's ten-minute means
        return _run(mean < limit, self.minute)

    @property
    def hidden_min(self) -> int:
        """How many of the rule's minutes up to now lie behind a fault."""
        names = self.stay.truth.faults[max(0, self.minute + 1 - self.asked_min) : self.minute + 1]
        return sum(bool(HIDING & set(here)) for here in names)

    @property
    def asked_min(self) -> int:
        """How long the rule wants it, in minutes."""
        clause = None if self.protocol is None else self.protocol.air_clause
        return 0 if clause is None or clause.lasting_s is None else round(clause.lasting_s / 60.0)

    @property
    def kept(self) -> float:
        """How leaky the lung is over the last two hours, as a share of the two before the last change or fault."""
        turn = self._turn()
        leaky = self.stay.truth.conductance_ml_per_min_per_cmh2o
        before = float(leaky[max(0, turn - SPELL_MIN) : turn].mean())
        after = float(leaky[max(turn, self.minute + 1 - SPELL_MIN) : self.minute + 1].mean())
        return after / before if before > 0.0 else 1.0

    def _turn(self) -> int:
        plan = self.stay.scenario
        at = [round(step.at_h * 60.0) for step in plan.suction[1:]] + [round(one.start_h * 60.0) for one in plan.faults]
        past = [one for one in at if SPELL_MIN <= one <= self.minute]
        return max(past, default=max(SPELL_MIN, self.minute - 6 * 60))

    @property
    def stepped(self) -> bool:
        """Suction was changed since connection."""
        steps = self.stay.scenario.suction
        return ordered(steps, 60.0 * self.minute) is not steps[0]

    @property
    def look(self) -> str:
        """Of the fluid."""
        return self.stay.scenario.fluid.appearance(self.minute / 60.0)

    @property
    def at_s(self) -> float:
        """Since connection."""
        return 60.0 * (self.minute + 1)

    @property
    def amount(self) -> str:
        """Fluid over the rule's hours, by the chart: 'over', 'under' or 'unknown'."""
        clause = clause_on(self.protocol, "fluid_output")
        return amount(rows_at(self.stay.entries, self.at_s), self.at_s, clause, self.drains)

    @property
    def film(self) -> str:
        """The last film: 'none', 'old', 'before' or 'current'."""
        changes = [3600.0 * step.at_h for step in self.stay.scenario.suction[1:] if 3600.0 * step.at_h <= self.at_s]
        clause = clause_on(self.protocol, "chest_xray")
        return film(rows_at(self.stay.entries, self.at_s), self.at_s, clause, max(changes, default=None))

    @property
    def observed(self) -> bool:
        """What the rule asks of the patient's signs was charted within its hours."""
        rows = rows_at(self.stay.entries, self.at_s)
        return all(recent(rows, self.at_s, clause_on(self.protocol, sign)) for sign in ("spo2", "distress"))

    @property
    def gone_then_back(self) -> bool:
        leaky = self.stay.truth.conductance_ml_per_min_per_cmh2o[: self.minute + 1] > 0.0
        first = np.flatnonzero(leaky)
        return bool(len(first)) and _longest(~leaky[first[0] :]) >= GONE_MIN and self.leaking

    @property
    def lasts_min(self) -> float:
        """How long the charge that is left lasts, by what a full one of this very battery runs."""
        if self.walk_min is None or self.margin is None or self.charge_percent is None:
            raise UsageError(
                "no charge or no way is known", where="truth", mend="Give walk_min and a unit that logs it."
            )
        return self.charge_percent / 100.0 * self.stay.scenario.unit.battery_runs_min

    @property
    def lasts_the_way(self) -> bool:
        return self.walk_min is not None and self.lasts_min >= self.walk_min

    @property
    def covers(self) -> bool:
        """It lasts as long as the rule's [trip] asks."""
        if self.walk_min is None or self.margin is None:
            return False
        return self.lasts_min >= self.margin.needed_min(self.walk_min)


def _run(flags: Any, minute: int) -> int:
    before = np.flatnonzero(~flags[: minute + 1])
    return minute + 1 - (int(before[-1]) + 1 if len(before) else 0)


def _longest(flags: Any) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max(initial=0))


def _any_of(given: str | Iterable[str]) -> frozenset[str]:
    return frozenset([given] if isinstance(given, str) else given)


CONDITIONS: Mapping[str, Callable[[Facts, Any], bool]] = {
    "leaking": lambda f, yes: f.leaking is yes,
    "effort": lambda f, yes: f.effort is yes,
    "tube_open": lambda f, yes: bool(f.stay.truth.tube_open[f.minute]) is yes,
    "hidden": lambda f, yes: bool(HIDING & f.faults) is yes,
    "fault": lambda f, names: bool(_any_of(names) & f.faults),
    "no_fault": lambda f, yes: (not f.faults) is yes,
    "pattern": lambda f, names: f.stay.truth.pattern in _any_of(names),
    "not_pattern": lambda f, names: f.stay.truth.pattern not in _any_of(names),
    "swing": lambda f, yes: bool(f.stay.truth.swing_cmh2o[f.minute] >= SWING_SHOWS_CMH2O) is yes,
    "run_reached": lambda f, yes: (f.run_min >= f.asked_min) is yes,
    "run_hidden": lambda f, yes: (f.hidden_min > 0) is yes,
    "leaks_as_before": lambda f, yes: (f.kept > 0.7) is yes,
    "stepped": lambda f, yes: f.stepped is yes,
    "came_back": lambda f, yes: f.gone_then_back is yes,
    "lasts_the_way": lambda f, yes: f.lasts_the_way is yes,
    "charge_covers": lambda f, yes: f.covers is yes,
    "operation": lambda f, names: f.stay.scenario.patient.operation in _any_of(names),
    "not_operation": lambda f, names: f.stay.scenario.patient.operation not in _any_of(names),
    "look": lambda f, names: f.look in _any_of(names),
    "not_look": lambda f, names: f.look not in _any_of(names),
    "amount": lambda f, word: f.amount == word,
    "film": lambda f, words: f.film in _any_of(words),
    "observed": lambda f, yes: f.observed is yes,
    "on_suction": lambda f, yes: (ordered(f.stay.scenario.suction, 60.0 * f.minute).level is not None) is yes,
}
"""What may stand in an exercise's truth: name -> whether it holds, given what the file says."""


Truth = Mapping[str, tuple[Mapping[str, Any], ...]]


def true_answers(truth: Truth, facts: Facts) -> tuple[str, ...]:
    """Answers of which every condition of one of their tables holds; a sound exercise has exactly one."""
    return tuple(answer for answer, ways in truth.items() if any(_all_hold(way, facts) for way in ways))


def _all_hold(way: Mapping[str, Any], facts: Facts) -> bool:
    return all(CONDITIONS[name](facts, given) for name, given in way.items())
