"""`slackwater teach`: listed, asked in a pipe without asking, answered by options, scored, checked, the bench."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from end_to_end.the_command import called
from slackwater.teach import shipped_exercises
from slackwater.teach.told import BANNER


def answer(folder: Path, *more: str) -> dict[str, object]:
    given = ("no-swing", "--draw", "5", "--answer", "open", "--confidence", "90", "--json", *more)
    ran = called("teach", "run", *given, folder=folder)
    assert ran.code == 0, ran.err
    found: dict[str, object] = json.loads(ran.out)
    return found


def test_without_a_word_it_lists_every_exercise(tmp_path: Path) -> None:
    ran = called("teach", folder=tmp_path)
    assert ran.code == 0
    assert ran.out.startswith(BANNER)
    assert all(name in ran.out for name in shipped_exercises())


def test_in_a_pipe_it_shows_and_asks_nothing(tmp_path: Path) -> None:
    ran = called("teach", "run", "no-swing", "--draw", "5", folder=tmp_path)
    assert ran.code == 0
    assert ran.out.startswith(BANNER)
    assert "Moment 1 of 3" in ran.out
    assert "Is the way from chest to unit open?" in ran.out
    for word in ("cannot tell", "blocked", "state", "kink"):  # nothing that is concluded, nor the truth
        assert word not in ran.out


def test_an_answer_is_scored_against_the_truth_and_kept(tmp_path: Path) -> None:
    found = answer(tmp_path, "--progress", "mine.jsonl")
    assert (found["right"], found["truth"], found["practice"]) == (False, "shut", True)
    (line,) = (tmp_path / "mine.jsonl").read_text().splitlines()
    assert json.loads(line)["confidence"] == 90.0
    told = called("teach", "run", "no-swing", "--draw", "5", "--answer", "shut", "--confidence", "60", folder=tmp_path)
    assert "Right: No, it is shut" in told.out
    assert "In truth the lung leaked at rest" in told.out


def test_an_answer_is_taken_by_the_number_that_is_printed(tmp_path: Path) -> None:
    shown = called("teach", "run", "no-swing", "--draw", "5", folder=tmp_path).out
    assert "  1  No, it is shut  [shut]" in shown
    given = ("no-swing", "--draw", "5", "--answer", "1", "--confidence", "80", "--json", "--progress", "mine.jsonl")
    found = json.loads(called("teach", "run", *given, folder=tmp_path).out)
    assert (found["answer"], found["right"]) == ("shut", True)
    assert json.loads((tmp_path / "mine.jsonl").read_text())["answer"] == "shut"


def test_a_draw_that_was_answered_is_not_asked_again(tmp_path: Path) -> None:
    """Its truth was shown: a second answer would be no answer."""
    answer(tmp_path, "--progress", "mine.jsonl")
    given = ("no-swing", "--draw", "5", "--answer", "shut", "--confidence", "100", "--progress", "mine.jsonl")
    for more in (given, given[:3] + given[7:]):
        ran = called("teach", "run", *more, folder=tmp_path)
        assert ran.code == 2
        assert "draw 5 of no-swing was answered before" in ran.err
    (line,) = (tmp_path / "mine.jsonl").read_text().splitlines()
    assert json.loads(line)["sha256"] == shipped_exercises()["no-swing"].sha256


def test_lessons_of_before_the_hash_was_kept_are_read(tmp_path: Path) -> None:
    answer(tmp_path, "--progress", "mine.jsonl")
    old = json.loads((tmp_path / "mine.jsonl").read_text())
    del old["sha256"]
    (tmp_path / "mine.jsonl").write_text(json.dumps(old) + "\n")
    assert called("teach", "score", "--progress", "mine.jsonl", folder=tmp_path).code == 0


def test_the_next_draw_is_another_one(tmp_path: Path) -> None:
    draws = []
    for _ in range(2):
        given = ("after-the-step", "--answer", "step", "--confidence", "70", "--progress", "m.jsonl", "--json")
        draws.append(json.loads(called("teach", "run", *given, folder=tmp_path).out)["draw"])
    assert draws[0] != draws[1]
    ran = called("teach", "run", "--next", "--progress", "m.jsonl", "--json", folder=tmp_path)
    assert json.loads(ran.out)["exercise"] != "after-the-step"  # what is new comes before what is due tomorrow


def test_the_score_parts_confidence_from_skill(tmp_path: Path) -> None:
    answer(tmp_path, "--progress", "mine.jsonl")
    (tmp_path / "unit.toml").write_text('[practice]\nvalid = "365 d"\nanswers = 1\nright = "100 %"\n')
    ran = called("teach", "score", "--progress", "mine.jsonl", "--settings", "unit.toml", "--json", folder=tmp_path)
    assert ran.code == 0, ran.err
    found = json.loads(ran.out)
    opened = next(one for one in found["kinds"] if one["kind"] == "open")
    assert (opened["answers"], opened["right"], opened["confidence_percent"]) == (1, 0, 90.0)
    assert opened["brier"] == pytest.approx(0.81)
    assert opened["says"] == "too few to say (1 of 10)"
    assert found["standing"]["Is the tube open?"].startswith("not yet")
    shown = called("teach", "score", "--progress", "mine.jsonl", folder=tmp_path)
    assert "too few to say" in shown.out


def test_check_names_what_is_wrong_and_exits_1(tmp_path: Path) -> None:
    assert called("teach", "check", "walk-to-the-film", folder=tmp_path).code == 0
    (tmp_path / "ours").mkdir()
    (tmp_path / "ours" / "ours.toml").write_text(
        'name = "ours"\ntitle = "Ours"\nkind = "open"\ntold = "Told."\n[[case]]\nid = "one"\nscenario = "none"\n'
        'hours = 3.0\nmoments_h = [2.0]\nevidence_h = [1.0, 2.0]\nwhy = "Because."\n[truth]\n'
        'shut = { tube_open = false }\nopen = { tube_open = true }\n[check]\n1 = "shut"\n'
    )
    ran = called("teach", "check", "ours", "--exercises", "ours", folder=tmp_path)
    assert ran.code == 1
    assert "the file says shut, the truth is open" in ran.out


def test_the_bench_says_what_is_concluded_and_what_is_so(tmp_path: Path) -> None:
    ran = called("teach", "bench", "suction:20", "leak:60", "wait:60", "clamp", "wait:15", "--json", folder=tmp_path)
    found = json.loads(ran.out)
    assert "clamped" in found["concluded"]
    assert "a clamp" in found["truth"]
    assert BANNER in called("teach", "bench", folder=tmp_path).out


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (("run", "nothing"), "no exercise is called 'nothing'"),
        (("run",), "name one exercise, or --next"),
        (("run", "no-swing", "--answer", "maybe", "--confidence", "70"), "no answer 'maybe'"),
        (("run", "no-swing", "--answer", "open"), "how sure you are is not said. Give 33"),
        (("score", "--progress", "nowhere.jsonl"), "nowhere.jsonl: is no file"),
        (("run", "no-swing", "--answer", "open", "--confidence", "30"), "30 is no confidence in one of 3 answers"),
        (("run", "no-swing", "--moment", "9"), "no moment 9"),
        (("list", "--exercises", "nowhere"), "is no folder"),
        (("bench", "dance"), "nobody can 'dance'"),
        (("bench", "suction:-20"), "below the room's pressure: suction:20."),
        (("bench", "suction:-7"), "Deeds: suction:none, suction:5"),
        (("run", "no-swing", "--answer", "4", "--confidence", "70"), "Answers: 1 or shut, 2 or cannot_tell, 3"),
    ],
)
def test_a_call_that_makes_no_sense_is_refused(tmp_path: Path, given: tuple[str, ...], says: str) -> None:
    ran = called("teach", *given, folder=tmp_path)
    assert ran.code == 2
    assert says in ran.err


def test_at_a_terminal_it_asks_for_the_next_moment_the_answer_and_the_confidence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from click.testing import CliRunner

    from slackwater.cli.teach import command

    monkeypatch.setattr("slackwater.cli.teach._at_terminal", lambda: True)
    ran = CliRunner().invoke(command, ["run", "no-swing", "--draw", "5"], input="n\n7\n1\n80\n")
    assert ran.exit_code == 0, ran.output
    assert ran.output.index("Moment 1 of 3") < ran.output.index("Moment 2 of 3")
    assert ran.output.count("Moment 2 of 3") == 1, "what was not understood is said beside the question, not above it"
    assert "That is none of the answers." in ran.output
    assert "Right: No, it is shut" in ran.output and "(80 % sure)" in ran.output
