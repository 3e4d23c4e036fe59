"""The table an engineer settles: which observations and units of HL7 v2 are read, and what they are here."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from importlib.resources import files
from typing import Any, NoReturn

from slackwater.episode.instants import read_zone
from slackwater.episode.items import ITEMS
from slackwater.episode.spelling import meant, one_slip_apart
from slackwater.errors import QuantityError, RefusedInput
from slackwater.feed.hl7_fault import MISSING, NO_SUCH_WORD, TWICE, Hl7Error
from slackwater.feed.hl7_message import Segment
from slackwater.quantities.units import parse_quantity, unit
from slackwater.reading.keys import MARKS, ROUNDINGS, SIGNS, STATISTICS
from slackwater.reading.log import STATES

# What a unit's observation can be: an amount of a reading or a part of one, a word, or the count.
AMOUNTS = {
    "flow": "flow", "flow_max": "flow", "pressure": "pressure", "pressure_min": "pressure", "pressure_max": "pressure",
    "set_suction": "pressure", "battery": "share", "fluid": "volume",
}  # fmt: skip
"""Each measure that is an amount, and the dimension of its unit."""
WORDED = {"mains": ("yes", "no"), "state": STATES}
MEASURES = (*AMOUNTS, *WORDED, "sequence")
SIGNED = ("pressure", "set_suction")
SEQUENCES = ("MSH-13", "MSH-10", "time")

UCUM = frozenset({
    "cm[H2O]", "mm[Hg]", "kPa", "hPa", "mbar", "Pa", "mL/min", "ml/min", "L/min", "l/min", "mL/h", "ml/h", "L/h", "l/h",
    "mL", "ml", "cL", "dL", "L", "l", "%", "/min", "1/min", "{beats}/min", "{breaths}/min", "Cel", "[degF]", "kg", "g",
    "min", "s", "h", "d", "1", "{score}",
})  # fmt: skip
"""UCUM's codes among the units known here (`quantities.units` knows other spellings too; a code has one)."""

_ITEM = re.compile(r"[a-z][a-z0-9]*(?:_[a-z0-9]+)*", re.ASCII)
_KEYS: dict[str, tuple[str, ...]] = {
    "accepts": ("processing", "senders"), "patient": ("identifier", "authority"), "time": ("zone",),
    "readings": ("sequence", "marks", "every", "statistic"),
    "code": ("code", "system", "text", "measure", "item", "sign", "step", "ceiling", "rounding", "words"),
    "unit": ("code", "name", "system", "is"),
}  # fmt: skip


class CodesError(RefusedInput):
    """A table of codes that cannot be used."""


@dataclass(frozen=True)
class Code:
    """An observation that is read: a `measure` of a unit's reading, or an `item` for the patient's chart.

    sign: that suction has as sent. step, ceiling: what the unit's display can tell apart, and where it ends, with their
    units; rounding: how it rounds (flow). words: what is sent, and the word for it here.
    """

    code: str
    system: str
    text: str = ""
    measure: str = ""
    item: str = ""
    sign: str = ""
    step: str = ""
    ceiling: str = ""
    rounding: str = ""
    words: tuple[tuple[str, str], ...] = ()

    @property
    def means(self) -> str:
        return self.measure or self.item


@dataclass(frozen=True)
class Codes:
    """The whole table. `units`: (code, name, system) as sent, and the unit here."""

    name: str
    processing: tuple[str, ...]
    senders: tuple[str, ...]
    identifier: str
    authority: str
    zone: tzinfo | None
    sequence: str
    marks: str
    every: tuple[str, str] | None  # how long a reading stands for: digits and unit
    statistic: str
    codes: Mapping[tuple[str, str], Code]
    units: Mapping[tuple[str, str, str], str]

    def of(self, segment: Segment, field: int = 3) -> Code | None:
        """What an observation identifier (OBX-3) is here, by its code or the alternate one; None: not in the table."""
        found = {self.codes.get((code, system)) for code, _, system in coded(segment, field)} - {None}
        if len(found) > 1:
            means = " and ".join(sorted(one.means for one in found if one))
            raise Hl7Error(
                f"its two codes mean {means} here", code=NO_SUCH_WORD, at=segment.at.of(field), mend="Send one."
            )
        return next(iter(found), None)

    def unit_of(self, segment: Segment, field: int = 6) -> str:
        """The unit (OBX-6) by UCUM code or as the table has it; refused where it is missing, unknown or two."""
        told = coded(segment, field)
        at = segment.at.of(field)
        if not told:
            raise Hl7Error("has no unit", code=MISSING, at=at, mend="Send it as a UCUM code, e.g. mL/min^^UCUM.")
        found = {one for one in (self._unit(*triple) for triple in told) if one}
        if len(found) == 1:
            return found.pop()
        as_sent = segment.raw(field)[:60]
        if found:
            raise Hl7Error(f"{as_sent!r} says two units", code=NO_SUCH_WORD, at=at, mend="Send one.")
        raise Hl7Error(
            f"{as_sent!r} is no unit read here", code=NO_SUCH_WORD, at=at,
            mend="Send a UCUM code with ^^UCUM, or have the engineer enter it in the table of codes.",
        )  # fmt: skip

    def _unit(self, code: str, name: str, system: str) -> str | None:
        if system == "UCUM":
            return unit(code).symbol if code in UCUM else None
        found = self.units.get((code, name, system))
        return None if found is None else unit(found).symbol


def coded(segment: Segment, field: int) -> tuple[tuple[str, str, str], ...]:
    """The codes of a coded element: (code, text, system), its own and the alternate; empty ones left out."""
    if segment.repetitions(field) > 1:
        raise Hl7Error("stands there several times", code=TWICE, at=segment.at.of(field), mend="Send one.")
    triples = [tuple(segment.code(field, first + step) for step in range(3)) for first in (1, 4)]
    return tuple((code, text, system) for code, text, system in triples if code)


def shipped_codes() -> Codes:
    """The example that comes along."""
    path = files("slackwater.feed").joinpath("hl7_codes.toml")
    return read_codes(path.read_bytes(), "hl7_codes.toml")


def read_codes(data: bytes, name: str) -> Codes:
    """Read a table of codes; CodesError names the place and the mend."""
    try:
        told = tomllib.loads(data.decode())
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise CodesError(f"is no TOML: {error}", where=name, mend="Mend it.") from None
    for key in told:
        if key != "name" and key not in _KEYS:
            _wrong(f"{key!r} is no key", f"{name}", f"Known: name, {', '.join(_KEYS)}.")
    tables = {key: _table(told.get(key, {}), key, name) for key in ("accepts", "patient", "time", "readings")}
    readings = tables["readings"]
    zone = _text(tables["time"], "zone", f"{name}, time")
    return Codes(
        name=_text(told, "name", name),
        processing=_texts(tables["accepts"], "processing", f"{name}, accepts", ["P"]),
        senders=_texts(tables["accepts"], "senders", f"{name}, accepts", []),
        identifier=_text(tables["patient"], "identifier", f"{name}, patient", needed=True),
        authority=_text(tables["patient"], "authority", f"{name}, patient"),
        zone=_zone(zone, f"{name}, time.zone") if zone else None,
        sequence=_word(readings, "sequence", SEQUENCES, f"{name}, readings", "MSH-13"),
        marks=_word(readings, "marks", MARKS, f"{name}, readings"),
        every=_every(_text(readings, "every", f"{name}, readings"), f"{name}, readings.every"),
        statistic=_word(readings, "statistic", STATISTICS, f"{name}, readings"),
        codes=_codes(told.get("code", []), name),
        units=_units(told.get("unit", []), name),
    )


def _codes(rows: Any, name: str) -> dict[tuple[str, str], Code]:
    found: dict[tuple[str, str], Code] = {}
    for place, row in enumerate(_rows(rows, name, "code"), start=1):
        where = f"{name}, code {place}"
        cells = _table(row, "code", where)
        words = cells.get("words", {})
        if not isinstance(words, dict) or not all(isinstance(word, str) for word in words.values()):
            _wrong("words are no table of texts", where, 'Write e.g. { Y = "yes", N = "no" }.')
        texts = {key: _text(cells, key, where) for key in _KEYS["code"] if key != "words"}
        code = Code(**texts, words=tuple(words.items()))
        _check(code, where)
        if found.setdefault((code.code, code.system), code) is not code:
            _wrong(f"{code.code} of {code.system} stands twice", where, "Write each code once.")
    return found


def _check(code: Code, where: str) -> None:
    if not code.code or not code.system or bool(code.measure) == bool(code.item):
        _wrong("needs code, system, and either measure or item", where, "Write them.")
    if code.measure and code.measure not in MEASURES:
        _wrong(f"{code.measure!r} is no measure", f"{where}, measure", meant(code.measure, MEASURES))
    if (code.measure in SIGNED) != bool(code.sign) or code.sign not in ("", *SIGNS):
        _wrong("the sign that suction has as sent", f"{where}, sign",
               f"Write {' or '.join(SIGNS)} for {' and '.join(SIGNED)}, and only there.")  # fmt: skip
    for key, text in (("step", code.step), ("ceiling", code.ceiling)):
        _check_size(code, key, text, f"{where}, {key}")
    if code.rounding and (code.measure != "flow" or code.rounding not in ROUNDINGS):
        _wrong(
            f"{code.rounding!r} is no rounding here", f"{where}, rounding", f"Flow's may be: {', '.join(ROUNDINGS)}."
        )
    allowed = WORDED.get(code.measure, ())
    if bool(allowed) != bool(code.words) or any(word not in allowed for _, word in code.words):
        _wrong(
            "the words as sent", f"{where}, words", f"Write each, and what it means: {', '.join(allowed) or 'none'}."
        )
    if not code.item:
        return
    item = ITEMS.get(code.item)
    if item is not None and (item.subject != "patient" or item.kind != "number"):
        _wrong(f"{code.item} is not charted by message", f"{where}, item", "Only readings of the patient are.")
    slip = [known for known in ITEMS if one_slip_apart(code.item, known)]
    if item is None and (slip or not _ITEM.fullmatch(code.item)):
        _wrong(f"{code.item!r} is no item", f"{where}, item",
               f"Write {slip[0]}." if slip else "Write small letters, digits and _.")  # fmt: skip


def _check_size(code: Code, key: str, text: str, where: str) -> None:
    if not text:
        return
    dimension = {"flow": "flow", "pressure": "pressure" if key == "step" else ""}.get(code.measure, "")
    if not dimension:
        _wrong("is not said of it", where, "Leave it out.")
    try:
        parse_quantity(text, dimension)
    except QuantityError as error:
        raise CodesError(error.what, where=where, mend=error.mend) from error


def _units(rows: Any, name: str) -> dict[tuple[str, str, str], str]:
    found: dict[tuple[str, str, str], str] = {}
    for place, row in enumerate(_rows(rows, name, "unit"), start=1):
        where = f"{name}, unit {place}"
        cells = _table(row, "unit", where)
        key = (_text(cells, "code", where, needed=True), _text(cells, "name", where),
               cells["system"] if isinstance(cells.get("system"), str) else "MDC")  # fmt: skip
        is_ = _text(cells, "is", where, needed=True)
        if is_ not in UCUM:
            _wrong(f"{is_!r} is no unit here", f"{where}, is", f"Write one of: {', '.join(sorted(UCUM))}.")
        if key in found or key[2] == "UCUM":
            _wrong("stands twice, or says what UCUM says", where, "Leave it out.")
        found[key] = is_
    return found


def _table(told: Any, kind: str, where: str) -> dict[str, Any]:
    if not isinstance(told, dict):
        _wrong(f"{kind} is no table", where, f"Write [{kind}].")
    for key in told:
        if key not in _KEYS[kind]:
            _wrong(f"{key!r} is no key of {kind}", where, meant(key, _KEYS[kind]))
    return dict(told)


def _rows(rows: Any, name: str, kind: str) -> list[Any]:
    if not isinstance(rows, list):
        _wrong(f"{kind} is no list of tables", name, f"Write [[{kind}]].")
    return list(rows)


def _text(table: Mapping[str, Any], key: str, where: str, needed: bool = False) -> str:
    value = table.get(key, "")
    if not isinstance(value, str) or (needed and not value):
        _wrong("is no text" if value else "is missing", f"{where}, {key}", "Write it in quotes.")
    return str(value)


def _texts(table: Mapping[str, Any], key: str, where: str, usual: list[str]) -> tuple[str, ...]:
    value = table.get(key, usual)
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        _wrong("is no list of texts", f"{where}, {key}", 'Write e.g. ["P"].')
    return tuple(value)


def _word(table: Mapping[str, Any], key: str, known: tuple[str, ...], where: str, usual: str = "") -> str:
    word = table.get(key, usual)
    if word not in known:
        _wrong(f"{word!r} is no word for it" if word else "is missing", f"{where}, {key}", meant(str(word), known))
    return str(word)


def _every(text: str, where: str) -> tuple[str, str] | None:
    if not text:
        return None
    try:
        parse_quantity(text, "time")
    except QuantityError as error:
        raise CodesError(error.what, where=where, mend=error.mend) from error
    digits, _, symbol = text.partition(" ")
    return digits, symbol.strip()


def _zone(text: str, where: str) -> tzinfo:
    try:
        return read_zone(text)
    except QuantityError as error:
        raise CodesError(error.what, where=where, mend=error.mend) from error


def _wrong(what: str, where: str, mend: str) -> NoReturn:
    raise CodesError(what, where=where, mend=mend)
