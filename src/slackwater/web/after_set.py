"""What is told after charting, worked out by the judges: questions, score, what is open and what is due next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from slackwater.assessment.assessment import Assessment, DueItem
from slackwater.assessment.contradictions import contradictions
from slackwater.assessment.shift import same_again, shift_of
from slackwater.episode.instants import read_zone
from slackwater.episode.space import entries_for
from slackwater.episode.typed import Typed, entry_of
from slackwater.report.round_facts import when
from slackwater.report.sheets.material import SHIFT_MS
from slackwater.store.course import Course
from slackwater.store.rows import Thing
from slackwater.web.charted import of_set
from slackwater.web.judges import Asked
from slackwater.web.set_facts import Score, score

SO_IT_IS = "looked again, it is so"  # how the note of an entry begins that was asked about and stands
MOST_DUE = 6  # of the observations that are due next (ours)


@dataclass(frozen=True)
class JustCharted(Asked):
    """once: the key of the form whose rows are asked about."""

    once: str = ""


@dataclass(frozen=True)
class Question:
    """One thing to look at again, and the entry that it asks about."""

    entry: str
    version: int
    item: str
    text: str
    times: str


@dataclass(frozen=True)
class AfterSet:
    questions: tuple[Question, ...] = ()
    score: Score | None = None
    shift: str = ""
    same: str = ""
    due: tuple[str, ...] = ()


def after_set(course: Course, found: Assessment | None, asked: Asked) -> AfterSet:
    """All of it; nothing of a drain that nothing is known of."""
    if found is None or not isinstance(asked, JustCharted):
        return AfterSet()
    zone = read_zone(asked.zone_name)
    again = same_again(entries_for(found.chart, "drain", found.episode))
    shift = shift_of(found, asked.now_ms - SHIFT_MS, asked.now_ms + 1)
    due = sorted((one for one in found.schedule if one.due_ms is not None), key=lambda one: one.due_ms or 0)
    return AfterSet(
        tuple(question for row in of_set(course, asked.once) for question in _questions(row, course, found, zone)),
        score(course, found, asked), shift.sentence, "" if again is None else again.sentence,
        tuple(_due(one, asked.now_ms, zone) for one in due[:MOST_DUE]),
    )  # fmt: skip


def _questions(row: Thing, course: Course, found: Assessment, zone: tzinfo) -> list[Question]:
    if (row["note"] or "").startswith(SO_IT_IS):
        return []
    typed = Typed(row["item"], row["value"] or "", row["unit"] or "", row["note"] or "")
    entry = entry_of(typed, row["time_ms"], max(row["time_ms"], row["written_ms"] or 0), "", course.drain["number"])
    asked = []
    for one in contradictions((entry,), found):
        times = when(one.typed_ms, found.as_of_ms, zone)
        if one.against_ms != one.typed_ms:
            times = f"charted for {times}, against {when(one.against_ms, found.as_of_ms, zone)} on"
        asked.append(Question(row.key, row.version, row["item"].replace("_", " "), one.text, times))
    return asked


def _due(one: DueItem, now_ms: int, zone: tzinfo) -> str:
    late = " (overdue)" if one.overdue else ""
    why = f", {one.because}" if one.because else ""
    return f"{one.item.replace('_', ' ')} {when(one.due_ms or now_ms, now_ms, zone)}{late}{why}"
