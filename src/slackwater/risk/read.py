"""A file of what is known of a patient (TOML, one table `[patient]`), or single answers as text."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable

from slackwater.episode.plain_text import plain_text
from slackwater.errors import QuantityError
from slackwater.quantities.grammar import parse_number
from slackwater.risk.inputs import KEYS, RiskInputError, RiskInputs, Value, unknown_key

_TABLE = "patient"


def read_risk_inputs(data: bytes, name: str, answers: Iterable[str] = ()) -> RiskInputs:
    """Read `[patient]`, and `answers` such as 'bmi=24.5' beside it; every key may be absent.

    `name` is what errors call the file. Raises RiskInputError naming line, key and mend: for TOML that cannot be
    read, an unknown key or word, a number out of range, a key that is answered in two ways.

    >>> sorted(read_risk_inputs(b'[patient]\\nsex = "male"', "p.toml", ["bmi=24.5"]).values.items())
    [('bmi', 24.5), ('sex', 'male')]
    """
    text = plain_text(data, name, RiskInputError)
    known: dict[str, Value] = {}
    for key, value in _patient(text, name).items():
        known[key] = _read(key, value, f"{name}, line {_line_of(key, text)}, {_TABLE}.")
    for answer in answers:
        key, second = _answered(answer)
        if known.setdefault(key, second) != second:
            what = f"is answered in two ways: {known[key]} and {second}"
            raise RiskInputError(what, where=f"--set {key}", mend="Keep one of them.")
    try:
        return RiskInputs(known)
    except RiskInputError as error:  # each value is sound: two of them contradict each other
        raise error.at(name) from None


def _patient(text: str, name: str) -> dict[str, object]:
    try:
        found = tomllib.loads(text + "\n")  # so that a fault at the end has a line
    except (ValueError, RecursionError) as error:  # ValueError also for an integer of thousands of digits
        line = re.search(r"at line (\d+), column (\d+)", str(error))
        place = f"{name}, line {line[1]}, column {line[2]}" if line else name
        what = re.sub(r"\s*\(at .*\)", "", str(error))
        mend = "Write lines such as bmi = 24.5, each key once."
        raise RiskInputError(f"is not TOML: {what}", where=place, mend=mend) from error
    for key in found:
        if key != _TABLE:
            place = f"{name}, line {_line_of(key, text)}, {key}"
            if key in KEYS:
                raise RiskInputError("stands in the wrong place", where=place, mend=f"Write it under [{_TABLE}].")
            raise RiskInputError("is not known here", where=place, mend=f"The file has one table, [{_TABLE}].")
    patient = found.get(_TABLE, {})
    if not isinstance(patient, dict):
        raise RiskInputError("is not a table", where=f"{name}, {_TABLE}", mend=f"Write [{_TABLE}] on its own line.")
    return patient


def _read(key: str, value: object, before: str) -> Value:
    if key not in KEYS:
        raise unknown_key(key, before)
    try:
        return KEYS[key].read(value)
    except RiskInputError as error:
        raise error.at(before + key) from None


def _answered(answer: str) -> tuple[str, Value]:
    name, sign, text = (part.strip() for part in answer.partition("="))
    if not sign or not name or not text:
        raise RiskInputError(f"{answer!r} is not KEY=VALUE", where="--set", mend="Write e.g. --set bmi=24.5.")
    value: Value = text
    if name in KEYS and not KEYS[name].words:
        try:
            value = parse_number(text)
        except QuantityError as error:
            mend = f"Write {KEYS[name].label} in digits, e.g. 24.5, without a unit."
            raise RiskInputError(error.what, where=f"--set {name}", mend=mend) from None
    return name, _read(name, value, "--set ")


def _line_of(key: str, text: str) -> int:
    """The first line that begins with the key, from 1: TOML keeps no line numbers."""
    starts = re.compile(rf"""\s*\[*\s*(?:patient\s*\.\s*)?["']?{re.escape(key)}["']?\s*[=.\]]""")
    for number, line in enumerate(text.split("\n"), start=1):
        if starts.match(line):
            return number
    return 1
