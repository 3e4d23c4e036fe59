"""From a written time to an instant: UTC milliseconds, never by guessing a zone."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

from slackwater.episode.types import Instant
from slackwater.errors import QuantityError

_STAMP = re.compile(
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})[Tt ]([0-9]{2}):([0-9]{2})(?::([0-9]{2})(?:[.,]([0-9]{1,6}))?)?"
    r"\s?(Z|z|[+\-−][0-9]{2}:?[0-9]{2})?",
    re.ASCII,
)
_OFFSET = re.compile(r"([+\-−])([0-9]{2}):?([0-9]{2})", re.ASCII)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)
_YEARS = range(1970, 3000)
# Names that mean another thing on another machine, or count leap seconds.
_UNSTEADY = ("localtime", "posixrules", "factory", "posix/", "right/")

WITH_OFFSET = "Write it with its offset from UTC, e.g. 2033-09-13T15:19:00+02:00."


def read_zone(text: str) -> tzinfo:
    """A time zone by its IANA name, 'UTC', or a fixed offset such as '+02:00'.

    >>> read_zone("+02:00").utcoffset(None)
    datetime.timedelta(seconds=7200)
    """
    name = text.strip()
    if name.upper() in ("UTC", "Z"):
        return UTC
    offset = _offset(name)
    if offset is not None:
        return offset
    mend = 'Write an IANA name such as "Europe/Vienna", "UTC", or an offset such as "+02:00".'
    if not name or name.lower().startswith(_UNSTEADY):
        raise QuantityError(f"{text!r} names no time zone", mend=mend)
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, LookupError) as error:
        raise QuantityError(f"{text!r} names no time zone", mend=mend) from error


def read_instant(text: str, zone: tzinfo | None = None, no_zone: str = WITH_OFFSET) -> Instant:
    """The instant of an ISO 8601 date and time. [UTC ms]

    A time with an offset says where it stands. A local time is read in `zone`; without one it is
    refused with the mend `no_zone`. A local time that came twice or never (the clock change) is
    refused too: which of the two was meant cannot be told.

    >>> read_instant("1970-01-01T02:00:01+02:00")
    1000
    """
    match = _STAMP.fullmatch(text.strip())
    if not match:
        raise QuantityError(f"{text!r} is not a date and time", mend=WITH_OFFSET)
    year, month, day, hour, minute = (int(match[i]) for i in range(1, 6))
    fraction = (match[7] or "").ljust(6, "0")
    try:
        local = datetime(year, month, day, hour, minute, int(match[6] or 0), int(fraction))  # noqa: DTZ001 placed below
    except ValueError as error:
        raise QuantityError(f"{text!r} is on no calendar or clock ({error})", mend=WITH_OFFSET) from error
    if year not in _YEARS:
        mend = f"Write a year from {_YEARS[0]} to {_YEARS[-1]}."
        raise QuantityError(f"{text!r} is in no year that a chart can speak of", mend=mend)
    if match[8]:
        offset = UTC if match[8] in "Zz" else _offset(match[8])
        if offset is None:
            raise QuantityError(f"{text!r} has an offset no clock on earth keeps", mend=WITH_OFFSET)
        return instant_of(local.replace(tzinfo=offset))
    if zone is None:
        raise QuantityError(f"{text!r} is local time and its zone is not said", mend=no_zone)
    return _placed(text, local, zone)


def instant_of(moment: datetime) -> Instant:
    """The instant of a datetime that carries its offset; parts of a millisecond are cut off. [UTC ms]"""
    return (moment - _EPOCH) // _MILLISECOND


def _placed(text: str, local: datetime, zone: tzinfo) -> Instant:
    first, second = (instant_of(local.replace(tzinfo=zone, fold=fold)) for fold in (0, 1))
    if first == second:
        return first
    back = (_EPOCH + first * _MILLISECOND).astimezone(zone).replace(tzinfo=None)
    came = "came twice" if back == local else "never came"
    offsets = [local.replace(tzinfo=zone, fold=fold).isoformat()[-6:] for fold in (0, 1)]
    raise QuantityError(
        f"{text!r} {came} in {zone}, when the clocks changed",
        mend=f"Write the offset that was meant: {offsets[0]} or {offsets[1]}.",
    )


def _offset(text: str) -> tzinfo | None:
    match = _OFFSET.fullmatch(text)
    if not match or int(match[3]) > 59:
        return None
    span = timedelta(hours=int(match[2]), minutes=int(match[3]))
    if span > timedelta(hours=14):
        return None
    return timezone(span if match[1] == "+" else -span)
