"""When an exercise is due again. Expected numbers: the formula SM-2, Wozniak 1990, from memory, worked by hand."""

from __future__ import annotations

import pytest

from slackwater.quantities.spans import DAY_MS
from slackwater.teach import Lesson, shipped_exercises
from slackwater.teach.spacing import Spacing, due_ms, quality_of, spacing_of
from slackwater.teach.timetable import next_draw, timetable


@pytest.mark.parametrize(("quality", "ease"), [(5, 2.6), (4, 2.5), (3, 2.36)])
def test_ease_moves_as_published(quality: int, ease: float) -> None:
    assert Spacing().after(quality).ease == pytest.approx(ease)


def test_intervals_are_one_day_six_days_then_times_the_ease() -> None:
    first = Spacing().after(4)
    second = first.after(4)
    third = second.after(4)
    assert (first.days, second.days, third.days) == (1.0, 6.0, pytest.approx(15.0))


def test_a_failure_begins_anew_and_leaves_the_ease() -> None:
    failed = Spacing().after(5).after(5).after(2)
    assert (failed.in_a_row, failed.days) == (0, 1.0)
    assert failed.ease == pytest.approx(2.7)


def test_ease_never_falls_below_its_floor() -> None:
    found = Spacing()
    for _ in range(20):
        found = found.after(3)
    assert found.ease == 1.3


def lesson(right: bool, sure: float, time_ms: int = 0, exercise: str = "no-swing", draw: int = 1) -> Lesson:
    return Lesson(exercise, draw, 0, "open", "open" if right else "shut", sure, time_ms)


def test_wrong_and_sure_is_worst() -> None:
    told = [quality_of(lesson(right, sure)) for right in (False, True) for sure in (95.0, 70.0, 50.0)]
    assert told == [0, 1, 2, 5, 4, 3]


def test_it_is_due_after_its_days_from_the_last_answer() -> None:
    told = (lesson(True, 90.0, 0), lesson(True, 90.0, DAY_MS))
    assert spacing_of(told).days == 6.0
    assert due_ms(told) == 7 * DAY_MS


def test_what_is_due_comes_first_then_what_is_new() -> None:
    known = {name: shipped_exercises()[name] for name in ("no-swing", "two-limbs", "clamp-trial")}
    told = (lesson(False, 90.0, 0), lesson(True, 90.0, 3 * DAY_MS, "two-limbs"))
    order = [one.exercise.name for one in timetable(known, told, 3 * DAY_MS)]
    assert order == ["no-swing", "clamp-trial", "two-limbs"]


def test_a_repeat_is_another_draw() -> None:
    exercise = shipped_exercises()["no-swing"]
    first = next_draw("me", exercise, [])
    again = next_draw("me", exercise, [lesson(True, 90.0, draw=first)])
    assert again != first
