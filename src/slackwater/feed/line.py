"""One reading as a unit sends it: a line of JSON, read strictly. Nothing in it is guessed; what is absent is missing.

    {"unit": "SN-41", "sequence": 17, "time": "2041-03-04T15:19:01+01:00", "marks": "end", "statistic": "mean",
     "flow": {"value": 40, "unit": "mL/min"},
     "pressure": {"value": -19.6, "unit": "cmH2O", "suction_is": "negative"}, "mains": true}

The keys mean what they mean in a log's layout (docs/logs.md): `marks`, `statistic`, `suction_is`, `step`, `rounding`,
`ceiling`. Another door (HL7, say) makes a `Reported` itself: the same checks run when it is made.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any

from slackwater.episode.instants import read_instant
from slackwater.errors import QuantityError, RefusedInput
from slackwater.quantities import unit as unit_called
from slackwater.reading.careful import LATEST_MS
from slackwater.reading.channels import MOST_FLOW_UL_PER_MIN, MOST_FLUID_ML, MOST_PRESSURE_MCMH2O
from slackwater.reading.keys import MARKS, ROUNDINGS, SIGNS, STATISTICS
from slackwater.reading.layout import MICRO
from slackwater.reading.log import STATES
from slackwater.store.group import Message
from slackwater.store.live_text import stamp

LONGEST_LINE = 4096  # characters
LONGEST_SERIAL = 64
LARGEST_SEQUENCE = 2**53 - 1  # the largest whole number that every JSON reader keeps
LONGEST_EVERY_S = 3600

# An amount's limits are those of a log's cells, in the internal unit.
_MOST = {
    "flow": MOST_FLOW_UL_PER_MIN / MICRO,
    "pressure": MOST_PRESSURE_MCMH2O / MICRO,
    "volume": float(MOST_FLUID_ML),
    "share": 100.0,
    "time": float(LONGEST_EVERY_S),
}
_DIGITS = re.compile(r"-?[0-9]{1,9}(?:\.[0-9]{1,40})?", re.ASCII)  # as many decimals as a log's cell may have
_SERIAL = re.compile(rf"[A-Za-z0-9][A-Za-z0-9._:-]{{0,{LONGEST_SERIAL - 1}}}", re.ASCII)
_OFFSET = re.compile(r"(?:[Zz]|[+\-−][0-9]{2}:?[0-9]{2})\s*\Z", re.ASCII)

# amount -> (dimension, keys it must have, keys it may have)
_AMOUNTS: dict[str, tuple[str, tuple[str, ...], tuple[str, ...]]] = {
    "every": ("time", ("value", "unit"), ()),
    "flow": ("flow", ("value", "unit"), ("max", "step", "ceiling", "rounding")),
    "pressure": ("pressure", ("value", "unit", "suction_is"), ("min", "max", "step")),
    "set_suction": ("pressure", ("value", "unit", "suction_is"), ()),
    "battery": ("share", ("value", "unit"), ()),
    "fluid": ("volume", ("value", "unit"), ()),
}
_NEEDED = ("unit", "sequence", "time", "marks", "statistic")
_KEYS = (*_NEEDED, *_AMOUNTS, "mains", "state")


class LineError(RefusedInput):
    """A line that cannot be taken: one reason, and what to write instead."""


@dataclass(frozen=True)
class Amount:
    """A number with its unit, digit for digit as sent; the others (`max`, `min`, `step`, `ceiling`) in the same unit.

    `suction_is`: the sign that suction has in it, "positive" or "negative"; pressures only. Empty: not said.
    """

    value: str
    unit: str
    suction_is: str = ""
    min: str = ""
    max: str = ""
    step: str = ""
    ceiling: str = ""
    rounding: str = ""


@dataclass(frozen=True)
class Reported:
    """What one unit reported at one moment. None: it did not say. Raises LineError when made with what cannot be.

    unit: its serial. time_ms: UTC. marks: whether the stamp closes ("end") or opens ("start") its interval.
    statistic: the flow is the "mean" of its interval, or a "sample". every: how long the reading stands for.
    fluid: cumulative. state: one of `reading.log.STATES`.
    """

    unit: str
    sequence: int
    time_ms: int
    marks: str
    statistic: str
    every: Amount | None = None
    flow: Amount | None = None
    pressure: Amount | None = None
    set_suction: Amount | None = None
    battery: Amount | None = None
    fluid: Amount | None = None
    mains: bool | None = None
    state: str | None = None

    def __post_init__(self) -> None:
        if not is_serial(self.unit):
            raise LineError("is no serial number", where="unit",
                            mend=f"Write up to {LONGEST_SERIAL} letters, digits or . _ : -")  # fmt: skip
        if not 0 <= self.sequence <= LARGEST_SEQUENCE:
            raise LineError("is out of range", where="sequence", mend=f"Write 0 to {LARGEST_SEQUENCE}.")
        if not 0 <= self.time_ms <= LATEST_MS:
            raise LineError("is out of range", where="time", mend="Set the unit's clock.")
        _word(self.marks, MARKS, "marks")
        _word(self.statistic, STATISTICS, "statistic")
        if self.state is not None:
            _word(self.state, STATES, "state")
        for name in _AMOUNTS:
            amount: Amount | None = getattr(self, name)
            if amount is not None:
                object.__setattr__(self, name, _checked(name, amount))
        if all(getattr(self, name) is None for name in (*list(_AMOUNTS)[1:], "mains", "state")):
            raise LineError("reports nothing", mend="Write at least one of flow, pressure, state and the others.")


def is_serial(text: str) -> bool:
    """Whether it can be a unit's serial number on a line."""
    return _SERIAL.fullmatch(text) is not None


def read_line(text: str) -> Reported:
    """Read one line of JSON. Raises LineError, one line that says what is wrong where."""
    if len(text) > LONGEST_LINE:
        raise LineError(f"is over {LONGEST_LINE} characters long", where="the line", mend="Send one reading a line.")
    told = _object(text)
    for key in _NEEDED:
        if key not in told:
            raise LineError("is missing", where=key, mend="It has no default.")
    for key, value in told.items():
        if key not in _KEYS:
            raise LineError("there is no such key", where=_brief(key), mend=f"Known: {', '.join(_KEYS)}.")
        if value is None:
            raise LineError("is null", where=key, mend="Leave the key out where there is no value.")
    amounts = {name: _amount(name, told[name]) for name in _AMOUNTS if name in told}
    return Reported(
        unit=_text(told, "unit"),
        sequence=_whole(told["sequence"]),
        time_ms=_instant(_text(told, "time")),
        marks=_text(told, "marks"),
        statistic=_text(told, "statistic"),
        mains=_flag(told["mains"]) if "mains" in told else None,
        state=_text(told, "state") if "state" in told else None,
        **amounts,
    )


def line_of(reported: Reported) -> str:
    """The line that says this: always the same text for the same reading. `read_line` reads it back."""
    parts = [f'"unit":{json.dumps(reported.unit)}', f'"sequence":{reported.sequence}']
    parts.append(f'"time":"{stamp(reported.time_ms)}"')
    parts += [f'"marks":"{reported.marks}"', f'"statistic":"{reported.statistic}"']
    for name in _AMOUNTS:
        amount: Amount | None = getattr(reported, name)
        if amount is not None:
            parts.append(f'"{name}":{{{",".join(_said(amount))}}}')
    if reported.mains is not None:
        parts.append(f'"mains":{json.dumps(reported.mains)}')
    if reported.state is not None:
        parts.append(f'"state":"{reported.state}"')
    return "{" + ",".join(parts) + "}"


def message_of(reported: Reported) -> Message:
    """What the record keeps: the line in its one form, so that the same reading sent again is the same message."""
    return Message(reported.unit, reported.sequence, line_of(reported), reported.time_ms)


def _said(amount: Amount) -> list[str]:
    parts = [f'"value":{amount.value}', f'"unit":{json.dumps(amount.unit)}']
    parts += [f'"{key}":"{word}"' for key in ("suction_is", "rounding") if (word := getattr(amount, key))]
    parts += [f'"{key}":{digits}' for key in ("min", "max", "step", "ceiling") if (digits := getattr(amount, key))]
    return parts


# --- the line's own grammar -----------------------------------------------------------------------------


class _Number(str):
    """A number's digits as sent: 40 and 40.0 say how far the display can tell apart."""


def _object(text: str) -> dict[str, Any]:
    try:
        told = json.loads(
            text, object_pairs_hook=_once, parse_int=_Number, parse_float=_Number, parse_constant=_no_number
        )
    except (ValueError, RecursionError):
        raise LineError("is not JSON", where="the line", mend='Write {"unit": ..., "sequence": ..., ...}.') from None
    if not isinstance(told, dict):
        raise LineError("is no JSON object", where="the line", mend='Write {"unit": ..., "sequence": ..., ...}.')
    return told


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise LineError("stands twice", where=_brief(twice), mend="Write each key once.")
    return found


def _no_number(word: str) -> None:
    raise LineError(f"{word} is no number", where="the line", mend="Leave the key out where there is no value.")


def _amount(name: str, told: object) -> Amount:
    _, needed, may = _AMOUNTS[name]
    if not isinstance(told, dict):
        raise LineError("is no amount", where=name, mend='Write {"value": number, "unit": text}.')
    for key in needed:
        if key not in told:
            raise LineError("is missing", where=f"{name}.{key}", mend="It has no default.")
    for key, value in told.items():
        if key not in needed and key not in may:
            raise LineError("there is no such key", where=f"{name}.{_brief(key)}",
                            mend=f"Known: {', '.join((*needed, *may))}.")  # fmt: skip
        if key in ("unit", "suction_is", "rounding"):
            if not isinstance(value, str) or isinstance(value, _Number):
                raise LineError("is no text", where=f"{name}.{key}", mend="Write text in quotes.")
            if not value:
                raise LineError("is empty", where=f"{name}.{key}", mend="Write it, or leave the key out.")
        elif not isinstance(value, _Number):
            raise LineError("is no number", where=f"{name}.{key}", mend="Write a number without quotes.")
    return Amount(**{key: str(value) for key, value in told.items()})


def _checked(name: str, amount: Amount) -> Amount:
    """The amount, its unit under its one name; LineError where it cannot be."""
    dimension, needed, may = _AMOUNTS[name]
    try:
        found = unit_called(amount.unit[:20], dimension)
    except QuantityError as error:
        raise LineError(error.what, where=f"{name}.unit", mend=error.mend) from None
    for key in ("value", "min", "max", "step", "ceiling"):
        digits, where = getattr(amount, key), f"{name}.{key}"
        if not digits:
            continue
        if not _DIGITS.fullmatch(digits):
            raise LineError("is no plain decimal number", where=where,
                            mend="Write at most 9 digits and 40 decimals, without an exponent.")  # fmt: skip
        size = float(digits) * float(found.factor)
        if abs(size) > _MOST[dimension]:
            most = f"{_MOST[dimension] / float(found.factor):g} {found.symbol}"
            raise LineError(f"is beyond {most}", where=where, mend="Is its unit right?")
        if size < 0 and (dimension in ("volume", "share", "time") or key in ("step", "ceiling")):
            raise LineError("is below zero", where=where, mend="Write its size.")
        if size == 0 and (dimension == "time" or key in ("step", "ceiling")):
            raise LineError("is zero", where=where, mend="Write its size.")
    if "suction_is" in needed:
        _word(amount.suction_is, SIGNS, f"{name}.suction_is")
    if amount.rounding:
        _word(amount.rounding, ROUNDINGS, f"{name}.rounding")
    for key in ("suction_is", "min", "max", "step", "ceiling", "rounding"):
        if getattr(amount, key) and key not in needed and key not in may:
            raise LineError("there is no such key", where=f"{name}.{key}", mend="Leave it out.")
    return amount if amount.unit == found.symbol else Amount(**{**vars(amount), "unit": found.symbol})


def _text(told: dict[str, Any], key: str) -> str:
    value = told[key]
    if not isinstance(value, str) or isinstance(value, _Number):
        raise LineError("is no text", where=key, mend="Write text in quotes.")
    return value


def _whole(value: object) -> int:
    if not isinstance(value, _Number) or not re.fullmatch(r"[0-9]{1,16}", value, re.ASCII):
        raise LineError("is no whole number", where="sequence", mend="Count the unit's readings: 0, 1, 2, ...")
    return int(value)


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise LineError("is neither true nor false", where="mains", mend="Write true on mains, false on battery.")
    return value


def _instant(text: str) -> int:
    if len(text) > 40 or not _OFFSET.search(text):
        raise LineError("has no offset from UTC", where="time", mend="Write e.g. 2041-03-04T15:19:01+01:00.")
    try:
        return read_instant(text)
    except QuantityError as error:
        raise LineError(error.what, where="time", mend=error.mend) from None


def _word(word: str, known: tuple[str, ...], where: str) -> None:
    if word not in known:
        raise LineError(f"{_brief(word)!r} is no word for it", where=where, mend=f"Write one of: {', '.join(known)}.")


def _brief(text: str) -> str:
    shown = "".join(c if c.isprintable() else "·" for c in text[:30])
    return shown if len(text) <= 30 else shown + "…"
