"""What the unit asks of its people's practice. No number here has a default: the unit writes them."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from slackwater.errors import RefusedInput
from slackwater.quantities.spans import parse_span
from slackwater.teach.lesson import Lesson


@dataclass(frozen=True)
class Practice:
    """`valid_ms`: how long a kind stays current after the latest of `answers` answers in a row of which at least the
    share `right` was right. exercises: a folder of the unit's own."""

    valid_ms: int
    answers: int
    right: float
    exercises: str | None = None
    text: str = ""


@dataclass(frozen=True)
class Standing:
    """Of one kind. until_ms: current until then; None: not reached yet. asked, right, given: of the latest answers."""

    until_ms: int | None
    given: int
    right: int

    def word(self, now_ms: int) -> str:
        """current, expired or not yet."""
        if self.until_ms is None:
            return "not yet"
        return "current" if now_ms < self.until_ms else "expired"


def load_practice(path: str | Path) -> Practice:
    """Read `[practice]` of a settings file, e.g. valid = "365 d", answers = 10, right = "80 %"."""
    name = str(path)
    try:
        found = tomllib.loads(Path(path).read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise RefusedInput(f"cannot be read: {error}", where=name, mend="See docs/practice.md.") from error
    table = found.get("practice", {})
    unknown = sorted(set(table) - {"valid", "answers", "right", "exercises"})
    if unknown or not {"valid", "answers", "right"} <= set(table):
        raise RefusedInput(
            f"[practice] does not know {unknown[0]!r}" if unknown else "[practice] lacks valid, answers or right",
            where=name, mend='Write your unit\'s own, e.g. valid = "365 d", answers = 10, right = "80 %".',
        )  # fmt: skip
    share = str(table["right"]).removesuffix("%").strip()
    answers = table["answers"]
    if not share.isdecimal() or not 0 < int(share) <= 100 or not isinstance(answers, int) or answers < 1:
        raise RefusedInput(
            "answers or right cannot be used", where=f"{name}, [practice]", mend='Write answers = 10, right = "80 %".'
        )
    folder = table.get("exercises")
    return Practice(
        round(1000 * parse_span(str(table["valid"]))), answers, int(share) / 100.0,
        None if folder is None else str(Path(path).parent / str(folder)),
        f"at least {int(share)} % of the latest {answers} answers right; valid {table['valid']}",
    )  # fmt: skip


def standing(practice: Practice, lessons: Iterable[Lesson]) -> Standing:
    """Where a learner stands in one kind: the last time that the unit's measure was reached counts."""
    told = sorted(lessons, key=lambda one: one.time_ms)
    until = None
    for end in range(practice.answers, len(told) + 1):
        latest = told[end - practice.answers : end]
        if sum(one.right for one in latest) >= practice.right * practice.answers - 1e-9:
            until = latest[-1].time_ms + practice.valid_ms
    latest = told[-practice.answers :]
    return Standing(until, len(latest), sum(one.right for one in latest))
