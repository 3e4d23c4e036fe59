"""A layout while it is drafted: what the log states is taken, and what it leaves open is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

NONE = "none"  # an answer: there is no such column


@dataclass(frozen=True)
class Question:
    """What the header leaves open: the layout's key, the question, answers to choose from, and what was seen."""

    key: str
    text: str
    choices: tuple[str, ...]
    seen: str


class Draft:
    """A layout's tables as they are filled in, with the questions that stay open."""

    def __init__(self, answers: Mapping[str, Any]) -> None:
        self.answers = dict(answers)
        self.tables: dict[str, dict[str, Any]] = {}
        self.questions: list[Question] = []
        self.evidence: list[str] = []

    def state(self, key: str, value: Any, why: str = "") -> None:
        """Take what the log itself states, unless an answer says otherwise."""
        table, name = key.split(".")
        self.tables.setdefault(table, {})[name] = self.answers.get(key, value)
        if why and key not in self.answers:
            self.evidence.append(f"{key} = {value!r}: {why}")

    def ask(self, key: str, text: str, choices: tuple[str, ...], seen: str) -> None:
        """Leave a key open, unless it is answered."""
        table, name = key.split(".")
        here = self.tables.setdefault(table, {})
        if key in self.answers:
            here[name] = self.answers[key]
        else:
            self.questions.append(Question(key, text, choices, seen))

    def leave_out(self, key: str) -> None:
        """Take an answer back out: it said that there is no such thing, and no table is written."""
        self.answers.pop(key)

    def state_or_ask(self, key: str, stated: Any, text: str, choices: tuple[str, ...], seen: str) -> None:
        """Take what the header states; ask where it states nothing."""
        if stated:
            self.state(key, stated, "the header states it")
        else:
            self.ask(key, text, choices, seen)

    def told(self, key: str) -> Any:
        """What is known of a key by now, or None."""
        table, name = key.split(".")
        return self.tables.get(table, {}).get(name, self.answers.get(key))
