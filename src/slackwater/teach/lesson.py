"""One answer of one learner to one draw of an exercise; and a file of them, one JSON object a line."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from slackwater.errors import UsageError


@dataclass(frozen=True)
class Lesson:
    """confidence: percent the learner gave the answer. moment: when it was given, from 0. time: UTC ms.

    sha256: of the exercise's file as it was asked; '': not kept.
    """

    exercise: str
    draw: int
    moment: int
    answer: str
    truth: str
    confidence: float
    time_ms: int
    sha256: str = ""

    @property
    def right(self) -> bool:
        return self.answer == self.truth


def a_guess(answers: int) -> float:
    """How often a blind guess among so many answers is right, in percent: no confidence is less than that.

    >>> a_guess(4)
    25.0
    """
    return 100.0 / answers


def sure_words(answers: int) -> str:
    """What may be given, in words.

    >>> sure_words(3)
    '33 (a guess) to 100 (certain)'
    """
    return f"{int(a_guess(answers))} (a guess) to 100 (certain)"


def confident(percent: float, answers: int) -> float:
    """A confidence in one of so many answers that can be scored. Raises UsageError for any other."""
    guess = a_guess(answers)
    if not int(guess) <= percent <= 100.0:
        raise UsageError(
            f"{percent:g} is no confidence in one of {answers} answers",
            mend=f"Give {sure_words(answers)}: how sure you are of your answer.",
        )  # fmt: skip
    return max(guess, float(percent))


def of_exercise(lessons: Iterable[Lesson], name: str) -> tuple[Lesson, ...]:
    """In order of time."""
    return tuple(sorted((one for one in lessons if one.exercise == name), key=lambda one: one.time_ms))


def read_lessons(path: str | Path) -> tuple[Lesson, ...]:
    """The lessons of a file; none where there is none yet."""
    file = Path(path)
    if not file.exists():
        return ()
    found, known = [], {field.name for field in fields(Lesson) if field.name != "sha256"}
    for number, line in enumerate(file.read_text("utf-8").splitlines(), start=1):
        if not line.strip():
            continue
        try:
            one = json.loads(line)
            found.append(Lesson(**{name: one[name] for name in known}, sha256=str(one.get("sha256", ""))))
        except (ValueError, KeyError, TypeError) as error:
            raise UsageError(
                f"line {number} is no lesson ({error})", where=str(path), mend="Name the file that `teach run` wrote."
            ) from error
    return tuple(found)


def add_lesson(path: str | Path, lesson: Lesson) -> None:
    """Append one; nothing that stands there is changed."""
    with Path(path).open("a", encoding="utf-8") as file:
        file.write(json.dumps(asdict(lesson)) + "\n")


def draws_of(lessons: Sequence[Lesson], name: str) -> frozenset[int]:
    return frozenset(one.draw for one in lessons if one.exercise == name)
