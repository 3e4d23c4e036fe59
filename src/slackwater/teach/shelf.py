"""The exercises at hand: those shipped, and a unit's own folder beside them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path

from slackwater.errors import UsageError
from slackwater.teach.exercise import Exercise
from slackwater.teach.load import ExerciseError, load_exercise


@cache
def shipped_exercises() -> Mapping[str, Exercise]:
    """Those that come with the program, by name, in order of the alphabet."""
    found = sorted((files("slackwater.teach") / "exercises").iterdir(), key=lambda one: one.name)
    return _by_name((one.name, one.read_bytes()) for one in found if one.name.endswith(".toml"))


def exercises(folder: str | Path | None = None) -> Mapping[str, Exercise]:
    """The shipped ones and, where a folder is named, the unit's own; a name may be used once only."""
    shipped = shipped_exercises()
    if folder is None:
        return shipped
    if not Path(folder).is_dir():
        raise UsageError(f"{str(folder)!r} is no folder", where="exercises", mend="Name the folder of your exercises.")
    own = _by_name((str(path), path.read_bytes()) for path in sorted(Path(folder).glob("*.toml")))
    for name in own:
        if name in shipped:
            raise ExerciseError(f"{name!r} is the name of a shipped exercise", where=name, mend="Give yours another.")
    return {**shipped, **own}


def _by_name(every: Iterable[tuple[str, bytes]]) -> Mapping[str, Exercise]:
    found: dict[str, Exercise] = {}
    for file, data in every:
        one = load_exercise(data, file)
        if one.name in found:
            raise ExerciseError(f"two exercises are called {one.name!r}", where=file, mend="Give each its own name.")
        found[one.name] = one
    return found
