"""How long practice stays current: by the unit's own numbers, and by none where it names none."""

from __future__ import annotations

from pathlib import Path

import pytest

from slackwater.errors import RefusedInput, UsageError
from slackwater.teach import Lesson
from slackwater.teach.lesson import add_lesson, confident, read_lessons
from slackwater.teach.practice import Practice, load_practice, standing

DAY_MS = 86_400_000
UNIT = Practice(valid_ms=365 * DAY_MS, answers=4, right=0.75)


def told(*right: bool) -> list[Lesson]:
    return [
        Lesson("no-swing", k, 0, "open", "open" if one else "shut", 80.0, k * DAY_MS) for k, one in enumerate(right)
    ]


def test_it_is_current_for_the_unit_s_time_after_its_measure_was_reached() -> None:
    found = standing(UNIT, told(True, False, True, True))
    assert found.until_ms == (3 + 365) * DAY_MS
    assert found.word(367 * DAY_MS) == "current"
    assert found.word(368 * DAY_MS) == "expired"


def test_too_few_or_too_few_right_is_not_yet() -> None:
    assert standing(UNIT, told(True, True, True)).word(0) == "not yet"
    assert standing(UNIT, told(True, False, True, False)).word(0) == "not yet"


def test_what_was_reached_stands_until_its_time_though_later_answers_are_wrong() -> None:
    assert standing(UNIT, told(True, True, True, True, False, False, False, False)).until_ms == (4 + 365) * DAY_MS


def test_the_file_is_read(tmp_path: Path) -> None:
    file = tmp_path / "practice.toml"
    file.write_text('[practice]\nvalid = "365 d"\nanswers = 10\nright = "80 %"\nexercises = "ours"\n')
    found = load_practice(file)
    assert (found.valid_ms, found.answers, found.right) == (365 * DAY_MS, 10, 0.8)
    assert found.exercises == str(tmp_path / "ours")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "lacks valid, answers or right"),
        ('[practice]\nvalid = "1 d"\n', "lacks valid, answers or right"),
        ('[practice]\nvalid = "1 d"\nanswers = 3\nright = "80 %"\nmore = 1\n', "does not know 'more'"),
        ('[practice]\nvalid = "1 d"\nanswers = 0\nright = "80 %"\n', "answers or right cannot be used"),
        ('[practice]\nvalid = "1 d"\nanswers = 3\nright = "180 %"\n', "answers or right cannot be used"),
        ("[practice", "cannot be read"),
    ],
)
def test_no_number_has_a_default(tmp_path: Path, text: str, says: str) -> None:
    file = tmp_path / "practice.toml"
    file.write_text(text)
    with pytest.raises(RefusedInput, match=says):
        load_practice(file)


def test_lessons_are_added_and_read_back(tmp_path: Path) -> None:
    file = tmp_path / "mine.jsonl"
    assert read_lessons(file) == ()
    for one in told(True, False):
        add_lesson(file, one)
    assert read_lessons(file) == tuple(told(True, False))


def test_a_line_that_is_no_lesson_is_named(tmp_path: Path) -> None:
    file = tmp_path / "mine.jsonl"
    file.write_text('{"exercise": "no-swing"}\n')
    with pytest.raises(UsageError, match="line 1 is no lesson"):
        read_lessons(file)


@pytest.mark.parametrize("percent", [32.0, 101.0, float("nan")])
def test_confidence_is_a_guess_to_a_hundred(percent: float) -> None:
    with pytest.raises(UsageError, match="is no confidence"):
        confident(percent, 3)
