"""Are the exercises sound? Each draw named in [check] is made, and the truth must be what the file says."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from slackwater.errors import SlackwaterError
from slackwater.teach.draw import draw
from slackwater.teach.exercise import Exercise


@dataclass(frozen=True)
class Found:
    """One draw. fault: what is wrong with it; '' where it is sound."""

    exercise: str
    draw: int
    case: str
    truth: str
    fault: str


def check(exercise: Exercise) -> Iterator[Found]:
    """Of every draw of [check]: one answer is true at every moment, always the same one, and the one the file says.

    And the draws named show every case at least once.
    """
    seen = set()
    for number, wanted in exercise.check.items():
        try:
            drawn = draw(exercise, number)
            told = [drawn.truth(moment) for moment in range(len(drawn.moments_ms))]
        except SlackwaterError as error:
            yield Found(exercise.name, number, "", "", str(error))
            continue
        seen.add(drawn.case.id)
        fault = ""
        if len(set(told)) > 1:
            fault = f"the truth changes between its moments: {', '.join(told)}"
        elif told[0] != wanted:
            fault = f"the file says {wanted}, the truth is {told[0]}"
        yield Found(exercise.name, number, drawn.case.id, told[0], fault)
    for case in exercise.cases:
        if case.id not in seen:
            yield Found(exercise.name, 0, case.id, "", "no draw of [check] shows this case")
