"""Units against published values and against pint, an independent table of units.

Each check names its source; 'read' and 'from memory' tell how we came by it.
"""

from __future__ import annotations

from fractions import Fraction

import pint
import pytest

from slackwater.quantities.french import french_to_mm
from slackwater.quantities.units import format_quantity, parse_quantity, unit


def convert(text: str, symbol: str, dimension: str = "pressure") -> float:
    return float(parse_quantity(text, dimension).value / unit(symbol).factor)


@pytest.mark.parametrize(
    ("written", "symbol", "expected", "tolerance"),
    [
        # NIST SP 811 (2008), B.8: conventional cmH2O = 98.0665 Pa (read on pages that cite it)
        ("-20 cmH2O", "kPa", -1.9613, 0.0005),
        # Society for Translational Medicine, J Thorac Dis 2017;9:3255-64 prints 0.196 for 2 (read)
        ("-2 cmH2O", "kPa", -0.1961, 0.0005),
        # the same guideline prints -1.08 for -11 (read)
        ("-11 cmH2O", "kPa", -1.0787, 0.0005),
        # NIST SP 811
        ("-8 cmH2O", "kPa", -0.7845, 0.0005),
        # derived from NIST SP 811
        ("1 kPa", "cmH2O", 10.1972, 0.0005),
        # NIST SP 811 B.8, from memory: 1 mmHg = 133.3224 Pa; 0.735559 mmHg per cmH2O was read
        ("1 mmHg", "cmH2O", 1.35951, 0.0001),
        ("-10 cmH2O", "mmHg", -7.356, 0.001),
        # derived
        ("-19.613 hPa", "cmH2O", -20.00, 0.01),
        # the spoken '5 cmH2O' for a step of 0.5 kPa: common practice, no source
        ("0.5 kPa", "cmH2O", 5.099, 0.0005),
        ("0.5 kPa", "mmHg", 3.750, 0.0005),
    ],
)
def test_a_pressure_in_another_unit(written: str, symbol: str, expected: float, tolerance: float) -> None:
    assert convert(written, symbol) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize("value", ["-20", "-0.01", "12.345678", "0", "1e-9"])
@pytest.mark.parametrize("symbol", ["kPa", "mmHg", "hPa", "mbar", "Pa"])
def test_there_and_back_is_the_same_number_exactly(value: str, symbol: str) -> None:
    """The published tolerance is 1e-9; fractions make it nothing."""
    there = parse_quantity(f"{value} {symbol}", "pressure")
    assert there.value / unit(symbol).factor == Fraction(value)
    assert there.written == Fraction(value)


def test_minus_20_is_the_stronger_suction_and_less_of_it_is_minus_10_never_minus_30() -> None:
    """Suction is negative: 'stronger' is lower, 'reduce' goes towards zero."""
    strong, weak = (parse_quantity(text, "pressure").value for text in ("-20 cmH2O", "-10 cmH2O"))
    assert strong < weak < 0
    reduced = strong + 10
    assert reduced == weak
    assert abs(reduced) < abs(strong)


@pytest.mark.parametrize(("french", "mm"), [(24, 8.00), (36, 12.00), (14, 4.667), (40, 13.33)])
def test_a_french_size_is_a_third_of_a_millimetre_of_outer_diameter(french: float, mm: float) -> None:
    """Source: reference pages (read): 36 F = 12 mm, 40 F = 13.33 mm."""
    assert french_to_mm(french) == pytest.approx(mm, abs=0.005)


def test_nothing_here_gives_a_bore_from_a_french_size() -> None:
    """The scale says nothing of the inner diameter, so no function may answer it."""
    from slackwater.quantities import french

    public = [name for name in vars(french) if name.islower() and not name.startswith("_") and name != "annotations"]
    assert public == ["french_to_mm"]


def test_a_twentieth_of_a_litre_a_minute_is_fifty_millilitres() -> None:
    assert parse_quantity("0.05 L/min", "flow").value == 50
    assert parse_quantity("50 mL/min", "flow").value == 50


# our symbol -> pint's name for the same unit
PINT = {
    "cmH2O": "98.0665 pascal",  # pint's own cmH2O is at 4 °C (98.0638 Pa): another unit by the same name
    "mmHg": "133.322387415 pascal",
    "kPa": "kilopascal",
    "hPa": "hectopascal",
    "mbar": "millibar",
    "Pa": "pascal",
    "mL/min": "milliliter / minute",
    "L/min": "liter / minute",
    "mL/h": "milliliter / hour",
    "L/h": "liter / hour",
    "mL": "milliliter",
    "cL": "centiliter",
    "dL": "deciliter",
    "L": "liter",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "d": "day",
    "kg": "kilogram",
    "g": "gram",
    "cm": "centimeter",
    "mm": "millimeter",
}
INTERNAL = {
    "pressure": "cmH2O",
    "flow": "mL/min",
    "volume": "mL",
    "time": "s",
    "mass": "kg",
    "length": "cm",
}


@pytest.mark.parametrize("symbol", PINT)
def test_every_factor_agrees_with_pint(symbol: str) -> None:
    registry = pint.UnitRegistry()
    ours = unit(symbol)
    theirs = registry(PINT[symbol]).to_base_units() / registry(PINT[INTERNAL[ours.dimension]]).to_base_units()
    assert theirs.dimensionless
    assert float(ours.factor) == pytest.approx(theirs.magnitude, rel=1e-12)


def test_conventional_water_and_mercury_agree_with_pint_to_its_own_rounding() -> None:
    """pint's cmH2O is water at 4 °C and its mmHg the conventional one; NIST SP 811 lists both waters."""
    registry = pint.UnitRegistry()
    pascal = float(1 / unit("Pa").factor)
    assert pascal == pytest.approx(98.0665, rel=1e-15)
    assert registry("1 mmHg").to("pascal").magnitude == pytest.approx(float(unit("mmHg").factor) * pascal, rel=1e-6)
    assert registry("1 cmH2O").to("pascal").magnitude == pytest.approx(pascal, rel=1e-4)


def test_degrees_fahrenheit_agree_with_pint() -> None:
    registry = pint.UnitRegistry()
    for degrees in (32, 98.6, 104):
        ours = float(parse_quantity(f"{degrees} degF", "temperature").value)
        assert ours == pytest.approx(registry.Quantity(degrees, "degF").to("degC").magnitude, abs=1e-9)


def test_an_ordered_pressure_is_printed_in_its_own_unit_and_the_other_beside_it_is_rounded() -> None:
    assert format_quantity(-20, "cmH2O") == "-20 cmH2O"
    assert format_quantity(-20, "kPa", places=2) == "-1.96 kPa"
