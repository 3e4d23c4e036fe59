"""`slackwater teach`: practice on invented drains whose truth is known."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from slackwater.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import tzinfo

    from slackwater.teach.draw import Drawn
    from slackwater.teach.exercise import Exercise
    from slackwater.teach.lesson import Lesson
    from slackwater.teach.practice import Practice

_folder = click.option("--exercises", "folder", metavar="FOLDER", help="A folder of your unit's own exercises, too.")
_progress = click.option("--progress", metavar="FILE", help="Your own lessons, a line each; made if it is not there.")
_json = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


@click.group("teach", invoke_without_command=True)
@click.pass_context
def command(ctx: click.Context) -> None:
    """Practise reading invented drains, and learn how far your confidence goes with your skill.

    A drain unfolds moment by moment; you answer and say how sure you are; then you see what was truly so and where the
    trace shows it. Nobody here is a patient.

    \b
    Example:
      slackwater teach run --next --progress my-lessons.jsonl
      slackwater teach score --progress my-lessons.jsonl
    """
    if ctx.invoked_subcommand is None:
        ctx.invoke(listing, folder=None, progress=None, as_json=False)


@command.command("list")
@_folder
@_progress
@_json
def listing(folder: str | None, progress: str | None, as_json: bool) -> None:
    """List the exercises, the one to do next first.

    \b
    Example:
      slackwater teach list --progress my-lessons.jsonl
    """
    from slackwater.cli.view.practice import list_text
    from slackwater.teach.shelf import exercises
    from slackwater.teach.timetable import timetable

    now, due = _now_ms(), timetable(exercises(folder), _lessons(progress), _now_ms())
    if as_json:
        every = [
            {"name": one.exercise.name, "title": one.exercise.title, "kind": one.exercise.kind.name,
             "tried": one.tried, "due_ms": one.due_ms, "due_now": one.now(now)} for one in due
        ]  # fmt: skip
        click.echo(json.dumps(every, indent=2))
        return
    click.echo(list_text(due, now, _zone()))


@command.command("run")
@click.argument("name", required=False)
@click.option("--next", "whichever", is_flag=True, help="The one that is due.")
@click.option("--draw", "number", type=click.IntRange(1), help="Which draw. Default: one you have not had.")
@click.option("--moment", type=click.IntRange(1), help="Answer at this moment, the first being 1.")
@click.option("--answer", metavar="ID", help="The answer, by its number or its name.")
@click.option("--confidence", type=float, metavar="PERCENT", help="How sure: a guess (100 / answers) to 100.")
@_folder
@_progress
@_json
def run(
    name: str | None, whichever: bool, number: int | None, moment: int | None, answer: str | None,
    confidence: float | None, folder: str | None, progress: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Do one exercise: look, ask for the next moment, answer, say how sure you are.

    In a pipe nothing is asked: without --answer the drain and the question are printed and no more.

    \b
    Example:
      slackwater teach run no-swing --draw 1
      slackwater teach run no-swing --draw 1 --answer 3 --confidence 80
    """
    from slackwater.teach.draw import draw
    from slackwater.teach.lesson import draws_of
    from slackwater.teach.shelf import exercises
    from slackwater.teach.timetable import next_draw, timetable

    if (name is None) is not whichever:
        raise UsageError("name one exercise, or --next", where="teach run", mend="See: slackwater teach list.")
    known, lessons = exercises(folder), _lessons(progress)
    one = timetable(known, lessons, _now_ms())[0].exercise if name is None else _named(known, name)
    if number is not None and number in draws_of(lessons, one.name):
        raise UsageError(
            f"draw {number} of {one.name} was answered before: its truth was shown", where="--draw",
            mend="Leave --draw out, and the next drain is a new one.",
        )  # fmt: skip
    drawn = draw(one, number or next_draw(progress or "", one, lessons))
    at = len(drawn.moments_ms) if moment is None else moment
    drawn.moment_ms(at - 1)
    if answer is None and _at_terminal():
        lesson = _ask(drawn, moment or 1)
    elif answer is None:
        _show(drawn, (moment or 1) - 1, as_json)
        return
    else:
        lesson = _lesson(drawn, at - 1, answer, confidence)
    if progress is not None:
        from slackwater.teach.lesson import add_lesson

        add_lesson(progress, lesson)
    _tell(drawn, lesson, as_json)


@command.command("score")
@click.option("--progress", metavar="FILE", required=True, help="Your own lessons, as `teach run` wrote them.")
@click.option(
    "--settings", "settings_path", metavar="FILE", help="Your unit's [practice]: how long a kind stays current."
)
@_folder
@_json
def score(progress: str, settings_path: str | None, folder: str | None, as_json: bool) -> None:
    """Show where confidence and skill part, by kind of question; with --settings, what is current until when.

    \b
    Example:
      slackwater teach score --progress my-lessons.jsonl
    """
    from slackwater.audit.statistics.agreement import kappa
    from slackwater.cli.view.practice import score_text, skill_dict
    from slackwater.teach.practice import load_practice
    from slackwater.teach.score import skills
    from slackwater.teach.shelf import exercises

    if not Path(progress).exists():
        raise UsageError("is no file", where=progress, mend="Name the file that `teach run --progress` wrote.")
    practice = None if settings_path is None else load_practice(settings_path)
    if practice is not None and folder is None:
        folder = practice.exercises
    lessons, known = _lessons(progress), exercises(folder)
    found = skills(lessons, known, kappa)
    standings = {} if practice is None else _standings(practice, lessons, known)
    if as_json:
        every = {"kinds": [skill_dict(one) for one in found], "standing": standings}
        click.echo(json.dumps(every, indent=2))
        return
    click.echo(score_text(found, standings))


@command.command("check")
@click.argument("names", nargs=-1)
@_folder
@_json
def check(names: tuple[str, ...], folder: str | None, as_json: bool) -> None:
    """Check exercises: each draw of their [check] is made, and the truth must be what the file says. Exit 1 if not.

    \b
    Example:
      slackwater teach check --exercises our-exercises
    """
    from slackwater.teach.check import check as checked
    from slackwater.teach.shelf import exercises

    known = exercises(folder)
    found = [one for name in names or known for one in checked(_named(known, name))]
    if as_json:
        click.echo(json.dumps([vars(one) for one in found], indent=2))
    else:
        for one in found:
            click.echo(f"{one.exercise:<22} draw {one.draw:<3} {one.case:<14} {one.truth:<12} {one.fault or 'sound'}")
    if any(one.fault for one in found):
        click.get_current_context().exit(1)


@command.command("bench")
@click.argument("deeds", nargs=-1, metavar="DEED...")
@_json
def bench(deeds: tuple[str, ...], as_json: bool) -> None:
    """Change an invented drain by hand and see what its trace does, and what is concluded of it.

    Suction is given by its size: suction:20 is 20 cmH2O below the room's pressure.

    \b
    Example:
      slackwater teach bench suction:20 leak:60 wait:60 clamp wait:15 unclamp wait:5
    """
    from slackwater.cli.view.lanes import lanes
    from slackwater.report.sentences import leak_sentence
    from slackwater.teach.bench import DEEDS
    from slackwater.teach.bench import bench as made
    from slackwater.teach.told import BANNER

    one = made(deeds)
    found = one.found()
    says = leak_sentence(found, _zone())
    if as_json:
        click.echo(
            json.dumps({"deeds": one.deeds, "minute": one.minute, "concluded": says, "truth": one.truth}, indent=2)
        )
        return
    click.echo(
        "\n".join(
            [BANNER, "", *lanes(found, _zone()), "", f"Concluded: {says}", one.truth, "", f"Deeds: {', '.join(DEEDS)}"]
        )
    )


# --- parts -----------------------------------------------------------------------------------------


def _zone() -> tzinfo:
    from datetime import UTC

    return UTC


def _now_ms() -> int:
    from datetime import UTC, datetime

    return int(datetime.now(UTC).timestamp() * 1000)


def _at_terminal() -> bool:
    return sys.stdin.isatty()


def _named(known: Mapping[str, Exercise], name: str) -> Exercise:
    if name not in known:
        raise UsageError(f"no exercise is called {name[:40]!r}", where="teach", mend="See: slackwater teach list.")
    return known[name]


def _lessons(progress: str | None) -> Sequence[Lesson]:
    from slackwater.teach.lesson import read_lessons

    if progress is not None and Path(progress).is_dir():
        raise UsageError("is a folder", where=progress, mend="Name a file.")
    return () if progress is None else read_lessons(progress)


def _lesson(drawn: Drawn, moment: int, answer: str, confidence: float | None) -> Lesson:
    from slackwater.teach.lesson import Lesson, confident, sure_words

    answers = drawn.exercise.kind.answers
    if answer.isdecimal() and 1 <= int(answer) <= len(answers):  # the number that stands before it
        answer = list(answers)[int(answer) - 1]
    if answer not in answers:
        told = ", ".join(f"{number} or {name}" for number, name in enumerate(answers, start=1))
        raise UsageError(f"no answer {answer[:40]!r}", where="--answer", mend=f"Answers: {told}.")
    if confidence is None:
        raise UsageError("how sure you are is not said", where="--confidence", mend=f"Give {sure_words(len(answers))}.")
    return Lesson(
        drawn.exercise.name, drawn.draw, moment, answer, drawn.truth(moment), confident(confidence, len(answers)),
        _now_ms(), drawn.exercise.sha256,
    )  # fmt: skip


def _show(drawn: Drawn, moment: int, as_json: bool) -> None:
    from slackwater.cli.view.practice import asked_text

    if not as_json:
        click.echo(asked_text(drawn, moment, drawn.known_at(moment), _zone()))
        return
    one = drawn.exercise
    said = {
        "practice": True, "exercise": one.name, "draw": drawn.draw, "moment": moment + 1,
        "moments": len(drawn.moments_ms), "question": one.kind.question, "answers": one.kind.answers,
    }  # fmt: skip
    click.echo(json.dumps(said, indent=2))


def _ask(drawn: Drawn, moment: int) -> Lesson:
    """At the terminal: the drain, the next moment as often as it is asked for, the answer, the confidence."""
    from slackwater.teach.lesson import a_guess, sure_words

    names = list(drawn.exercise.kind.answers)
    least, may = int(a_guess(len(names))), sure_words(len(names))
    shown = 0
    while True:
        if shown != moment:
            _show(drawn, moment - 1, False)
            shown = moment
        more = moment < len(drawn.moments_ms)
        said = click.prompt(f"\n1 to {len(names)}{', or n for the next moment' if more else ''}", type=str).strip()
        if said == "n" and more:
            moment += 1
        elif said.isdecimal() and 1 <= int(said) <= len(names):
            sure = click.prompt(f"How sure are you, {may}", type=click.FloatRange(least, 100))
            return _lesson(drawn, moment - 1, names[int(said) - 1], sure)
        else:
            click.echo("That is none of the answers.")


def _tell(drawn: Drawn, lesson: Lesson, as_json: bool) -> None:
    from slackwater.cli.view.practice import told_text

    if not as_json:
        click.echo(told_text(drawn, lesson, _zone()))
        return
    first, last = drawn.evidence_ms
    said = {
        "practice": True, "exercise": lesson.exercise, "draw": lesson.draw, "moment": lesson.moment + 1,
        "answer": lesson.answer, "truth": lesson.truth, "right": lesson.right, "confidence": lesson.confidence,
        "why": drawn.case.why, "shown_from_ms": first, "shown_to_ms": last,
    }  # fmt: skip
    click.echo(json.dumps(said, indent=2))


def _standings(practice: Practice, lessons: Sequence[Lesson], known: Mapping[str, Exercise]) -> dict[str, str]:
    from slackwater.report.times import shown
    from slackwater.teach.exercise import kinds
    from slackwater.teach.practice import standing
    from slackwater.teach.score import by_kind

    out = {}
    for name, some in by_kind(lessons, known).items():
        found = standing(practice, some)
        until = "" if found.until_ms is None else f" (until {shown(found.until_ms, _zone())})"
        out[kinds()[name].title] = f"{found.word(_now_ms())}{until}: {practice.text}"
    return out
