"""Lessons in the record: each learner's own, kept once and never changed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from slackwater.errors import StaleError
from slackwater.store.acts import key_of
from slackwater.store.record import Record
from slackwater.store.rows import Thing
from slackwater.teach.lesson import Lesson


def lessons_of(record: Record, person: str) -> tuple[Lesson, ...]:
    """One learner's, in order of time."""
    return _in_order([_lesson(one) for one in record.things("lesson", {"person": person})])


def every_lesson(record: Record) -> Mapping[str, tuple[Lesson, ...]]:
    """By person; for whoever may see who is current."""
    found: dict[str, list[Lesson]] = defaultdict(list)
    for one in record.things("lesson"):
        found[str(one["person"])].append(_lesson(one))
    return {person: _in_order(some) for person, some in found.items()}


def keep(record: Record, person: str, by: str, lesson: Lesson) -> bool:
    """Record it; False where this draw was answered before: the first answer counts."""
    key = key_of("lesson", person, lesson.exercise, lesson.draw)
    try:
        with record.act(by=by, what="practice") as act:
            if act.thing("lesson", key) is not None:
                return False
            act.add(
                "lesson", key,
                {"person": person, "exercise": lesson.exercise, "draw": lesson.draw, "moment": lesson.moment,
                 "answer": lesson.answer, "truth": lesson.truth, "right": lesson.right,
                 "confidence": lesson.confidence, "time_ms": lesson.time_ms, "sha256": lesson.sha256 or None},
                happened_ms=lesson.time_ms,
            )  # fmt: skip
    except StaleError:
        return False
    return True


def _lesson(one: Thing) -> Lesson:
    return Lesson(
        str(one["exercise"]), int(one["draw"]), int(one["moment"] or 0), str(one["answer"]), str(one["truth"]),
        float(one["confidence"]), int(one["time_ms"]), str(one["sha256"] or ""),
    )  # fmt: skip


def _in_order(lessons: Sequence[Lesson]) -> tuple[Lesson, ...]:
    return tuple(sorted(lessons, key=lambda one: one.time_ms))
