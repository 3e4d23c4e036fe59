"""Drafting a layout from an unknown log: what its header states is taken, the rest is asked."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from slackwater.errors import LayoutError
from slackwater.reading.draft import NONE, Draft, Question
from slackwater.reading.excerpt import excerpt
from slackwater.reading.keys import DECIMALS, TABLES
from slackwater.reading.layout import Layout
from slackwater.reading.propose_channels import draft_flow, draft_others, draft_pressure
from slackwater.reading.propose_time import draft_time
from slackwater.reading.stamp_candidates import Candidate
from slackwater.reading.structure import Structure, structure_of


@dataclass(frozen=True)
class Proposal:
    """A draft of a layout; `questions` are its open keys, `evidence` says what was found and by what."""

    layout: Layout
    questions: tuple[Question, ...]
    header_line: int
    names: tuple[str, ...]
    time_candidates: tuple[Candidate, ...]
    evidence: tuple[str, ...]
    unread: tuple[str, ...]  # columns that the draft leaves aside

    def to_toml(self) -> str:
        """The draft as a file, with each open question as a comment above it."""
        asked = [
            f"# {q.key}: {q.text}" + (f" One of: {', '.join(q.choices)}." if q.choices else "") + f" Seen: {q.seen}"
            for q in self.questions
        ]
        if self.unread:
            asked.append(f"# Columns that are not read: {_listed(self.unread)}")
        return "\n".join([*(" ".join(line.split()) for line in asked), self.layout.to_toml()])


def propose(data: bytes, name: str, answers: Mapping[str, str] | None = None) -> Proposal:
    """Draft a layout for a log. Nothing is guessed from how large a value is; that is only shown.

    `answers` settles keys, e.g. {"pressure.unit": "kPa"}; each is checked as in a layout file.
    """
    found = structure_of(data, name)
    draft = Draft(_read_answers(answers or {}))
    _shape(draft, found)
    time_candidates = draft_time(draft, found)
    draft_flow(draft, found)
    draft_pressure(draft, found)
    draft_others(draft, found)
    for key, value in draft.answers.items():  # answers to what was not asked
        table, part = key.split(".")
        draft.tables.setdefault(table, {})[part] = value
    open_keys = [question.key for question in draft.questions]
    title = f"layout of {name}"
    layout = Layout.from_tables({**draft.tables, "unconfirmed": open_keys}, title)
    for key, column in layout.columns().items():
        if column not in found.names:
            raise LayoutError(
                f"the header has no column {column!r}",
                where=f"{title}, {key.split()[0]}",
                mend=f"It has: {_listed(found.names)}.",
            )
    return Proposal(
        layout,
        tuple(draft.questions),
        found.header_line,
        found.names,
        time_candidates,
        (*found.evidence, *draft.evidence),
        tuple(column for column in found.names if column and column not in layout.columns().values()),
    )


def layout_from_header(data: bytes, name: str) -> Layout:
    """The layout of a log whose header alone states units, sign and zone; refused if it does not.

    What a header seldom states and what cannot make a verdict bolder is assumed and told: flow is a
    mean (so a burst may be hidden), a stamp closes its interval, rounding is unknown (the widest cell);
    a column that no name calls pressure is none.
    """
    assumed = {"time.marks": "end", "flow.statistic": "mean"}
    first = propose(data, name)
    if any(question.key == "pressure.column" and NONE in question.choices for question in first.questions):
        without = {"pressure.column": NONE}
        first = propose(data, name, without)
    else:
        without = {}
    lacking = [question for question in first.questions if question.key not in assumed]
    if lacking:
        raise LayoutError(
            f"the header does not state {', '.join(question.key for question in lacking)}",
            where=f"{name}, line {first.header_line}",
            mend=f"Pick a layout with --layout, or draft one: `slackwater layout propose {name}`.",
        )
    taken = {question.key: assumed[question.key] for question in first.questions}
    layout = propose(data, name, without | taken).layout if taken else first.layout
    said = taken | without
    notes = tuple(f"the header does not state {key}; {value!r} is assumed" for key, value in said.items())
    return Layout.from_tables(layout.as_tables(), f"header of {name}", notes)


def _read_answers(answers: Mapping[str, str]) -> dict[str, Any]:
    """Answers as the values a layout file would hold."""
    known = {f"{table}.{key}": what for table, keys in TABLES.items() for key, what in keys.items()}
    read: dict[str, Any] = {}
    for key, text in answers.items():
        if key not in known:
            Layout.from_tables({"unconfirmed": [key]}, "answers")  # refuses, naming the nearest key
            continue
        kind, where = known[key].kind, f"answer to {key}"
        try:
            if text.startswith(("[", "{")) and kind in ("texts", "words"):
                read[key] = tomllib.loads(f"x = {text}")["x"]
            elif kind == "texts":
                read[key] = [part.strip() for part in text.split(",")]
            elif kind == "words":
                read[key] = {k.strip(): v.strip() for k, v in (part.split("=", 1) for part in text.split(","))}
            elif kind == "whole":
                read[key] = int(text) if text.isascii() and text.isdigit() else text
            elif kind == "yes_no":
                read[key] = {"true": True, "false": False}.get(text, text)
            else:
                read[key] = text
        except ValueError:
            raise LayoutError(
                f"{excerpt(text)} cannot be read", where=where, mend=f"Write e.g. {known[key].example}."
            ) from None
    return read


def _shape(draft: Draft, found: Structure) -> None:
    draft.state("log.separator", found.separator)
    if found.decimal_proven:
        draft.state("log.decimal", found.decimal)
    else:
        draft.ask("log.decimal", "Which is the decimal mark?", DECIMALS, found.evidence[-1])
    draft.state("log.encoding", found.encoding)
    draft.state("log.skip_lines", found.header_line - 1)
    draft.state("log.units_line", bool(found.units))
    draft.state("log.quote", found.quote)
    draft.state("log.missing", list(found.missing))


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(excerpt(name) for name in names[:12] if name)
