"""One draw of an exercise: the same numbers give the same drain, another draw gives another."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from slackwater.assessment.assess import assess
from slackwater.assessment.assessment import Assessment
from slackwater.episode.chart import read_chart
from slackwater.episode.episode import read_episode
from slackwater.episode.types import Episode
from slackwater.errors import UsageError
from slackwater.quantities.spans import MINUTE_MS
from slackwater.reading.layout import Layout
from slackwater.reading.log import NONE, Log
from slackwater.reading.read import read_log
from slackwater.simulate import Scenario, Stay, simulate
from slackwater.simulate.chart import chart_csv
from slackwater.simulate.zone import zone_of
from slackwater.teach.charted import OWN
from slackwater.teach.exercise import Case, Exercise
from slackwater.teach.facts import Facts, true_answers

MOST_DRAW = 1_000_000_000


@dataclass(frozen=True, eq=False)
class Drawn:
    """An exercise's question, asked of one invented drain. Moments and evidence are UTC ms."""

    exercise: Exercise
    draw: int
    case: Case
    stay: Stay
    moments_ms: tuple[int, ...]
    evidence_ms: tuple[int, int]

    @cached_property
    def logs(self) -> tuple[Log, ...]:
        layout = Layout.from_toml(self.stay.layout_toml, "layout.toml")
        return tuple(read_log(log, layout, f"log-{n}.csv", 1.0) for n, log in enumerate(self.stay.logs, start=1))

    @cached_property
    def episode(self) -> Episode:
        """As its file says, without what the exercise says that nobody wrote."""
        found = read_episode(self.stay.episode_toml.encode(), "episode.toml")
        if "weight" in self.case.unwritten:
            found = replace(found, weight_kg=None)
        if self.case.beside:
            found = replace(found, shares_space_with=(self.case.beside,), shares_space_told=True)
        return found

    def known_at(self, moment: int) -> Assessment:
        """The drain as it would have been known at that moment; nothing later is in it."""
        zone = self.stay.scenario.zone
        return assess(
            self.logs, chart=read_chart(self.stay.chart_csv.encode(), "chart.csv", zone),
            episode=self.episode,
            protocol=self.exercise.protocol, now_ms=self.moment_ms(moment), zone=zone,
        )  # fmt: skip

    def moment_ms(self, moment: int) -> int:
        if not 0 <= moment < len(self.moments_ms):
            raise UsageError(
                f"no moment {moment + 1} of {self.exercise.name!r}", mend=f"There are {len(self.moments_ms)}."
            )
        return self.moments_ms[moment]

    def facts(self, moment: int) -> Facts:
        """What was truly so then."""
        start = self.stay.scenario.start_s * 1000
        minute = (self.moment_ms(moment) - start) // MINUTE_MS - 1
        return Facts(
            self.stay, minute, self.exercise.protocol, self.exercise.walk_min, self.charge_percent(moment),
            self.exercise.margin, (OWN, self.case.beside) if self.case.beside else (OWN,),
        )  # fmt: skip

    def truth(self, moment: int) -> str:
        """The answer that is true then."""
        found = true_answers(self.exercise.truth, self.facts(moment))
        if len(found) != 1:
            raise UsageError(
                f"{' and '.join(found) or 'no answer'} true of draw {self.draw}, case {self.case.id!r}",
                where=f"exercise {self.exercise.name!r}", mend="Write [truth] so that exactly one answer holds.",
            )  # fmt: skip
        return found[0]

    def charge_percent(self, moment: int) -> float | None:
        """The charge that the unit last showed; None where its log has none."""
        for log in reversed(self.logs):
            if log.battery_percent is None:
                continue
            upto = log.battery_percent[: int(np.searchsorted(log.time_ms, self.moment_ms(moment), side="right"))]
            shown = upto[upto != NONE]
            if len(shown):
                return float(shown[-1])
        return None


def draw(exercise: Exercise, number: int) -> Drawn:
    """The drain of that draw."""
    if not 0 < number <= MOST_DRAW:
        raise UsageError(f"{number} is no draw", mend=f"Draws are 1 to {MOST_DRAW}.")
    rng = np.random.default_rng([*_seed(exercise.name), number])
    case = exercise.cases[int(rng.integers(len(exercise.cases)))]
    later_h = round(float(rng.uniform(0.0, exercise.shift_h)) * 60.0) / 60.0
    scale = float(np.exp(rng.uniform(*np.log(exercise.flow))))
    plan = _varied(case.scenario, later_h, scale, number, rng)
    stay = _as_charted(simulate(plan, int(rng.integers(2**31))), case)
    start = plan.start_s * 1000
    return Drawn(
        exercise, number, case, stay, tuple(_at(start, hours + later_h) for hours in case.moments_h),
        (_at(start, case.evidence_h[0] + later_h), _at(start, case.evidence_h[1] + later_h)),
    )  # fmt: skip


def first_draw(person: str, exercise: str) -> int:
    """Where one learner's draws of an exercise begin, so that two at one desk do not see the same."""
    return int.from_bytes(hashlib.sha256(f"{person}\n{exercise}".encode()).digest()[:3], "big") + 1


def _seed(name: str) -> Sequence[int]:
    return list(hashlib.sha256(name.encode()).digest()[:16])


def _at(start_ms: int, hours: float) -> int:
    return start_ms + round(hours * 60.0) * MINUTE_MS


def _as_charted(stay: Stay, case: Case) -> Stay:
    """The stay with the chart that the case tells of: rows that nobody wrote, and those of the drain beside it."""
    if not case.unwritten and not case.charted:
        return stay
    kept = (one for one in stay.entries if one.at_s < 3600.0 * case.unwritten.get(one.item, math.inf))
    entries = tuple(sorted((*kept, *case.charted), key=lambda one: (one.at_s, one.item)))
    plan = stay.scenario
    text = chart_csv(entries, plan.start_s, zone_of(plan.zone), plan.chart_local)
    return replace(stay, entries=entries, chart_csv=text)


def _varied(plan: Scenario, later_h: float, scale: float, number: int, rng: np.random.Generator) -> Scenario:
    """The whole story told so much later, with a leak of another size, in another patient."""
    course = replace(
        plan.course, flow_ml_per_min=plan.course.flow_ml_per_min * scale,
        effort_ml_per_min=plan.course.effort_ml_per_min * scale, lasting_h=plan.course.lasting_h + later_h,
    )  # fmt: skip
    first, *later = plan.suction
    exchange = plan.exchange
    patient = replace(plan.patient, id=f"PRACTICE-{number}")
    if patient.side != "midline":
        patient = replace(patient, side="left" if rng.random() < 0.5 else "right")
    return replace(
        plan, hours=plan.hours + later_h, course=course, patient=patient,
        suction=(first, *(replace(step, at_h=step.at_h + later_h) for step in later)),
        faults=tuple(replace(one, start_h=one.start_h + later_h, end_h=one.end_h + later_h) for one in plan.faults),
        exchange=None if exchange is None else replace(exchange, at_h=exchange.at_h + later_h),
    )  # fmt: skip
