"""The closed table of units that slackwater reads, with exact factors to the internal unit.

Sources: NIST SP 811 (2008), appendix B.8: conventional centimetre of water 98.0665 Pa,
conventional millimetre of mercury 13.5951 x 9.80665 Pa = 133.322387415 Pa; UCUM for the codes
with brackets (`cm[H2O]`, `mm[Hg]`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from slackwater.errors import QuantityError
from slackwater.quantities.grammar import parse_exact

PASCAL_PER_CMH2O = Fraction(980665, 10000)
PASCAL_PER_MMHG = Fraction(135951, 10000) * Fraction(980665, 100000)


@dataclass(frozen=True)
class Unit:
    """A unit: how it prints, what it measures, and how many internal units it holds."""

    symbol: str
    dimension: str  # pressure, flow, volume, time, share, mass, rate, temperature, length, plain
    factor: Fraction  # internal units in one of these
    shift: Fraction = Fraction(0)  # added after the factor, for degrees Fahrenheit


def _pressure(symbol: str, pascal: Fraction) -> Unit:
    return Unit(symbol, "pressure", pascal / PASCAL_PER_CMH2O)


CMH2O = _pressure("cmH2O", PASCAL_PER_CMH2O)
ML_PER_MIN = Unit("mL/min", "flow", Fraction(1))
ML = Unit("mL", "volume", Fraction(1))

_TABLE: tuple[tuple[Unit, tuple[str, ...]], ...] = (
    (CMH2O, ("cmH2O", "cm[H2O]", "cmH₂O", "cm H2O", "cmwc")),
    (_pressure("mmHg", PASCAL_PER_MMHG), ("mmHg", "mm[Hg]", "mm Hg")),
    (_pressure("kPa", Fraction(1000)), ("kPa",)),
    (_pressure("hPa", Fraction(100)), ("hPa",)),
    (_pressure("mbar", Fraction(100)), ("mbar",)),
    (_pressure("Pa", Fraction(1)), ("Pa",)),
    (ML_PER_MIN, ("mL/min", "ml/min", "cc/min")),
    (Unit("L/min", "flow", Fraction(1000)), ("L/min", "l/min")),
    (Unit("mL/h", "flow", Fraction(1, 60)), ("mL/h", "ml/h")),
    (Unit("L/h", "flow", Fraction(1000, 60)), ("L/h", "l/h")),
    (ML, ("mL", "ml", "cc")),
    (Unit("cL", "volume", Fraction(10)), ("cL", "cl")),
    (Unit("dL", "volume", Fraction(100)), ("dL", "dl")),
    (Unit("L", "volume", Fraction(1000)), ("L", "l")),
    (Unit("mL/kg", "volume per mass", Fraction(1)), ("mL/kg", "ml/kg")),
    (Unit("s", "time", Fraction(1)), ("s", "sec")),
    (Unit("min", "time", Fraction(60)), ("min", "mins", "minute", "minutes")),
    (Unit("h", "time", Fraction(3600)), ("h", "hr", "hour", "hours")),
    (Unit("d", "time", Fraction(86400)), ("d", "day", "days")),
    (Unit("%", "share", Fraction(1)), ("%", "percent")),
    (Unit("kg", "mass", Fraction(1)), ("kg",)),
    (Unit("g", "mass", Fraction(1, 1000)), ("g",)),
    (Unit("/min", "rate", Fraction(1)), ("/min", "1/min", "bpm", "{beats}/min", "{breaths}/min")),
    (Unit("Cel", "temperature", Fraction(1)), ("Cel", "°C", "degC", "C")),
    (Unit("[degF]", "temperature", Fraction(5, 9), Fraction(-160, 9)), ("[degF]", "°F", "degF", "F")),
    (Unit("cm", "length", Fraction(1)), ("cm",)),
    (Unit("mm", "length", Fraction(1, 10)), ("mm",)),
    (Unit("", "plain", Fraction(1)), ("", "1", "{score}", "{grade}")),
)

_BY_NAME: dict[str, Unit] = {name: unit_ for unit_, names in _TABLE for name in names}


def unit(name: str, dimension: str | None = None) -> Unit:
    """The unit called `name`; with `dimension`, only one that measures it.

    Names are case-sensitive, as in UCUM: `mL` and `ML` are not the same.

    >>> round(float(unit("kPa").factor), 4)
    10.1972
    """
    found = _BY_NAME.get(name.strip())
    if found is None or (dimension is not None and found.dimension != dimension):
        allowed = sorted({u.symbol for u in _BY_NAME.values() if dimension in (None, u.dimension)} - {""})
        kind = f"a unit of {dimension}" if dimension else "a unit known here"
        raise QuantityError(f"{name!r} is not {kind}", mend=f"Write one of: {', '.join(allowed)}.")
    return found


@dataclass(frozen=True)
class Quantity:
    """A number as written with its unit, and its exact value in the internal unit."""

    value: Fraction  # internal unit
    unit: Unit  # as written

    @property
    def written(self) -> Fraction:
        """The number in the unit it was written in."""
        return (self.value - self.unit.shift) / self.unit.factor


_WRITTEN = re.compile(r"\s*([+\-−]?[0-9.,]+(?:[eE][+-]?[0-9]{1,2})?)\s*(.*?)\s*", re.DOTALL)


def parse_quantity(text: str, dimension: str, decimal: str = ".") -> Quantity:
    """Read '20 mL/min'. A bare number is refused: the unit is never guessed.

    >>> float(parse_quantity("0.02 L/min", "flow").value)
    20.0
    """
    match = _WRITTEN.fullmatch(text)
    if not match:
        raise QuantityError(f"{text!r} is not a number with a unit", mend=f"Write {_example(dimension)}.")
    number = parse_exact(match[1], decimal)
    if not match[2] and dimension != "plain":
        raise QuantityError(f"{text!r} has no unit", mend=f"Write one, e.g. {_example(dimension)}.")
    of = unit(match[2], dimension)
    return Quantity(number * of.factor + of.shift, of)


def format_quantity(value: float | Fraction, symbol: str, places: int | None = None) -> str:
    """Print a value that is in the internal unit, in the unit `symbol`; trailing zeros go.

    >>> format_quantity(-20, "kPa", places=2)
    '-1.96 kPa'
    """
    of = unit(symbol)
    shown = (float(value) - float(of.shift)) / float(of.factor)
    text = f"{shown:.{places}f}" if places is not None else f"{shown:.6g}"
    if float(text) == 0:
        text = text.lstrip("-")
    return f"{text} {of.symbol}".strip()


def _example(dimension: str) -> str:
    return {
        "pressure": '"-20 cmH2O"',
        "flow": '"20 mL/min"',
        "volume": '"300 mL"',
        "volume per mass": '"6 mL/kg"',
        "time": '"8 h"',
        "share": '"92 %"',
        "mass": '"70 kg"',
        "rate": '"20 /min"',
        "temperature": '"37.5 Cel"',
        "length": '"12 cm"',
    }.get(dimension, '"4"')
