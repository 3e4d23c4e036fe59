"""Which formats a column of stamps could have, and which of them the stamps themselves rule out."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from slackwater.quantities.spans import DAY_MS
from slackwater.reading.stamps import Stamp, stamp_format

_DATES = ("%Y{0}%m{0}%d", "%d{0}%m{0}%Y", "%m{0}%d{0}%Y", "%d{0}%m{0}%y", "%m{0}%d{0}%y", "%y{0}%m{0}%d")
_TIMES = ("%H:%M:%S", "%H:%M", "%H:%M:%S.%f", "%I:%M:%S %p", "%I:%M %p", "%H.%M.%S", "%H:%M:%S%z", "%H:%M:%S %z")
_COMPACT = ("%Y%m%d %H%M%S", "%Y%m%d%H%M%S", "%Y%m%dT%H%M%S", "%y%m%d %H%M%S", "%Y%m%d %H:%M:%S")
FORMATS = (
    "iso",
    *(date.format(mark) + joint + time for date, mark, joint, time in product(_DATES, "./-", (" ", "T", ", "), _TIMES)),
    *_COMPACT,
)
ENOUGH = 0.95  # of the stamps must fit; the rest may be junk


@dataclass(frozen=True)
class Candidate:
    """A format that the stamps fit, with the days it would make the log span, and whether all carry an offset."""

    format: str
    days: int
    offsets: bool


def candidates(stamps: list[tuple[int, str]]) -> tuple[tuple[Candidate, ...], str]:
    """The formats that fit (line, text) stamps; and which stamp rules the others out, in words.

    A format is proven when it is the only one left: '13/09/2033' can only be day first.
    """
    if not stamps:
        return (), ""
    fitting: list[Candidate] = []
    ruled_out = ""
    head = stamps[:3]
    for text in FORMATS:
        form = stamp_format(text)
        if not any(form.pattern.fullmatch(stamp) for _, stamp in head):
            continue
        good: list[Stamp] = []
        for line, stamp in stamps:
            got = form.read(stamp)
            if isinstance(got, Stamp):
                good.append(got)
            elif not ruled_out and form.pattern.fullmatch(stamp):
                ruled_out = f"line {line} cannot be read as {text}"
        if len(good) >= ENOUGH * len(stamps):
            instants = [got.ms for got in good]
            days = (max(instants) - min(instants)) // DAY_MS + 1
            fitting.append(Candidate(text, days, all(got.utc for got in good)))
        if text == "iso" and fitting:
            break  # year first, four digits: nothing else reads it differently
    if fitting and fitting[0].format.startswith("%Y"):
        fitting = fitting[:1]
    return tuple(fitting), ruled_out
