"""What stands beside a removal, worked out by the judges: the rule's answer, what it waits for, what it wants after."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import tzinfo

from slackwater.assessment.assessment import Assessment
from slackwater.protocol.rule import Protocol
from slackwater.protocol.schedule import after_removal
from slackwater.quantities.spans import format_span
from slackwater.report.round_facts import when
from slackwater.store.course import Course
from slackwater.store.rows import Thing
from slackwater.web.asked_items import DISTRESS, EMPHYSEMA_ASK, PAIN_COUGH, PAIN_REST, READINGS
from slackwater.web.charted import mine, said
from slackwater.web.judges import Asked

LABELS = {ask.item: ask.label for ask in (*READINGS, DISTRESS, EMPHYSEMA_ASK, PAIN_REST, PAIN_COUGH)}
WATCHED = ("resp_rate", "spo2", "oxygen", "heart_rate", "systolic", "temperature", "distress", "surgical_emphysema",
           "pain_rest", "pain_cough")  # fmt: skip


@dataclass(frozen=True)
class RemovalFacts:
    """overall: the rule's answer, as the record keeps it; None without a rule. `words`: the same as people read it.

    waits: what is missing. after_s: how long after the removal the rule wants each check, in seconds.
    """

    overall: str | None = None
    words: str = ""
    rule: str = ""
    waits: tuple[str, ...] = ()
    after_s: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Watched:
    """One reading: before the removal, and each since."""

    item: str
    before: str
    since: tuple[str, ...]
    change: str


def removal_facts(course: Course, found: Assessment | None, asked: Asked) -> RemovalFacts:
    """The rule's answer at this minute."""
    if found is None or found.evaluation is None:
        return RemovalFacts()
    rule = found.evaluation.protocol
    after = after_s(rule)
    if found.overall is None:
        return RemovalFacts(rule=f"{rule.name} {rule.version}", after_s=after)
    waits = found.waiting_for or tuple(found.evaluation.population.reasons)
    return RemovalFacts(found.overall.word, found.overall.said, f"{rule.name} {rule.version}", tuple(waits), after)


def after_s(rule: Protocol) -> dict[str, float]:
    return {item: due_ms / 1000 for item, due_ms in after_removal(rule.schedule, 0).items()}


def spans(after: Mapping[str, float]) -> dict[str, str]:
    """The same in words."""
    return {item: format_span(seconds) for item, seconds in after.items()}


def watched(course: Course, now_ms: int, zone: tzinfo) -> tuple[Watched, ...]:
    """The patient's readings since the removal against the last ones before it."""
    out = course.removed_ms
    if out is None:
        return ()
    found = []
    rows = sorted((one for one in mine(course) if one["value"] is not None), key=lambda one: (one["time_ms"], one.seq))
    for item in WATCHED:
        of = [one for one in rows if one["item"] == item]
        before = [one for one in of if one["time_ms"] <= out]
        since = [one for one in of if one["time_ms"] > out]
        if before or since:
            found.append(
                Watched(
                    LABELS[item],
                    _at(before[-1], now_ms, zone) if before else "not charted before it",
                    tuple(_at(one, now_ms, zone) for one in since[-4:]),
                    _change(before[-1], since[-1]) if before and since else "",
                )
            )
    return tuple(found)


def _at(one: Thing, now_ms: int, zone: tzinfo) -> str:
    return f"{said(one)} at {when(one['time_ms'], now_ms, zone)}"


def _change(before: Thing, now: Thing) -> str:
    """By how much a number moved, in its own unit; empty where the units differ or it is no number."""
    if before["unit"] != now["unit"]:
        return ""
    try:
        moved = float(now["value"]) - float(before["value"])
    except ValueError:
        return "" if before["value"] == now["value"] else "changed"
    if not moved:
        return "as before"
    return f"{'up' if moved > 0 else 'down'} by {abs(round(moved, 3)):g} {now['unit'] or ''}".strip()
