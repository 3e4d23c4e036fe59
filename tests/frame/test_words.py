"""Words that must not reach a reader, and names that say nothing.

The tool arranges what was recorded; it never says that a drain may come out, and it is no alarm.
"""

from __future__ import annotations

import ast
import json
import re
import tomllib
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest

from frame.source import PACKAGE, ROOT, place, python_files, room, tree

BANNED = {
    "safe to remove": re.compile(r"\bsafe to (?:be )?remove", re.I),
    "remove now": re.compile(r"\bremove(?:d)? now\b", re.I),
    "ready for removal": re.compile(r"\bready (?:for removal|to (?:be )?remove)", re.I),
    "all clear": re.compile(r"\ball[ -]clear\b", re.I),
    # 'normalise', 'standard_normal' and 'log-normal' are other words; a distribution is a distribution
    "normal": re.compile(r"(?<![\w.-])normal\b(?! distribution| approximation|\()", re.I),
    "alarm": re.compile(r"\balarms?\b", re.I),
    # a leak can only be said not to have been recorded, or not seen
    "no leak": re.compile(r"\A(?!.*\b(?:recorded|seen)\b).*\bno (?:air )?leak\b", re.I | re.S),
}

# The one place that says: this is no alarm.
CAUTIONS = {"cautions.py", "cautions.toml"}

# (file under src/slackwater, banned word, why it may stand there)
ALLOWED: set[tuple[str, str, str]] = set()

# Where a docstring is shown to a reader: a command's help is its docstring.
DOORS = {"cli", "web"}

NAMELESS = {"utils", "util", "utilities", "helpers", "helper", "common", "misc"}


def strings_of_python(path: Path) -> Iterator[tuple[int, str]]:
    skip = set() if room(path) in DOORS else {id(node) for node in docstrings(tree(path))}
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.JoinedStr):  # an f-string is read whole, {} for what is filled in
            parts = [part.value if isinstance(part, ast.Constant) else "{}" for part in node.values]
            skip |= {id(part) for part in node.values}
            yield node.lineno, "".join(str(part) for part in parts)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in skip:
            yield node.lineno, node.value


def docstrings(module: ast.Module) -> Iterator[ast.Constant]:
    """A text that stands alone as a statement: docstrings, and the notes under a field."""
    for node in ast.walk(module):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            yield node.value


def strings_of_data(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield str(key)
            yield from strings_of_data(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from strings_of_data(inner)


class Shown(HTMLParser):
    """What a page shows or has read aloud: its text and the attributes that hold words."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[int, str]] = []
        self.inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.inside = tag
        for name, value in attrs:
            if value and (name in {"title", "alt", "placeholder", "content"} or name.startswith("aria-")):
                self.found.append((self.getpos()[0], value))

    def handle_endtag(self, tag: str) -> None:
        self.inside = ""

    def handle_data(self, data: str) -> None:
        if self.inside not in {"style", "script"} and data.strip():
            self.found.append((self.getpos()[0], data))


def strings_of(path: Path) -> Iterator[tuple[int, str]]:
    if path.suffix == ".py":
        yield from strings_of_python(path)
    elif path.suffix == ".toml":
        yield from ((0, text) for text in strings_of_data(tomllib.loads(path.read_text("utf-8"))))
    elif path.suffix == ".json":
        yield from ((0, text) for text in strings_of_data(json.loads(path.read_text("utf-8"))))
    elif path.suffix in {".html", ".svg"}:
        page = Shown()
        page.feed(path.read_text("utf-8"))
        yield from page.found


def banned_in(path: Path) -> Iterator[str]:
    inside = path.relative_to(PACKAGE).as_posix()
    allowed = {word for file, word, _ in ALLOWED if file == inside}
    if path.name in CAUTIONS:
        allowed.add("alarm")
    if room(path) == "simulate":
        allowed.add("no leak")  # here the truth is known
    for line, text in strings_of(path):
        for word, pattern in BANNED.items():
            if word not in allowed and (hit := pattern.search(text)):
                start = max(hit.end() - 40, 0)
                yield f"{place(path, line)}: '{word}' in {text[start : hit.end() + 20]!r}"


def files_with_words() -> list[Path]:
    found = [path for suffix in ("toml", "json", "html", "svg") for path in PACKAGE.rglob(f"*.{suffix}")]
    return sorted([*python_files(), *found])


def test_no_banned_word_stands_in_a_string() -> None:
    found = [hit for path in files_with_words() for hit in banned_in(path)]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    ("word", "text"),
    [
        ("safe to remove", "The drain is safe to remove."),
        ("ready for removal", "ready to be removed"),
        ("all clear", "All clear since noon"),
        ("normal", "Swing is normal."),
        ("alarm", "An alarm sounds"),
        ("no leak", "There is no leak."),
    ],
)
def test_the_banned_words_are_found(word: str, text: str) -> None:
    assert BANNED[word].search(text)


@pytest.mark.parametrize(
    "text",
    [
        "normalise the header",
        "standard_normal",
        "log-normal",
        "a normal distribution of errors",
        "the drain was removed at noon",
        "no_leak",
        "no air leak was recorded until 14:10",
    ],
)
def test_words_that_only_look_banned_may_stand(text: str) -> None:
    assert not [word for word, pattern in BANNED.items() if pattern.search(text)]


def test_no_file_or_folder_has_a_name_that_says_nothing() -> None:
    named = [
        str(path.relative_to(ROOT))
        for top in ("src", "tests", "bench", "docs")
        for path in (ROOT / top).rglob("*")
        if path.stem.lower() in NAMELESS
    ]
    assert not named, f"say what is in it: {named}"
