"""What a learner does next: which exercise is due, and which draw of it they get."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from slackwater.teach.draw import MOST_DRAW, first_draw
from slackwater.teach.exercise import Exercise
from slackwater.teach.lesson import Lesson, draws_of, of_exercise
from slackwater.teach.spacing import due_ms


@dataclass(frozen=True)
class Due:
    """One exercise. due_ms: None where it was never tried. tried: how often."""

    exercise: Exercise
    due_ms: int | None
    tried: int

    def now(self, now_ms: int) -> bool:
        return self.due_ms is None or self.due_ms <= now_ms


def timetable(known: Mapping[str, Exercise], lessons: Sequence[Lesson], now_ms: int) -> tuple[Due, ...]:
    """What was tried and is due longest comes first, then what was never tried, then by when it is due."""
    tried = {name: of_exercise(lessons, name) for name in known}
    every = [Due(one, due_ms(tried[name]), len(tried[name])) for name, one in known.items()]
    return tuple(sorted(every, key=lambda one: _rank(one, now_ms)))


def _rank(one: Due, now_ms: int) -> tuple[int, int]:
    if one.due_ms is None:
        return (1, 0)
    return (0, one.due_ms) if one.due_ms <= now_ms else (2, one.due_ms)


def next_draw(person: str, exercise: Exercise, lessons: Iterable[Lesson]) -> int:
    """The first draw of this learner's own row that they have not had."""
    had = draws_of(list(lessons), exercise.name)
    number = first_draw(person, exercise.name)
    while number in had:
        number = number % MOST_DRAW + 1
    return number
