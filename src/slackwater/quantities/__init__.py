"""Numbers with units: one internal unit a quantity, exact factors, strict parsing.

Inside slackwater a pressure is in cmH2O (suction negative), a flow in mL/min, a volume in mL,
a length of time in s, an instant in UTC milliseconds since 1970.
"""

from slackwater.quantities.grammar import parse_number
from slackwater.quantities.spans import format_span, parse_span
from slackwater.quantities.units import Quantity, Unit, format_quantity, parse_quantity, unit

__all__ = [
    "Quantity",
    "Unit",
    "format_quantity",
    "format_span",
    "parse_number",
    "parse_quantity",
    "parse_span",
    "unit",
]
