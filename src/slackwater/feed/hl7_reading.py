"""The suction unit's own observations, put together into readings: what one unit said of one moment."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from slackwater.errors import QuantityError
from slackwater.feed.hl7_codes import AMOUNTS, WORDED, Code, Codes
from slackwater.feed.hl7_fault import MISSING, NO_SUCH_WORD, SEQUENCE, TWICE, WRONG_TYPE, At, Hl7Error
from slackwater.feed.hl7_message import Segment
from slackwater.feed.hl7_observation import Value, number_in, path_of
from slackwater.feed.line import Amount, LineError, Reported
from slackwater.quantities.units import parse_quantity
from slackwater.quantities.units import unit as unit_called

# A part of an amount, and the amount that it is a part of.
PARTS = {"flow_max": ("flow", "max"), "pressure_min": ("pressure", "min"), "pressure_max": ("pressure", "max")}


@dataclass(frozen=True)
class Observed:
    """An OBX under its OBR. code None: it is not in the table, and may still name the equipment (OBX-18)."""

    obx: Segment
    obr: Segment
    code: Code | None
    time_ms: int | None
    value: Value | None


@dataclass(frozen=True)
class Count:
    """The unit's own count, as the header tells it. at None: it tells none by the table."""

    at: At | None
    told: int | None


@dataclass(frozen=True)
class Placed:
    """A reading, and the OBR that it stands under."""

    at: At
    reported: Reported


def readings_of(observed: Sequence[Observed], count: Count, codes: Codes) -> tuple[Placed, ...]:
    """One reading for each OBR with observations of a unit. A reading that cannot be refuses them all."""
    groups: dict[At, list[Observed]] = {}
    for one in observed:
        if one.code is not None:
            groups.setdefault(one.obr.at, []).append(one)
    if len(groups) > 1 and count.told is not None:
        count = Count(count.at, None)  # one number in the header is not the number of several readings
    return tuple(_reading(group, _serial(group, observed), count, codes) for group in groups.values())


def _reading(group: list[Observed], serial: str, count: Count, codes: Codes) -> Placed:
    first = group[0]
    by_measure: dict[str, Observed] = {}
    for one in group:
        assert one.code is not None
        if one.code.measure in by_measure:
            raise Hl7Error(
                f"{one.code.measure} stands twice under one OBR", code=TWICE, at=one.obx.at, mend="Send it once."
            )
        by_measure[one.code.measure] = one
        if one.time_ms is None:
            raise Hl7Error(
                "no time is told, here or in OBR-7", code=MISSING, at=one.obx.at.of(14), mend="Send when it was so."
            )
        if one.time_ms != first.time_ms:
            raise Hl7Error(
                "is of another moment than the reading", code=WRONG_TYPE, at=one.obx.at.of(14),
                mend="Send an OBR for each moment.",
            )  # fmt: skip
    assert first.time_ms is not None
    words = {measure: _word(by_measure[measure]) for measure in WORDED if measure in by_measure}
    try:
        reported = Reported(
            unit=serial,
            sequence=_sequence(by_measure.get("sequence"), count, codes, first.time_ms),
            time_ms=first.time_ms,
            marks=codes.marks,
            statistic=codes.statistic,
            every=None if codes.every is None else Amount(*codes.every),
            mains=None if "mains" not in words else words["mains"] == "yes",
            state=words.get("state"),
            **_amounts(by_measure, codes),
        )
    except LineError as error:
        raise _placed(error, by_measure, first) from error
    return Placed(first.obr.at, reported)


def _amounts(by_measure: Mapping[str, Observed], codes: Codes) -> dict[str, Amount]:
    found: dict[str, dict[str, str]] = {}
    for measure, dimension in AMOUNTS.items():
        one = by_measure.get(measure)
        if one is None:
            continue
        name, part = PARTS.get(measure, (measure, "value"))
        unit, value = codes.unit_of(one.obx), number_in(one.obx, measure)
        try:
            unit_called(unit, dimension)
        except QuantityError as error:
            raise Hl7Error(error.what, code=WRONG_TYPE, at=one.obx.at.of(6), mend=error.mend) from error
        if not value.is_number:
            raise Hl7Error(
                f"{measure} is a bound ({value.text}), no value", code=WRONG_TYPE, at=one.obx.at.of(5), mend="Send NM."
            )
        if part != "value" and name not in found:
            raise Hl7Error(f"stands there without {name}", code=SEQUENCE, at=one.obx.at, mend=f"Send {name}, too.")
        told = found.setdefault(name, {"unit": unit})
        if told["unit"] != unit:
            raise Hl7Error(
                f"is in {unit}, and {name} in {told['unit']}", code=WRONG_TYPE, at=one.obx.at.of(6), mend="Send one."
            )
        told[part] = _digits(value.text)
        assert one.code is not None
        told |= {"suction_is": one.code.sign} if one.code.sign else {}
        told |= {"rounding": one.code.rounding} if one.code.rounding else {}
        for key, text in (("step", one.code.step), ("ceiling", one.code.ceiling)):
            told |= {key: _in_unit(text, unit, one.obx.at.of(6))} if text else {}
    return {name: Amount(**told) for name, told in found.items()}


def _in_unit(text: str, symbol: str, at: At) -> str:
    """A size of the table in the unit that was sent, digit for digit."""
    of = unit_called(symbol)
    exact = parse_quantity(text, of.dimension).value / of.factor
    digits = f"{float(exact):.6f}".rstrip("0").rstrip(".")
    if Fraction(digits) != exact:
        raise Hl7Error(
            f"the table's {text} is no plain number of {symbol}", code=WRONG_TYPE, at=at, mend="Mend the table."
        )
    return digits


def _digits(text: str) -> str:
    """NM as a plain decimal number: `+5` and `.5` and `5.` are 5, 0.5 and 5; the digits stay as sent."""
    sign, size = ("-" if text[:1] == "-" else ""), text.lstrip("+-")
    size = f"0{size}" if size.startswith(".") else size
    return sign + size.removesuffix(".")


def _word(one: Observed) -> str:
    assert one.code is not None and one.value is not None
    word = dict(one.code.words).get(one.value.text)
    if word is None:
        known = ", ".join(sent for sent, _ in one.code.words)
        raise Hl7Error(
            f"{one.value.text[:30]!r} is no word for {one.code.measure}", code=NO_SUCH_WORD, at=one.obx.at.of(5),
            mend=f"The table has: {known}.",
        )  # fmt: skip
    return word


def _sequence(one: Observed | None, count: Count, codes: Codes, time_ms: int) -> int:
    if one is not None:
        number = number_in(one.obx, "a count").text
        if not number.isdigit():
            raise Hl7Error(f"{number!r} is no count", code=WRONG_TYPE, at=one.obx.at.of(5), mend="Count: 0, 1, 2.")
        return int(number)
    if codes.sequence == "time":
        return time_ms
    if count.told is None:
        at = count.at or At("MSH", 1, 13)
        raise Hl7Error(
            f"the count of the unit's reading is missing ({codes.sequence})", code=MISSING, at=at,
            mend="Send it; several readings in a message each need an observation of it.",
        )  # fmt: skip
    return count.told


def _serial(group: list[Observed], observed: Sequence[Observed]) -> str:
    """OBX-18 of the observations themselves, or of the nearest part of the device tree above them (OBX-4)."""
    serials = {serial for one in group if (serial := _serial_of(one, observed))}
    first = group[0].obx.at
    if not serials:
        raise Hl7Error(
            "no serial number of the unit is told, here or above it in the device tree", code=MISSING,
            at=first.of(18), mend="Send OBX-18.",
        )  # fmt: skip
    if len(serials) > 1:
        raise Hl7Error("one OBR speaks of two units", code=TWICE, at=first.of(18), mend="Send an OBR for each.")
    return serials.pop()


def _serial_of(one: Observed, observed: Sequence[Observed]) -> str:
    own = _equipment(one.obx)
    path = path_of(one.obx)
    if own or not path:
        return own
    above = [
        (len(place), serial)
        for other in observed
        if other.value is None
        and (place := path_of(other.obx))
        and place == path[: len(place)]
        and (serial := _equipment(other.obx))
    ]
    nearest = {serial for depth, serial in above if depth == max(above)[0]}
    if len(nearest) > 1:
        raise Hl7Error("the device tree names two units", code=TWICE, at=one.obx.at.of(4), mend="Send one.")
    return next(iter(nearest), "")


def _equipment(obx: Segment) -> str:
    if obx.repetitions(18) > 1:
        raise Hl7Error("names several instances", code=TWICE, at=obx.at.of(18), mend="Send the unit's alone.")
    return obx.code(18)


def _placed(error: LineError, by_measure: Mapping[str, Observed], first: Observed) -> Hl7Error:
    """What the reading's own checks refuse, at the observation that it speaks of."""
    name, _, part = error.where.partition(".")
    if name == "unit":
        at = first.obx.at.of(18)
    elif name == "sequence":
        at = by_measure["sequence"].obx.at.of(5) if "sequence" in by_measure else At("MSH", 1, 13)
    elif name == "time":
        at = first.obr.at.of(7)
    else:
        measure = next((one for one, of in PARTS.items() if of == (name, part)), name)
        one = by_measure.get(measure, first)
        at = one.obx.at.of(6 if part == "unit" else 5)
    return Hl7Error(error.what, code=WRONG_TYPE, at=at, mend=error.mend)
