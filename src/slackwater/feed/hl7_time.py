"""From an HL7 time to an instant: never by guessing a zone, never from a day alone.

HL7 v2.6 chapter 2.A (DTM): YYYY[MM[DD[HH[MM[SS[.S[S[S[S]]]]]]]]][+/-ZZZZ]; and chapter 2 (MSH-7): an offset there is
that of every time of the message that has none. From memory.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, tzinfo

from slackwater.episode.instants import read_instant, read_zone
from slackwater.episode.types import Instant
from slackwater.errors import QuantityError
from slackwater.feed.hl7_fault import WRONG_TYPE, At, Hl7Error

_DTM = re.compile(
    r"([0-9]{4})([0-9]{2})([0-9]{2})([0-9]{2})([0-9]{2})(?:([0-9]{2})(\.[0-9]{1,4})?)?([+-][0-9]{4})?", re.ASCII
)
MEND = "Write it as YYYYMMDDHHMMSS with its offset, e.g. 20330913151900+0200."


def offset_of(text: str, at: At) -> tzinfo | None:
    """The offset at the end of a time (MSH-7), None where it has none."""
    match = re.search(r"[+-][0-9]{4}$", text)
    try:
        return None if match is None else read_zone(f"{match[0][:3]}:{match[0][3:]}")
    except QuantityError as error:
        raise Hl7Error(f"{text!r} has an offset no clock on earth keeps", code=WRONG_TYPE, at=at, mend=MEND) from error


def instant_at(text: str, zone: tzinfo | None, at: At) -> Instant:
    """The instant of a time as written. [UTC ms] `zone`: where a time without an offset is read; None: refused."""
    match = _DTM.fullmatch(text)
    if match is None:
        coarse = re.fullmatch(r"[0-9]{4,10}([+-][0-9]{4})?", text)
        what = "does not say the minute" if coarse else "is no time"
        raise Hl7Error(f"{text!r} {what}", code=WRONG_TYPE, at=at, mend=MEND)
    year, month, day, hour, minute, second, part, offset = match.groups()
    iso = f"{year}-{month}-{day}T{hour}:{minute}:{second or '00'}{part or ''}{offset or ''}"
    try:
        return read_instant(iso, zone, MEND)
    except QuantityError as error:
        what = re.sub(r"^'[^']*'", repr(text), error.what)  # as it was sent
        raise Hl7Error(what, code=WRONG_TYPE, at=at, mend=MEND if "e.g." in error.mend else error.mend) from error


def written(at_ms: Instant) -> str:
    """An instant as HL7 writes it, in UTC.

    >>> written(0)
    '19700101000000.000+0000'
    """
    moment = datetime.fromtimestamp(at_ms / 1000, UTC)
    return f"{moment:%Y%m%d%H%M%S}.{at_ms % 1000:03d}+0000"
