"""Judge a whole rule over facts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from slackwater.protocol.clauses import judge_clause
from slackwater.protocol.evaluation import Evaluation, Judged, Need, Population
from slackwater.protocol.facts import Facts
from slackwater.protocol.guards import judge_guards
from slackwater.protocol.population import judge_population
from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.status import Codes, Status, all_of, all_of_codes
from slackwater.quantities.spans import MINUTE_MS

NO_AIR_VERDICT = "after pneumonectomy: no air, removal or step-down verdict, and no added suction"


def evaluate(protocol: Protocol, facts: Facts) -> Evaluation:
    """Every clause, both guards and the whole, now and at every minute of the grid."""
    population = judge_whom(protocol, facts)
    outside = population.status is Status.NOT_APPLICABLE
    vetoes = () if outside else _vetoes(facts)
    over = (*judge_guards(protocol, facts), *vetoes) if protocol.removal and not outside else ()
    criteria = _block(protocol.removal, protocol, facts, outside)
    step_down = _block(protocol.step_down, protocol, facts, outside)
    home = _block(protocol.home, protocol, facts, outside)
    escalation = tuple(judge_clause(clause, protocol, facts, escalating=True) for clause in protocol.escalation)
    overall = _whole(population, criteria, over)
    timeline = _whole_codes(population, criteria, over, facts.length)
    lifted = tuple(one for one in vetoes if one.status is Status.NOT_APPLICABLE and one in over)
    guards = tuple(one for one in over if one not in lifted)
    met_since, first_met = _met_times(timeline, overall, facts)
    return Evaluation(
        protocol, population, overall, timeline, met_since, first_met, guards, criteria, step_down,
        _whole(population, step_down, vetoes) if protocol.step_down else None, escalation, facts.now_ms,
        home, _whole(population, home, vetoes) if protocol.home else None, lifted,
    )  # fmt: skip


def judge_whom(protocol: Protocol, facts: Facts) -> Population:
    """Is the rule made for this patient?"""
    population = judge_population(protocol.applies, facts)
    asks = protocol.removal or protocol.step_down or protocol.home
    if facts.about.get("operation.kind") == "pneumonectomy" and asks:
        return Population(Status.NOT_APPLICABLE, (NO_AIR_VERDICT, *population.reasons))
    return population


def _block(clauses: tuple[Clause, ...], protocol: Protocol, facts: Facts, outside: bool) -> tuple[Judged, ...]:
    if outside:  # a number beside a refusal would be read as an answer
        codes = np.full(facts.length, Status.NOT_APPLICABLE, dtype=np.int8)
        return tuple(Judged(clause.id, Status.NOT_APPLICABLE, codes, clause) for clause in clauses)
    return tuple(judge_clause(clause, protocol, facts) for clause in clauses)


def _whole(population: Population, clauses: tuple[Judged, ...], over: tuple[Judged, ...]) -> Status:
    """All clauses, with what stands over them. Where no clause applies, neither does the whole."""
    clauses_alone = all_of(part.status for part in clauses)
    if Status.NOT_APPLICABLE in (population.status, clauses_alone):
        return Status.NOT_APPLICABLE
    return all_of([population.status, clauses_alone, *(part.status for part in over)])


def _whole_codes(population: Population, clauses: tuple[Judged, ...], over: tuple[Judged, ...], length: int) -> Codes:
    """`_whole`, minute by minute."""
    fixed = np.full(length, population.status, dtype=np.int8)
    clauses_alone = all_of_codes([part.timeline for part in clauses], length)
    codes = all_of_codes([fixed, clauses_alone, *(part.timeline for part in over)], length)
    codes[(fixed == Status.NOT_APPLICABLE) | (clauses_alone == Status.NOT_APPLICABLE)] = Status.NOT_APPLICABLE
    return codes


def _met_times(timeline: Codes, overall: Status, facts: Facts) -> tuple[int | None, int | None]:
    """(start of the stretch that is as good as now, if it is met now; end of the first minute plainly met)."""
    plain = np.flatnonzero(timeline == Status.MET)
    first = facts.grid_start_ms + (int(plain[0]) + 1) * MINUTE_MS if len(plain) else None
    if overall not in (Status.MET, Status.MET_WITH_GAPS):
        return None, first
    good = (timeline == Status.MET) | (timeline == overall)
    if not len(good) or not good[-1]:
        return None, first
    worse = np.flatnonzero(~good)
    start = int(worse[-1]) + 1 if len(worse) else 0
    return facts.grid_start_ms + (start + 1) * MINUTE_MS, first


def _vetoes(facts: Facts) -> tuple[Judged, ...]:
    """Each standing veto as a guard of its own, so that it is read beside the others."""
    ends = facts.ends_ms()
    judged = []
    for number, veto in enumerate(facts.vetoes, start=1):
        until = veto.until_ms if veto.until_ms is not None else np.iinfo(np.int64).max
        stands = (ends >= veto.from_ms) & (ends < until)
        codes = np.where(stands, Status.CANNOT_TELL, Status.NOT_APPLICABLE).astype(np.int8)
        now = Status.CANNOT_TELL if veto.from_ms <= facts.now_ms < until else Status.NOT_APPLICABLE
        if now is Status.NOT_APPLICABLE and not stands.any():
            continue
        one = Judged(f"veto_{number}", now, codes, since_ms=veto.from_ms, note=veto.reason)
        judged.append(
            replace(one, needs=(Need(f"{veto.reason}: see the patient"),)) if now is Status.CANNOT_TELL else one
        )
    return tuple(judged)
