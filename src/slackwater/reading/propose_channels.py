"""Drafting what a log's other columns hold: flow, pressure, set suction and the rest. No size is taken for a unit."""

from __future__ import annotations

from slackwater.errors import LayoutError, QuantityError
from slackwater.quantities.grammar import parse_number
from slackwater.reading.column_names import (
    HIGH_WORDS,
    LOW_WORDS,
    SET_WORDS,
    roles_of,
    stated_sign,
    stated_statistic,
    stated_unit,
    words_of,
)
from slackwater.reading.draft import NONE, Draft
from slackwater.reading.excerpt import excerpt
from slackwater.reading.keys import SIGNS, STATISTICS
from slackwater.reading.log import STATES
from slackwater.reading.structure import Structure

FLOW_UNITS = ("mL/min", "L/min", "mL/h", "L/h")
PRESSURE_UNITS = ("cmH2O", "kPa", "hPa", "mbar", "mmHg", "Pa")
_OTHER = ("volume", "share", "time", "temperature", "mass", "rate", "length")  # their units say what is no pressure
_MAINS_WORDS = {"yes": True, "no": False, "mains": True, "battery": False, "AC": True, "DC": False}


def draft_flow(draft: Draft, found: Structure) -> None:
    """State or ask for `flow`: its column, unit, statistic, and a column of largest values."""
    named = [c for c in _playing(found, "flow", draft) if not HIGH_WORDS & set(words_of(c))]
    if len(named) == 1:
        draft.state("flow.column", named[0], "by its name")
    else:
        stamps = draft.told("time.columns") or []
        choices = tuple(named or [c for c in found.names if c and c not in stamps and _numbers(found, c)])
        draft.ask("flow.column", "Which column is the air flow?", choices, f"{len(named)} columns are called so")
    column = draft.told("flow.column")
    if column not in found.names:
        draft.ask("flow.unit", "In which unit is the flow?", FLOW_UNITS, "the column is not known yet")
        draft.ask("flow.statistic", "Is a flow the mean over its interval, or a sample?", STATISTICS, "not stated")
        return
    title, seen = found.title(column), _seen(found, column)
    _unit(draft, "flow.unit", "In which unit is the flow?", title, "flow", FLOW_UNITS, seen)
    called = f"the column is called {excerpt(column)}"
    mean_or_sample = "Is a flow the mean over its interval, or a sample?"
    draft.state_or_ask("flow.statistic", stated_statistic(title), mean_or_sample, STATISTICS, called)
    draft.state("flow.rounding", "unknown")
    high = [c for c in _playing(found, "flow", draft) if HIGH_WORDS & set(words_of(c))]
    if len(high) == 1 and _same_unit(found, high[0], column, "flow"):
        draft.state("flow.max_column", high[0], "by its name")


def draft_pressure(draft: Draft, found: Structure) -> None:
    """State or ask for `pressure`: its column, unit and which sign suction has; and the suction that was set.

    Pressure is optional: where no column is called so, it is asked only if one is left that could hold it.
    """
    if draft.answers.get("pressure.column") == NONE and NONE not in found.names:
        draft.leave_out("pressure.column")
        for key in draft.answers:
            if key.startswith("pressure."):
                what = f"{key} is answered, but pressure.column is {NONE}"
                raise LayoutError(what, where="answers", mend="Answer pressure.column with a column of the header.")
        draft.evidence.append("pressure.column = none: answered; no pressure is read")
        return
    named = [c for c in _playing(found, "pressure", draft) if not SET_WORDS & set(words_of(c))]
    plain = [c for c in named if not (LOW_WORDS | HIGH_WORDS) & set(words_of(c))]
    if len(plain) == 1:
        draft.state("pressure.column", plain[0], "by its name")
    elif len(plain) > 1:
        draft.ask(
            "pressure.column", "Which column is the pressure?", tuple(plain), f"{len(plain)} columns are called so"
        )
    elif draft.told("pressure.column") is None:
        left = _left_over(draft, found)
        if not left:
            draft.evidence.append("no column is called pressure; none is read")
            return
        draft.ask(
            "pressure.column",
            f"Which column is the pressure? {NONE} if the log holds none.",
            (*left, NONE),
            "no column is called so",
        )
    column = draft.told("pressure.column")
    if column not in found.names:
        draft.ask("pressure.unit", "In which unit is the pressure?", PRESSURE_UNITS, "the column is not known yet")
        draft.ask("pressure.suction_is", "Which sign has suction in this log?", SIGNS, "the column is not known yet")
        return
    title, seen = found.title(column), _seen(found, column)
    _unit(draft, "pressure.unit", "In which unit is the pressure?", title, "pressure", PRESSURE_UNITS, seen)
    draft.state_or_ask("pressure.suction_is", stated_sign(title), "Which sign has suction in this log?", SIGNS, seen)
    for key, words in (("min_column", LOW_WORDS), ("max_column", HIGH_WORDS)):
        side = [c for c in named if words & set(words_of(c))]
        if len(side) == 1 and _same_unit(found, side[0], column, "pressure"):
            draft.state(f"pressure.{key}", side[0], "by its name")
    _set_suction(draft, found, column)


def _left_over(draft: Draft, found: Structure) -> tuple[str, ...]:
    """Columns of numbers that play no part yet, and so could be the pressure; while the flow is open, one is that."""
    taken = {*(draft.told("time.columns") or []), draft.told("flow.column"), draft.told("flow.max_column")}
    left = tuple(
        c
        for c in found.names
        if c
        and c not in taken
        and not roles_of(c)
        and not SET_WORDS & set(words_of(c))
        and not any(stated_unit(found.title(c), dimension) for dimension in _OTHER)
        and _numbers(found, c)
    )
    return left if draft.told("flow.column") is not None or len(left) > 1 else ()


def _set_suction(draft: Draft, found: Structure, pressure: str) -> None:
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


def draft_others(draft: Draft, found: Structure) -> None:
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


def _playing(found: Structure, role: str, draft: Draft) -> list[str]:
    """Columns whose name plays this role and no other, save the stamp's."""
    stamps = draft.told("time.columns") or []
    return [
        c for c in found.names if c and c not in stamps and role in roles_of(c) and not SET_WORDS & set(words_of(c))
    ]


def _unit(draft: Draft, key: str, text: str, title: str, dimension: str, choices: tuple[str, ...], seen: str) -> None:
    unit_ = stated_unit(title, dimension)
    draft.state_or_ask(key, None if unit_ is None else unit_.symbol, text, choices, seen)


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
