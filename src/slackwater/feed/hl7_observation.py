"""One observation (OBX): is it sound, and has it a value to take? HL7 v2.6 chapter 7 (OBX), tables 0085, 0125; IHE PCD
TF-2 (PCD-01: OBX-4 path in the device tree, OBX-8 flags, OBX-11, OBX-18). All from memory."""

from __future__ import annotations

import re
from dataclasses import dataclass

from slackwater.feed.hl7_fault import MISSING, NO_SUCH_WORD, WRONG_TYPE, At, Hl7Error, Hl7Errors
from slackwater.feed.hl7_message import Segment
from slackwater.feed.hl7_time import MEND

# Table 0085. `given` statuses carry a result; `undone` take one back; the others say that there is none to take.
GIVEN = ("F", "R", "C")  # final, read but not verified (as a device sends), corrected
UNDONE = ("D", "W")  # deleted, posted as wrong
NONE_YET = {
    "X": "cannot be obtained", "P": "preliminary: the final one is awaited", "I": "awaited", "N": "not asked",
    "O": "description only", "S": "partial", "U": "the value is not sent again",
}  # fmt: skip
STATUSES = (*GIVEN, *UNDONE, *NONE_YET)

DOUBTED = {  # OBX-8, as PCD-01 uses it: a value so marked is no reading of this patient
    "INV": "marked invalid", "NAV": "marked not available", "QUES": "marked questionable",
    "CALB": "while calibrating", "TEST": "a test", "DEMO": "a demonstration",
}  # fmt: skip

_NM = re.compile(r"[+-]?(?:[0-9]{1,16}(?:\.[0-9]{0,15})?|\.[0-9]{1,15})", re.ASCII)
_SN = re.compile(r"(<|>|<=|>=|=|<>|)\^([^^]*)(?:\^(-|\+|/|\.|:|)(?:\^([^^]*))?)?", re.ASCII)
_TIMES = {
    "DT": re.compile(r"[0-9]{4}(?:[0-9]{2}){0,2}", re.ASCII),
    "TM": re.compile(r"[0-9]{2}(?:[0-9]{2}){0,2}(?:\.[0-9]{1,4})?(?:[+-][0-9]{4})?", re.ASCII),
    "DTM": re.compile(r"[0-9]{4}(?:[0-9]{2}){0,5}(?:\.[0-9]{1,4})?(?:[+-][0-9]{4})?", re.ASCII),
}
_TIMES["TS"] = _TIMES["DTM"]
TYPES = ("AD", "CE", "CF", "CNE", "CP", "CWE", "CX", "DR", "DT", "DTM", "ED", "EI", "FT", "MA", "MO", "NA", "NM", "PN",
         "RP", "SN", "ST", "TM", "TN", "TS", "TX", "XAD", "XCN", "XON", "XPN", "XTN")  # fmt: skip
CODED = ("CWE", "CE", "CNE")  # code^words^system
NULL = '""'  # a field so filled says: there is nothing


@dataclass(frozen=True)
class Value:
    """What an observation says: its text as sent; a number only where it is one, and no bound or ratio."""

    text: str
    is_number: bool
    is_bound: bool = False


def told_by(obx: Segment) -> tuple[str, Value | None]:
    """The status of an observation, and its value. Both faults are told: one of them often shows the other's cause."""
    faults: list[Hl7Error] = []
    status, value = "F", None
    try:
        status = status_of(obx)
    except Hl7Error as error:
        faults.append(error)
    try:
        value = value_of(obx, status)
    except Hl7Error as error:
        faults.insert(0, error)
    if faults:
        raise Hl7Errors(tuple(faults))
    return status, value


def status_of(obx: Segment) -> str:
    """OBX-11."""
    status = obx.only(11)
    if not status:
        raise Hl7Error("has no status", code=MISSING, at=obx.at.of(11), mend="Send OBX-11, e.g. F.")
    if status not in STATUSES:
        raise Hl7Error(
            f"{status!r} is no status", code=NO_SUCH_WORD, at=obx.at.of(11), mend=f"Send one of: {', '.join(STATUSES)}."
        )
    return status


def value_of(obx: Segment, status: str) -> Value | None:
    """OBX-2 and OBX-5, checked by their type; None where there is no value, which is never a zero."""
    raw, type_ = obx.raw(5), obx.only(2)
    if type_ and type_ not in TYPES:
        raise Hl7Error(f"{type_!r} is no type of value", code=NO_SUCH_WORD, at=obx.at.of(2), mend="Send e.g. NM.")
    if not raw or raw == NULL:
        return None
    if not type_:
        raise Hl7Error("has a value and no type", code=MISSING, at=obx.at.of(2), mend="Send OBX-2, e.g. NM.")
    if status == "X":
        raise Hl7Error(
            "has a value, and status X says that there is none", code=WRONG_TYPE, at=obx.at.of(5), mend="Send one."
        )
    return _typed(obx, type_)


def doubt_of(obx: Segment) -> str:
    """Why a value is no reading of this patient, by its flags (OBX-8); empty where nothing says so."""
    flags = {obx.code(8, 1, place) for place in range(1, obx.repetitions(8) + 1)}
    return ", ".join(DOUBTED[flag] for flag in DOUBTED if flag in flags)


def number_in(obx: Segment, place: str) -> Value:
    """The one number of an observation whose meaning here is a number (`place`: what it is here)."""
    value = value_of(obx, "F")
    at = obx.at.of(5)
    if value is None:
        raise Hl7Error("has no value", code=MISSING, at=at, mend="Send it.")
    if obx.repetitions(5) > 1:
        raise Hl7Error("has several values", code=WRONG_TYPE, at=at, mend="Send one observation for each.")
    if obx.code(2) not in ("NM", "SN"):
        raise Hl7Error(
            f"{place} is a number, and {obx.code(2)} is sent", code=WRONG_TYPE, at=obx.at.of(2), mend="Send NM."
        )
    return value


def path_of(obx: Segment) -> tuple[str, ...]:
    """OBX-4 as a place in the device tree: without the noughts that end it; () where it is none."""
    path = obx.only(4)
    if not re.fullmatch(r"[0-9]+(?:\.[0-9]+)*", path, re.ASCII):
        return ()
    parts = path.split(".")
    while len(parts) > 1 and parts[-1].strip("0") == "":
        parts.pop()
    return tuple(parts)


def set_id(obx: Segment) -> int | None:
    """OBX-1."""
    told = obx.only(1)
    if not told:
        return None
    if not re.fullmatch(r"[0-9]{1,4}", told, re.ASCII):
        raise Hl7Error(f"{told!r} is no set id", code=WRONG_TYPE, at=obx.at.of(1), mend="Count: 1, 2, 3.")
    return int(told)


def _typed(obx: Segment, type_: str) -> Value:
    at = obx.at.of(5)
    if type_ == "NM":
        for repetition in range(1, obx.repetitions(5) + 1):
            _number(obx.text(5, 1, repetition), at)
        if len(obx.components(5)) > 1:
            raise Hl7Error("has components, and a number has none", code=WRONG_TYPE, at=at, mend="Send one number.")
        return Value(obx.text(5, 1, 1), is_number=True)
    if type_ == "SN":
        return _structured(obx, at)
    if type_ == "NA":
        for place, number in enumerate(obx.components(5), start=1):
            _number(number, obx.at.of(5, place))
    elif type_ in _TIMES and not _TIMES[type_].fullmatch(obx.raw(5)):
        raise Hl7Error(f"{obx.raw(5)!r} is no {type_}", code=WRONG_TYPE, at=at, mend=MEND)
    if type_ in CODED and obx.repetitions(5) == 1:
        return Value(obx.shown(5, 2) or obx.shown(5, 1), is_number=False)
    return Value(obx.shown(5), is_number=False)  # whole, as sent: its first part alone would say something else


def _number(text: str, at: At) -> None:
    if not _NM.fullmatch(text):
        raise Hl7Error(f"{text[:40]!r} is no number", code=WRONG_TYPE, at=at, mend="Send digits, e.g. 12.5.")


def _structured(obx: Segment, at: At) -> Value:
    """SN: comparator^number^separator^number. `^12` is a number, `<^5` a bound, `1^:^128` neither."""
    match = _SN.fullmatch(obx.raw(5).replace(obx.separator, "^"))
    if match is None or not match[2]:
        raise Hl7Error(f"{obx.raw(5)[:40]!r} is no SN", code=WRONG_TYPE, at=at, mend="Send e.g. ^12.5 or <^5.")
    for number in filter(None, (match[2], match[4])):
        _number(number, at)
    plain = match[1] in ("", "=") and not match[3] and not match[4]
    said = f"{match[1].replace('=', '') if plain else match[1]}{match[2]}{match[3] or ''}{match[4] or ''}"
    return Value(said, is_number=plain, is_bound=not plain)
