"""Drafting a layout from an unknown log: what its header states is taken, the rest is asked."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import permutations
from typing import Any

from slackwater.errors import LayoutError, QuantityError
from slackwater.quantities.grammar import parse_number
from slackwater.reading.column_names import (
    HIGH_WORDS,
    LOW_WORDS,
    SET_WORDS,
    roles_of,
    stated_marks,
    stated_sign,
    stated_statistic,
    stated_unit,
    stated_zone,
    words_of,
)
from slackwater.reading.excerpt import excerpt
from slackwater.reading.keys import DECIMALS, MARKS, SIGNS, STATISTICS, TABLES
from slackwater.reading.layout import Layout
from slackwater.reading.log import STATES
from slackwater.reading.stamp_candidates import Candidate, candidates
from slackwater.reading.stamps import NUMERIC_FORMATS, Stamp, stamp_format
from slackwater.reading.structure import Structure, is_number, structure_of

FLOW_UNITS = ("mL/min", "L/min", "mL/h", "L/h")
PRESSURE_UNITS = ("cmH2O", "kPa", "hPa", "mbar", "mmHg", "Pa")
MOST_PAIRED = 8  # columns of which two may make up a stamp
_MAINS_WORDS = {"yes": True, "no": False, "mains": True, "battery": False, "AC": True, "DC": False}


@dataclass(frozen=True)
class Question:
    """What the header leaves open: the layout's key, the question, answers to choose from, and what was seen."""

    key: str
    text: str
    choices: tuple[str, ...]
    seen: str


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


class _Draft:
    """A layout's tables as they are filled in, with the questions that stay open."""

    def __init__(self, answers: Mapping[str, Any]) -> None:
        self.answers = answers
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

    def told(self, key: str) -> Any:
        """What is known of a key by now, or None."""
        table, name = key.split(".")
        return self.tables.get(table, {}).get(name, self.answers.get(key))


def propose(data: bytes, name: str, answers: Mapping[str, str] | None = None) -> Proposal:
    """Draft a layout for a log. Nothing is guessed from how large a value is; that is only shown.

    `answers` settles keys, e.g. {"pressure.unit": "kPa"}; each is checked as in a layout file.
    """
    found = structure_of(data, name)
    draft = _Draft(_read_answers(answers or {}))
    _shape(draft, found)
    time_candidates = _time(draft, found)
    _flow(draft, found)
    _pressure(draft, found)
    _others(draft, found)
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
    mean (so a burst may be hidden), a stamp closes its interval, rounding is unknown (the widest cell).
    """
    assumed = {"time.marks": "end", "flow.statistic": "mean"}
    first = propose(data, name)
    lacking = [question for question in first.questions if question.key not in assumed]
    if lacking:
        raise LayoutError(
            f"the header does not state {', '.join(question.key for question in lacking)}",
            where=f"{name}, line {first.header_line}",
            mend=f"Pick a layout with --layout, or draft one: `slackwater layout propose {name}`.",
        )
    taken = {question.key: assumed[question.key] for question in first.questions}
    layout = propose(data, name, taken).layout if taken else first.layout
    notes = tuple(f"the header does not state {key}; {value!r} is assumed" for key, value in taken.items())
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


def _shape(draft: _Draft, found: Structure) -> None:
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


def _time(draft: _Draft, found: Structure) -> tuple[Candidate, ...]:
    columns, fitting, ruled_out = _time_columns(draft, found)
    if not columns:
        draft.ask(
            "time.columns", "Which columns hold the time stamp?", tuple(filter(None, found.names)), "no column fits"
        )
        draft.ask("time.format", "How is the stamp written?", (), "no column fits")
        draft.ask("time.zone", "In which zone are the stamps?", (), "no column fits")
        draft.ask("time.marks", "Does a stamp close or open its interval?", MARKS, "not stated")
        return fitting
    draft.state("time.columns", columns, "its cells are stamps")
    title = " ".join(found.title(column) for column in columns)
    stamps = _joined_stamps(found, columns)
    first = f"the first stamp is {excerpt(stamps[0][1])}" if stamps else "no stamp"
    offsets = False
    if fitting:
        if len(fitting) == 1:
            draft.state("time.format", fitting[0].format, ruled_out or "no other known format fits")
        else:
            spans = ", ".join(f"as {c.format} the log spans {c.days} days" for c in fitting)
            draft.ask(
                "time.format",
                "How is the stamp written? No day above 12 settles it.",
                tuple(c.format for c in fitting),
                f"{first}; {spans}",
            )
        chosen = draft.told("time.format")
        offsets = next((c.offsets for c in fitting if c.format == chosen), fitting[0].offsets)
        if chosen not in (None, *(c.format for c in fitting), *NUMERIC_FORMATS):
            read = [stamp_format(str(chosen), "answer to time.format").read(text) for _, text in stamps]
            offsets = bool(read) and all(isinstance(stamp, Stamp) and stamp.utc for stamp in read)
    else:
        _numeric_clock(draft, title, first)
    form = draft.told("time.format")
    if form == "elapsed_s":
        draft.ask("time.start", "When did the log start? Give an offset, or answer time.zone too.", (), first)
        start = stamp_format("iso").read(str(draft.told("time.start") or ""))
        offsets = isinstance(start, Stamp) and start.utc
    if not offsets and form not in ("epoch_s", "epoch_ms"):
        stated = stated_zone(title)
        if stated is not None:
            draft.state("time.zone", stated.name, "the header states it")
        else:
            draft.ask(
                "time.zone",
                "In which zone are the stamps?",
                (),
                f"{first}, without an offset; e.g. Europe/Vienna, UTC, +02:00",
            )
    marks = stated_marks(title)
    if marks:
        draft.state("time.marks", marks, "the header states it")
    else:
        draft.ask(
            "time.marks", "Does a stamp close or open its interval?", MARKS, f"the column is called {excerpt(title)}"
        )
    return fitting


def _time_columns(draft: _Draft, found: Structure) -> tuple[list[str], tuple[Candidate, ...], str]:
    """The stamp's columns, the formats they fit, and what rules other formats out."""
    if "time.columns" in draft.answers:
        columns = [column for column in draft.answers["time.columns"] if column in found.names]
        return columns, *candidates(_joined_stamps(found, columns))
    named = [column for column in found.names if "time" in roles_of(column)]
    others = [column for column in found.names if column and column not in named]
    for column in [*named, *others]:
        fitting, ruled_out = candidates(found.values(column))
        if fitting:
            return [column], fitting, ruled_out
    for one, other in permutations([*named, *others][:MOST_PAIRED], 2):
        fitting, ruled_out = candidates(_joined_stamps(found, [one, other]))
        if fitting:
            return [one, other], fitting, ruled_out
    numeric = [column for column in named if all(is_number(cell) for _, cell in found.values(column)[:50])]
    return numeric[:1], (), ""


def _joined_stamps(found: Structure, columns: list[str]) -> list[tuple[int, str]]:
    places = [found.names.index(column) for column in columns]
    return [(line, " ".join(row[p] for p in places)) for line, row in found.rows if all(row[p] for p in places)]


def _numeric_clock(draft: _Draft, title: str, first: str) -> None:
    """A column of plain numbers: what they count is taken from the name only."""
    words, unit_ = words_of(title), stated_unit(title, "time")
    tail = title.lower().strip("[]() ")
    if {"epoch", "unix"} & set(words) and (tail.endswith(("_ms", " ms", "[ms")) or (unit_ and unit_.symbol == "s")):
        form = "epoch_ms" if tail.endswith(("_ms", " ms", "[ms")) else "epoch_s"
        draft.state("time.format", form, "the header states it")
    elif "elapsed" in words and (tail.endswith("_s") or (unit_ and unit_.symbol == "s")):
        draft.state("time.format", "elapsed_s", "the header states it")
    else:
        draft.ask("time.format", "What do the numbers in the time column count?", NUMERIC_FORMATS, first)


def _flow(draft: _Draft, found: Structure) -> None:
    named = [c for c in _playing(found, "flow", draft) if not HIGH_WORDS & set(words_of(c))]
    if len(named) == 1:
        draft.state("flow.column", named[0], "by its name")
    else:
        choices = tuple(named or [c for c in found.names if c and _numbers(found, c)])
        draft.ask("flow.column", "Which column is the air flow?", choices, f"{len(named)} columns are called so")
    column = draft.told("flow.column")
    if column not in found.names:
        draft.ask("flow.unit", "In which unit is the flow?", FLOW_UNITS, "the column is not known yet")
        draft.ask("flow.statistic", "Is a flow the mean over its interval, or a sample?", STATISTICS, "not stated")
        return
    title, seen = found.title(column), _seen(found, column)
    _unit(draft, "flow.unit", "In which unit is the flow?", title, "flow", FLOW_UNITS, seen)
    statistic = stated_statistic(title)
    if statistic:
        draft.state("flow.statistic", statistic, "the header states it")
    else:
        draft.ask(
            "flow.statistic",
            "Is a flow the mean over its interval, or a sample?",
            STATISTICS,
            f"the column is called {excerpt(column)}",
        )
    draft.state("flow.rounding", "unknown")
    high = [c for c in _playing(found, "flow", draft) if HIGH_WORDS & set(words_of(c))]
    if len(high) == 1 and _same_unit(found, high[0], column, "flow"):
        draft.state("flow.max_column", high[0], "by its name")


def _pressure(draft: _Draft, found: Structure) -> None:
    named = [c for c in _playing(found, "pressure", draft) if not SET_WORDS & set(words_of(c))]
    plain = [c for c in named if not (LOW_WORDS | HIGH_WORDS) & set(words_of(c))]
    if len(plain) == 1:
        draft.state("pressure.column", plain[0], "by its name")
    elif len(plain) > 1:
        draft.ask(
            "pressure.column", "Which column is the pressure?", tuple(plain), f"{len(plain)} columns are called so"
        )
    elif draft.told("pressure.column") is None:
        draft.evidence.append("no column is called pressure; none is read")
        return
    column = draft.told("pressure.column")
    if column not in found.names:
        draft.ask("pressure.unit", "In which unit is the pressure?", PRESSURE_UNITS, "the column is not known yet")
        draft.ask("pressure.suction_is", "Which sign has suction in this log?", SIGNS, "the column is not known yet")
        return
    title, seen = found.title(column), _seen(found, column)
    _unit(draft, "pressure.unit", "In which unit is the pressure?", title, "pressure", PRESSURE_UNITS, seen)
    sign = stated_sign(title)
    if sign:
        draft.state("pressure.suction_is", sign, "the header states it")
    else:
        draft.ask("pressure.suction_is", "Which sign has suction in this log?", SIGNS, seen)
    for key, words in (("min_column", LOW_WORDS), ("max_column", HIGH_WORDS)):
        side = [c for c in named if words & set(words_of(c))]
        if len(side) == 1 and _same_unit(found, side[0], column, "pressure"):
            draft.state(f"pressure.{key}", side[0], "by its name")
    _set_suction(draft, found, column)


def _set_suction(draft: _Draft, found: Structure, pressure: str) -> None:
    """The ordered suction; it shares unit and sign with the pressure unless its name or its values speak against it."""
    named = [
        c
        for c in found.names
        if SET_WORDS & set(words_of(c)) and roles_of(c) <= {"pressure"} and c != pressure and _numbers(found, c)
    ]
    if len(named) != 1:
        return
    column = named[0]
    draft.state("set_suction.column", column, "by its name")
    unit_, sign = stated_unit(found.title(column), "pressure"), stated_sign(found.title(column))
    if unit_ is not None:
        draft.state("set_suction.unit", unit_.symbol, "the header states it")
    if sign:
        draft.state("set_suction.suction_is", sign, "the header states it")
    elif _mostly_below(found, column) != _mostly_below(found, pressure):
        draft.ask(
            "set_suction.suction_is",
            "Which sign has suction in the column of set pressures? Its values differ in sign from the pressure's.",
            SIGNS,
            _seen(found, column),
        )


def _others(draft: _Draft, found: Structure) -> None:
    """Columns that are read only where nothing about them is open; the others are told."""
    for role, table in (
        ("battery", "battery"),
        ("fluid", "fluid"),
        ("serial", "serial"),
        ("mains", "mains"),
        ("state", "state"),
    ):
        named = [c for c in _playing(found, role, draft) if role == "serial" or found.values(c)]
        if len(named) != 1 or draft.told(f"{table}.column") is not None:
            continue
        column = named[0]
        words = sorted({cell for _, cell in found.values(column)})
        if role == "battery" and _numbers(found, column):
            unit_ = stated_unit(found.title(column), "share")
            if unit_ is not None:
                draft.state("battery.column", column, "by its name")
                continue
        elif role == "fluid" and _numbers(found, column):
            unit_ = stated_unit(found.title(column), "volume")
            if unit_ is not None:
                draft.state("fluid.column", column, "by its name")
                draft.state("fluid.unit", unit_.symbol, "the header states it")
                continue
        elif role == "serial":
            draft.state("serial.column", column, "by its name")
            continue
        elif role == "mains" and words and set(words) <= set(_MAINS_WORDS):
            draft.state("mains.column", column, "by its name")
            draft.state("mains.yes", [word for word in _MAINS_WORDS if _MAINS_WORDS[word]])
            draft.state("mains.no", [word for word in _MAINS_WORDS if not _MAINS_WORDS[word]])
            continue
        elif role == "state" and words and set(words) <= set(STATES):
            draft.state("state.column", column, "by its name")
            draft.state("state.words", {word: word for word in STATES})
            continue
        draft.evidence.append(f"column {excerpt(column)} is not read: write [{table}] to say what it holds")


def _playing(found: Structure, role: str, draft: _Draft) -> list[str]:
    """Columns whose name plays this role and no other, save the stamp's."""
    stamps = draft.told("time.columns") or []
    return [
        c for c in found.names if c and c not in stamps and role in roles_of(c) and not SET_WORDS & set(words_of(c))
    ]


def _unit(draft: _Draft, key: str, text: str, title: str, dimension: str, choices: tuple[str, ...], seen: str) -> None:
    unit_ = stated_unit(title, dimension)
    if unit_ is not None:
        draft.state(key, unit_.symbol, "the header states it")
    else:
        draft.ask(key, text, choices, seen)


def _same_unit(found: Structure, one: str, other: str, dimension: str) -> bool:
    a, b = stated_unit(found.title(one), dimension), stated_unit(found.title(other), dimension)
    return a is None or (b is not None and a.factor == b.factor)


def _numbers(found: Structure, column: str) -> list[float]:
    """The column's sampled cells as numbers; empty if most are none."""
    numbers = []
    values = found.values(column)
    for _, cell in values:
        try:
            numbers.append(parse_number(cell, "," if "," in cell and "." not in cell else "."))
        except QuantityError:
            continue
    return numbers if 2 * len(numbers) > len(values) else []


def _mostly_below(found: Structure, column: str) -> bool:
    numbers = _numbers(found, column)
    return 2 * sum(number < 0 for number in numbers) > sum(number != 0 for number in numbers)


def _seen(found: Structure, column: str) -> str:
    numbers = sorted(_numbers(found, column))
    if not numbers:
        return "no numbers"
    below = sum(number < 0 for number in numbers)
    return (
        f"smallest {numbers[0]:g}, median {numbers[len(numbers) // 2]:g}, largest {numbers[-1]:g} "
        f"in {len(numbers)} sampled rows, {below} below zero"
    )


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(excerpt(name) for name in names[:12] if name)
