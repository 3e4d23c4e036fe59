"""How statuses and quantities read, on a terminal, a page and paper alike: shape and word, never colour alone."""

from __future__ import annotations

import math
from collections.abc import Callable

from slackwater.protocol.status import Status

SHAPES = {
    Status.MET: "●", Status.MET_WITH_GAPS: "◐", Status.NOT_MET: "○", Status.CANNOT_TELL: "▨",
    Status.NOT_APPLICABLE: "–",
}  # fmt: skip
NOT_RECORDED = "not recorded"
LEAK_SHAPES = {"leaking": "◆", "quiet": "◇", "cannot_tell": "▨"}  # a leak is no clause: other shapes
REASON_SENTENCES = {
    "": "The reading's step straddles the limit: it may lie on either side.",
    "missing": "Nothing, or too little, was recorded. That is not a reading of zero.",
    "blocked": "The tube may be shut: blocked, kinked, full of fluid. Look along the tube, at swing and patient.",
    "disconnected": "The circuit looks open, or the leak is very large. Check the connections.",
    "off": "The unit was off, or its suction was not being applied.",
    "clamped": "The drain was clamped: air could not come out.",
    "sensor": "The flow or pressure sensor cannot be believed here: it stuck, shifted, or stopped at once.",
    "clock": "The log's clock ran back, or an hour happened twice: the time cannot be told.",
    "conflict": "Two records disagree about these minutes; neither is used.",
    "shared": "Another drain or limb shares the space or the unit: quiet here may be air leaving there.",
}
REASON_WORDS = {
    "": "",
    "missing": "nothing was recorded",
    "blocked": "the tube may be blocked or kinked",
    "disconnected": "the circuit looks open, or the leak is very large: check the connections now",
    "off": "the unit was off",
    "clamped": "the drain was clamped",
    "sensor": "the sensor cannot be trusted",
    "clock": "the log's clock cannot be trusted",
    "conflict": "two records disagree",
    "shared": "another drain or limb may carry the air",
}


def plain(text: str | None) -> str:
    """A word of a closed list as people read it."""
    return NOT_RECORDED if not text else text.replace("_", " ")


def amount(value: float | None) -> str:
    """A number at the thousandths on which decisions are made, so that print never crosses a limit."""
    if value is None:
        return "no upper bound"
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def bounds(low: float | None, high: float | None, unit: str, limit: float | None = None) -> str:
    """'at most 15 mL/min', '120 to 125 mL/min', 'at least 300 mL, no upper bound'.

    As a person writes it: an exact value to the tenth, a range outward to whole ones where it is large. Where that
    would seem to lie on the limit or on its other side, or on nothing, it is written finer.

    >>> bounds(5.486, 5.486, "mL/kg", 5.0), bounds(0.0, 2.5, "mL/min", 20.0), bounds(14.2, 19.6, "mL/min", 20.0)
    ('5.5 mL/kg', 'at most 2.5 mL/min', '14 to 19.6 mL/min')
    """
    exact = low is not None and high is not None and amount(low) == amount(high)
    down = up = ""
    if low is not None:
        down = _short(low, limit, round if exact else math.floor)
    if high is not None:
        up = _short(high, limit, round if exact else math.ceil)
    if low is not None and high is not None:
        if exact:
            return f"{down} {unit}".strip()
        return f"at most {up} {unit}".strip() if low <= 0 else f"{down} to {up} {unit}".strip()
    if low is not None and low > 0:
        return f"at least {down} {unit}, no upper bound"
    return "no upper bound"


def _short(value: float, limit: float | None, how: Callable[[float], float]) -> str:
    """The shortest of whole (where it is a range and large), tenths and hundredths that stays where it is."""
    for places in (0, 1, 2) if how is not round and abs(value) >= 10 else (1, 2):
        short = how(round(value * 10**places, 6)) / 10**places
        same = [(short > edge) - (short < edge) == (value > edge) - (value < edge) for edge in (0.0, limit or 0.0)]
        if all(same):
            return amount(short)
    return amount(value)


def likelihood(p: float | None) -> str:
    """A chance of leaking in words; the numbers are in --json."""
    if p is None:
        return ""
    if p <= 0.1:
        return "likely below the limit"
    if p <= 0.4:
        return "perhaps below the limit: the tube was not lately shown open"
    if p < 0.6:
        return "either way"
    return "likely leaking" if p < 0.9 else "leaking"


def chance_words(p: float) -> str:
    """A chance in words, for screens where decimals would say more than is known.

    >>> [chance_words(p) for p in (0.01, 0.3, 0.5, 0.8, 0.99)]
    ['very unlikely', 'unlikely', 'as likely as not', 'likely', 'very likely']
    """
    for upto, words in ((0.1, "very unlikely"), (0.4, "unlikely"), (0.6, "as likely as not"), (0.9, "likely")):
        if p < upto:
            return words
    return "very likely"
