"""Lengths of time: as text ('8 h', '10 min', '1 s'), and in the milliseconds that instants are counted in."""

from __future__ import annotations

from slackwater.errors import QuantityError
from slackwater.quantities.units import parse_quantity

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS


def parse_span(text: str) -> float:
    """Read a length of time in seconds.

    >>> parse_span("8 h")
    28800.0
    """
    seconds = float(parse_quantity(text, "time").value)
    if seconds < 0:
        raise QuantityError(f"{text!r} is a negative length of time", mend='Write e.g. "8 h".')
    return seconds


def format_span(seconds: float) -> str:
    """Print a length of time as a nurse would say it, to the minute.

    >>> format_span(7 * 3600 + 50 * 60)
    '7 h 50 min'
    """
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes = int(seconds // 60)
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"
