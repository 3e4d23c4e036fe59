"""An exercise file that does not hold together is refused, and the words say where and what to write."""

from __future__ import annotations

from pathlib import Path

import pytest

from slackwater.errors import UsageError
from slackwater.teach import load_exercise
from slackwater.teach.load import ExerciseError
from slackwater.teach.shelf import exercises

SOUND = """
name = "ours"
title = "Ours"
kind = "open"
told = "Told."
[[case]]
id = "one"
scenario = "none"
hours = 6.0
moments_h = [4.0, 5.0]
evidence_h = [1.0, 4.0]
why = "Because."
[truth]
shut = { tube_open = false }
open = { tube_open = true }
[check]
1 = "open"
"""


def test_a_sound_file_is_read() -> None:
    found = load_exercise(SOUND.encode(), "ours.toml")
    assert (found.name, found.cases[0].scenario.hours, found.check) == ("ours", 6.0, {1: "open"})


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('name = "ours"', 'name = "Our own"', "is no name"),
        ('name = "ours"', 'name = "bench"', "is no name"),
        ('kind = "open"', 'kind = "colour"', "no kind of question 'colour'"),
        ('title = "Ours"', "", "title is missing"),
        ("tube_open = false", "tube_shut = true", "no fact 'tube_shut'"),
        ('1 = "open"', '1 = "maybe"', "no answer 'maybe'"),
        ('1 = "open"', "", r"no \[check\]"),
        ("moments_h = [4.0, 5.0]", "moments_h = [5.0, 4.0]", "no moments, or not in order"),
        ("moments_h = [4.0, 5.0]", "moments_h = [4.0, 7.0]", "lies outside the stay"),
        ("evidence_h = [1.0, 4.0]", "evidence_h = [4.0, 1.0]", "not a pair that rises"),
        ("hours = 6.0", "hours = 400.0", "a stay of 400 h"),
        ("hours = 6.0", "minutes = 6.0", "'minutes' is not known here"),
        ("hours = 6.0", 'unit = "anchor"', "no such unit: anchor"),
        ("hours = 6.0", 'nurse = "strict"', "no such nurse: strict"),
        ("hours = 6.0", "nurse = { looks = 2 }", "'looks' is not known here"),
        ("hours = 6.0", "unwritten = { colour = 2.0 }", "'colour' is not known here"),
        ("hours = 6.0", 'charted = [{ at_h = 1, item = "swing", value = "present" }]', "rows of no other drain"),
        ("hours = 6.0", 'beside = "2"\ncharted = [{ at_h = 1, item = "colour", value = "red" }]', "no row of a chart"),
        ('kind = "open"', 'kind = "fluid"\nprotocol = "air-50-8h"', "no clause on fluid_output to ask about"),
        ("hours = 6.0", 'shows = ["rust"]', "no doubt or pattern 'rust'"),
        ("hours = 6.0", 'told = ["once"]', "not something for every moment"),
        ('scenario = "none"', 'scenario = "nothing"', "is no scenario"),
        ("[truth]", "[truth", "not TOML"),
    ],
)
def test_a_fault_is_named(old: str, new: str, says: str) -> None:
    assert old in SOUND
    with pytest.raises((ExerciseError, UsageError), match=says):
        load_exercise(SOUND.replace(old, new).encode(), "ours.toml")


def test_a_unit_s_own_folder_stands_beside_the_shipped_ones(tmp_path: Path) -> None:
    (tmp_path / "ours.toml").write_text(SOUND)
    assert {"ours", "no-swing"} <= set(exercises(tmp_path))


def test_a_shipped_name_cannot_be_taken(tmp_path: Path) -> None:
    (tmp_path / "ours.toml").write_text(SOUND.replace('"ours"', '"no-swing"'))
    with pytest.raises(ExerciseError, match="is the name of a shipped exercise"):
        exercises(tmp_path)
