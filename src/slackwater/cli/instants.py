"""Times as people give and read them at the door: ISO 8601 in, the ward's zone out."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

from slackwater.errors import UsageError


def ward_zone(name: str | None) -> tzinfo:
    """An IANA zone, 'UTC' or a fixed '+02:00'."""
    if name is None or name in ("UTC", "Z"):
        return UTC
    if name[:1] in ("+", "-") and len(name) == 6 and name[3] == ":" and (name[1:3] + name[4:]).isdecimal():
        minutes = int(name[1:3]) * 60 + int(name[4:])
        return timezone(timedelta(minutes=-minutes if name[0] == "-" else minutes))
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise UsageError(
            f"--zone: {name!r} is not a time zone", mend="Write e.g. Europe/Vienna, UTC or +02:00."
        ) from None


def instant(text: str, zone: tzinfo | None, option: str = "--at") -> int:
    """UTC ms of an ISO 8601 time with an offset, or a local one with `zone`. 'now' is this moment.

    option: what errors call it.
    """
    if text == "now":
        return int(datetime.now(UTC).timestamp() * 1000)
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise UsageError(
            f"{option}: {text!r} is not a time", mend="Write e.g. 2033-09-14T07:30:00+02:00, or now."
        ) from None
    if moment.tzinfo is None:
        if zone is None:
            raise UsageError(f"{option}: {text!r} has no offset", mend="Write one, e.g. +02:00, or give --zone.")
        early, late = moment.replace(tzinfo=zone, fold=0), moment.replace(tzinfo=zone, fold=1)
        if early.utcoffset() != late.utcoffset():
            raise UsageError(f"{option}: {text!r} happened twice, or never, in that zone", mend="Write its offset.")
        moment = early
    if not 1970 < moment.year < 2199:
        raise UsageError(f"{option}: the year {moment.year} cannot be", mend="Write e.g. 2033-09-14T07:30:00+02:00.")
    return round(moment.timestamp() * 1000)
