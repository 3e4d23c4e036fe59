"""Times as readers see them: the ward's zone, 24 h."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo

from slackwater.quantities.spans import HOUR_MS
from slackwater.reading.zones import Zone


def shown(ms: int | None, zone: tzinfo, *, day: bool = True) -> str:
    """An instant in the ward's zone, 24 h."""
    if ms is None:
        return "not known"
    moment = datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone)
    return moment.strftime("%a %d %b %H:%M" if day else "%H:%M")


def offset(ms: int, zone: tzinfo) -> str:
    """The offset in force at a moment, e.g. 'UTC+02:00'."""
    text = datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone).strftime("%z")
    return f"UTC{text[:3]}:{text[3:5]}" if text not in ("", "+0000") else "UTC"


def dated(ms: int, zone: tzinfo) -> str:
    """With its year and offset: paper is read on another day and in another place."""
    return f"{datetime.fromtimestamp(ms / 1000, zone):%a %d %b %Y %H:%M} ({offset(ms, zone)})"


def twice(from_ms: int, to_ms: int, zone: tzinfo) -> bool:
    """Whether the zone's offset changes between the two, or within an hour of them: then a clock's hour alone may
    name two moments."""
    first, last = from_ms - HOUR_MS, to_ms + HOUR_MS  # by so much clocks are put forward and back
    return any(first <= one.at_ms <= last for one in Zone("", zone).changes(first, last))


def exactly(ms: int, zone: tzinfo, apart: bool, *, day: bool = True) -> str:
    """As `shown`; with its offset where those about it differ (`apart`)."""
    return shown(ms, zone, day=day) + (f" {offset(ms, zone)}" if apart else "")


def between(from_ms: int, to_ms: int, zone: tzinfo) -> str:
    """A stretch of time; its day only once where both ends share it."""
    first, last = shown(from_ms, zone), shown(to_ms, zone)
    if first == last:
        return first
    return f"{first} to {shown(to_ms, zone, day=first[:10] != last[:10])}"
