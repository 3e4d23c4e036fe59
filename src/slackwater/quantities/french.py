"""The French (Charrière) scale of tube sizes."""

from __future__ import annotations

from fractions import Fraction

MM_PER_FRENCH = Fraction(1, 3)  # of outer diameter, by definition of the scale; reference pages (read)


def french_to_mm(size_fr: float) -> float:
    """Outer diameter of a tube of that French size. [mm]

    One French is a third of a millimetre of *outer* diameter. It says nothing of the bore: tubes of one size
    differ in wall, so there is no function here that gives an inner diameter.

    >>> french_to_mm(24)
    8.0
    """
    return size_fr * MM_PER_FRENCH.numerator / MM_PER_FRENCH.denominator
