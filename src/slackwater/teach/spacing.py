"""When an exercise is due again: intervals that grow as it goes well.

The formula known as SM-2. Source: P. A. Wozniak, master's thesis, Poznan 1990; the numbers from memory. How right
answers and confidence become its quality 0 to 5 is ours.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from slackwater.quantities.spans import DAY_MS
from slackwater.teach.lesson import Lesson

FIRST_DAYS, SECOND_DAYS = 1.0, 6.0
EASE, LEAST_EASE = 2.5, 1.3
SURE, RATHER = 85.0, 65.0  # percent of confidence (ours)


@dataclass(frozen=True)
class Spacing:
    """How often in a row it went well, how easy it is, and the days until it is due again."""

    in_a_row: int = 0
    ease: float = EASE
    days: float = 0.0

    def after(self, quality: int) -> Spacing:
        """After a repetition of that quality, 0 (blank) to 5 (at once); below 3 it begins anew, as easy as before.

        >>> one = Spacing().after(5); one.days, round(one.ease, 2)
        (1.0, 2.6)
        >>> two = one.after(5); two.days, round(two.ease, 2)
        (6.0, 2.7)
        >>> round(two.after(4).days, 1)
        16.2
        """
        if quality < 3:
            return Spacing(0, self.ease, FIRST_DAYS)
        far = 5 - quality
        ease = max(LEAST_EASE, self.ease + 0.1 - far * (0.08 + far * 0.02))
        days = FIRST_DAYS if self.in_a_row == 0 else SECOND_DAYS if self.in_a_row == 1 else self.days * self.ease
        return Spacing(self.in_a_row + 1, ease, days)


def quality_of(lesson: Lesson) -> int:
    """Right and sure is best; wrong and sure is worst, for nobody looks twice at what they are sure of (ours)."""
    if lesson.right:
        return 5 if lesson.confidence >= SURE else 4 if lesson.confidence >= RATHER else 3
    return 0 if lesson.confidence >= SURE else 1 if lesson.confidence >= RATHER else 2


def spacing_of(lessons: Iterable[Lesson]) -> Spacing:
    """After all lessons of one exercise, in order of time."""
    found = Spacing()
    for lesson in lessons:
        found = found.after(quality_of(lesson))
    return found


def due_ms(lessons: tuple[Lesson, ...]) -> int | None:
    """When it is due again; None where it was never tried: it is due now."""
    if not lessons:
        return None
    return lessons[-1].time_ms + round(spacing_of(lessons).days * DAY_MS)
