"""How a recorded drain's stay went, from its course and those of its patient's other drains."""

from __future__ import annotations

from collections.abc import Iterable

from slackwater.audit.case import Hold, Outcome
from slackwater.store.course import Course
from slackwater.store.listing import Listed


def outcome_of(course: Course, others: Iterable[Listed], now_ms: int) -> Outcome:
    """`others`: every other drain of the patient, in any stay; now_ms: up to when the record knows of them."""
    removal = course.removal
    if removal is None:
        return Outcome(holds=_holds(course))
    out = int(removal["time_ms"])
    side, space = course.space["side"], course.space["kind"]
    back = [
        one.connected_ms
        for one in others
        if one.connected_ms is not None and one.connected_ms > out and one.space == space and one.side == side
    ]
    return Outcome(
        removed_ms=out,
        removal=removal["kind"],
        against_rule_because="given" if removal["against_rule_because"] else None,
        holds=_holds(course),
        back_ms=min(back, default=None),
        followed_until_ms=now_ms,
    )


def _holds(course: Course) -> tuple[Hold, ...]:
    return tuple(Hold(hold["reason"], hold["from_ms"], hold["to_ms"]) for hold in course.holds)
