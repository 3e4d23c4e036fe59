"""Levels of suction: the units people speak of them in, side by side, and the range that a rule allows."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from slackwater.quantities.units import Quantity, format_quantity, unit

SPOKEN_IN = ("cmH2O", "kPa", "mmHg", "hPa")  # one hPa is one mbar


@dataclass(frozen=True)
class SuctionRange:
    """What a rule allows as added suction, as its file writes it; sizes, without a sign."""

    lowest: Quantity
    highest: Quantity
    step: Quantity | None = None  # what the unit can be set in
    kept_within: Quantity | None = None  # so far from the order still counts as kept; None: the rule does not say

    def holds(self, cmh2o: Fraction) -> bool:
        """Whether a level, of either sign, lies in the range; its ends do."""
        return self.lowest.value <= abs(cmh2o) <= self.highest.value

    @property
    def told(self) -> str:
        return f"{exactly(self.lowest)} to {exactly(self.highest)}"

    def settable(self, cmh2o: Fraction) -> Fraction | None:
        """The nearest level that can be set, cmH2O, suction negative; None where it can be set itself, or no step is
        known."""
        if self.step is None:
            return None
        steps = abs(cmh2o) / self.step.value
        return None if steps.denominator == 1 else -round(steps) * self.step.value


def exactly(quantity: Quantity) -> str:
    """A quantity as written: every digit, in its own unit.

    >>> from slackwater.quantities.units import parse_quantity
    >>> exactly(parse_quantity("-1.5 kPa", "pressure"))
    '-1.5 kPa'
    """
    return f"{digits(quantity.written)} {quantity.unit.symbol}"


def digits(number: Fraction) -> str:
    """A number that was written in decimals, with all of them and no more.

    >>> digits(Fraction(-39, 2)), digits(Fraction(20))
    ('-19.5', '20')
    """
    places = 0
    while (number * 10**places).denominator != 1 and places < 30:
        places += 1
    whole = abs(number * 10**places)
    text = str(round(whole)).rjust(places + 1, "0")
    body = f"{text[:-places]}.{text[-places:]}" if places else text
    return f"-{body}" if number < 0 else body


def side_by_side(quantity: Quantity) -> tuple[str, ...]:
    """The level in every unit that people speak of it in; its own exactly, the others to two places.

    >>> from slackwater.quantities.units import parse_quantity
    >>> side_by_side(parse_quantity("-20 cmH2O", "pressure"))
    ('-20 cmH2O', '-1.96 kPa', '-14.71 mmHg', '-19.61 hPa (mbar)')
    """
    own = unit("hPa") if quantity.unit.symbol == "mbar" else quantity.unit
    shown = []
    for symbol in SPOKEN_IN if own.symbol in SPOKEN_IN else (own.symbol, *SPOKEN_IN):
        if symbol == own.symbol:
            text = exactly(Quantity(quantity.value, own))
        else:
            text = rounded(quantity.value, symbol)
        shown.append(f"{text} (mbar)" if symbol == "hPa" else text)
    return tuple(shown)


def rounded(cmh2o: Fraction, symbol: str) -> str:
    """A pressure in another unit than it was written in: two places, no trailing zero.

    >>> rounded(Fraction(-15), "mmHg"), rounded(Fraction(200000, 196133), "mbar")
    ('-11.03 mmHg', '1 mbar')
    """
    number, _, name = format_quantity(cmh2o, symbol, places=2).partition(" ")
    return f"{number.rstrip('0').rstrip('.')} {name}"
