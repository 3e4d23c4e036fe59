"""One past drain in figures. Each is worked out of that drain alone, so a cohort's figures are sums over its drains."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo

import polars

from slackwater.audit.case import About, Case
from slackwater.audit.charting import Charting, charting
from slackwater.audit.handling import Suction, blocked_stretches, logged_min, off_suction, suction_kept
from slackwater.audit.lasting import LeakAsked, LeakLasted, lasted
from slackwater.audit.replay import judged
from slackwater.audit.standing import Wait, at_removal, by_day, held, parts_of, standing
from slackwater.protocol.rule import Protocol
from slackwater.protocol.status import Status
from slackwater.quantities.spans import DAY_MS, HOUR_MS

RETURN_DAYS = (7, 30)
NO_RETURN = ("patient_died", "transferred", "exchanged")  # after these a reinsertion is nobody's question


@dataclass(frozen=True)
class Asked:
    """What a report asks of every drain. day: hours of the ward's clock in which drains are taken out."""

    zone: tzinfo = UTC
    leaks: tuple[LeakAsked, ...] = ()
    suction_within_cmh2o: float | None = None  # None: not asked
    day: tuple[int, int] = (7, 22)


@dataclass(frozen=True)
class Avoidable:
    """Hours in which the rule was met without a break up to the removal, less coded holds. surely <= at most.

    at_most counts what cannot be told as met. held_h: the hours taken off, by reason (of the sure ones).
    """

    surely_h: float
    at_most_h: float
    by_day_h: float
    held_h: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Measured:
    """None is not known, never nought. Hours count from connection; where that is not known, from the first record.

    drain_days: exact, for rates. tube_days: days on the ward's calendar from the operation (or connection) to the
    removal, so 0 on the same day. stood_h: hours in each part of `standing.PARTS`. waited_h: of those in which one
    thing was waited for, which. back: within so many days of the removal another drain was put into the same space.
    """

    about: About
    rule: str
    pinned: bool | None  # whether it was judged by the rule that was pinned to it
    removal: str | None
    removed: bool
    connected_ms: int | None
    removed_ms: int | None
    in_h: float
    drain_days: float | None
    tube_days: int | None
    stood_h: Mapping[str, float]
    waited_h: Mapping[Wait, float]
    first_met_h: float | None
    met_to_end_h: float | None
    avoidable: Avoidable | None  # None: not known to be out, or the rule is not for it
    at_removal: Status | None
    reason_given: bool
    leaks: tuple[LeakLasted, ...]
    back: Mapping[int, bool | None]
    blocked: int | None  # None: no log
    logged_h: float
    suction: Suction | None
    off_min: Mapping[str, int]
    chart: Charting | None

    @property
    def planned(self) -> bool:
        return self.removal == "planned"


def days_in(drains: Iterable[Measured]) -> float:
    """Drain-days of those of whom they are known."""
    return float(sum(one.drain_days for one in drains if one.drain_days is not None))


def blocked_in(drains: Iterable[Measured]) -> int:
    """Blocked stretches of those that have a log."""
    return sum(one.blocked for one in drains if one.blocked is not None)


def measured(case: Case, rule: Protocol, asked: Asked, chart: polars.DataFrame | None = None) -> Measured:
    """Everything that is asked of one drain. `chart`: its chart table as the cohort keeps it."""
    found = judged(case, rule)
    stood = standing(case, found)
    parts, waits = parts_of(stood)
    outside = found.population.status is Status.NOT_APPLICABLE or found.overall is Status.NOT_APPLICABLE
    out = case.outcome.removed_ms
    connected = case.facts.connected_ms
    told = case.about
    first, to_end = stood.first_met_ms, stood.met_to_end_ms
    log = bool(case.facts.signals)
    return Measured(
        told, f"{rule.name} {rule.version}".strip(),
        None if told.protocol_sha256 is None else told.protocol_sha256 == rule.sha256,
        case.outcome.removal, out is not None, connected, out, (case.until_ms - case.from_ms) / HOUR_MS,
        None if connected is None else max(case.until_ms - connected, 0) / DAY_MS, _tube_days(case, asked.zone),
        {part: ms / HOUR_MS for part, ms in parts.items() if ms}, {wait: ms / HOUR_MS for wait, ms in waits.items()},
        None if first is None or outside else (first - case.from_ms) / HOUR_MS,
        None if to_end is None or outside else (to_end - case.from_ms) / HOUR_MS,
        None if out is None or outside else _avoidable(case, to_end, stood.perhaps_met_to_end_ms, asked),
        None if out is None or outside else at_removal(case, found),
        case.outcome.against_rule_because is not None, tuple(lasted(case, one) for one in asked.leaks),
        {days: _back(case, days) for days in RETURN_DAYS},
        blocked_stretches(case) if log else None, logged_min(case) / 60 if log else 0.0,
        None if asked.suction_within_cmh2o is None else suction_kept(case, asked.suction_within_cmh2o),
        off_suction(case), None if chart is None else charting(case, rule.schedule, chart),
    )  # fmt: skip


def _avoidable(case: Case, from_ms: int | None, perhaps_ms: int | None, asked: Asked) -> Avoidable:
    kept_h: dict[str, float] = {}
    surely, by_day_ms, at_most = 0, 0, 0
    if from_ms is not None:
        kept, left = held(case.outcome.holds, (from_ms, case.until_ms))
        surely = sum(end - begin for begin, end in left)
        by_day_ms = sum(by_day(span, asked.zone, asked.day) for span in left)
        for (begin, end), reason in kept:
            kept_h[reason] = kept_h.get(reason, 0.0) + (end - begin) / HOUR_MS
    if perhaps_ms is not None:
        at_most = sum(end - begin for begin, end in held(case.outcome.holds, (perhaps_ms, case.until_ms))[1])
    return Avoidable(surely / HOUR_MS, at_most / HOUR_MS, by_day_ms / HOUR_MS, kept_h)


def _tube_days(case: Case, zone: tzinfo) -> int | None:
    """Evidence: a removal on the day of the operation counts 0 days."""
    begin = case.facts.about.get("operation.end") or case.facts.connected_ms
    if not isinstance(begin, int | float) or case.outcome.removed_ms is None:
        return None
    first, last = (datetime.fromtimestamp(at / 1000, UTC).astimezone(zone) for at in (begin, case.outcome.removed_ms))
    return (last.date() - first.date()).days


def _back(case: Case, days: int) -> bool | None:
    outcome = case.outcome
    if outcome.removed_ms is None or outcome.removal in (None, *NO_RETURN):
        return None
    until = outcome.removed_ms + days * DAY_MS
    if outcome.back_ms is not None and outcome.back_ms <= until:
        return True
    return False if outcome.followed_until_ms is not None and outcome.followed_until_ms >= until else None
