"""Local time to instants: the zone's own rules, and honesty about the hour that happens twice."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from slackwater.errors import LayoutError
from slackwater.quantities.spans import DAY_MS, HOUR_MS

_OFFSET = re.compile(r"([+-])([0-9]{2}):([0-9]{2})", re.ASCII)
# names that mean something else on each machine, or count leap seconds
_NOT_PORTABLE = re.compile(r"(localtime|posixrules|Factory|(right|posix)/.*)")
_PROBE_S = 6 * 3600  # no zone has changed twice within six hours since 1970
_REACH_MS = 16 * HOUR_MS  # local time is never farther than this from UTC
_MEND = 'Write an IANA name like "Europe/Vienna", "UTC", or an offset like "+02:00".'


@dataclass(frozen=True)
class Change:
    """A moment at which a zone changes its offset: UTC ms, and the offsets before and after, in ms."""

    at_ms: int
    before_ms: int
    after_ms: int


@dataclass(frozen=True)
class Zone:
    """A zone by its name; `rules` is a fixed offset or the IANA rules."""

    name: str
    rules: tzinfo

    def to_utc(self, local_ms: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.bool_]]:
        """Local wall-clock ms as UTC ms; which happened twice; which never happened.

        A local time that happened twice gets its first instant and is marked: what is true cannot
        be told from the stamp, and the order of rows is no evidence.
        """
        never = np.zeros(len(local_ms), np.bool_)
        twice = np.zeros(len(local_ms), np.bool_)
        if not len(local_ms):
            return local_ms.copy(), twice, never
        first, last = int(local_ms.min()), int(local_ms.max())
        changes = self.changes(first - _REACH_MS, last + _REACH_MS)
        if not changes:
            return local_ms - self.offset_ms(first - _REACH_MS), twice, never
        offsets = np.array([changes[0].before_ms] + [c.after_ms for c in changes], np.int64)
        opens = np.array([c.at_ms + min(c.before_ms, c.after_ms) for c in changes], np.int64)
        closes = np.array([c.at_ms + max(c.before_ms, c.after_ms) for c in changes], np.int64)
        forward = np.array([c.after_ms > c.before_ms for c in changes] + [False])
        past = np.searchsorted(closes, local_ms, side="right")  # changes wholly behind this local time
        inside = local_ms >= np.append(opens, np.iinfo(np.int64).max)[past]
        never = inside & forward[past]
        twice = inside & ~forward[past]
        return local_ms - offsets[past], twice, never

    def instant(self, local_ms: int, where: str) -> int:
        """One local time as UTC ms; refused if it happened twice or never."""
        utc, twice, never = self.to_utc(np.array([local_ms], np.int64))
        if twice[0] or never[0]:
            said = "happened twice" if twice[0] else "never happened"
            raise LayoutError(
                f"this local time {said} in {self.name}", where=where, mend='Give it an offset, e.g. "+02:00".'
            )
        return int(utc[0])

    def offset_ms(self, utc_ms: int) -> int:
        """Local minus UTC at an instant, in ms."""
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=utc_ms)
        offset = moment.astimezone(self.rules).utcoffset() or timedelta()
        return round(offset.total_seconds() * 1000)

    def changes(self, from_ms: int, to_ms: int) -> list[Change]:
        """Every change of offset in [from, to], found by probing the rules."""
        if isinstance(self.rules, timezone):
            return []
        found = []
        left = from_ms // 1000
        before = self.offset_ms(left * 1000)
        while left * 1000 < to_ms:
            right = left + _PROBE_S
            after = self.offset_ms(right * 1000)
            if after != before:
                low, high = left, right
                while high - low > 1:
                    middle = (low + high) // 2
                    if self.offset_ms(middle * 1000) == before:
                        low = middle
                    else:
                        high = middle
                found.append(Change(high * 1000, before, after))
            left, before = right, after
        return found


@lru_cache(maxsize=64)
def _zone(name: str) -> Zone | None:
    if name in ("UTC", "Z"):
        return Zone("UTC", UTC)
    match = _OFFSET.fullmatch(name)
    if match:
        minutes = int(match[2]) * 60 + int(match[3])
        if int(match[3]) > 59 or minutes > 18 * 60:
            return None
        return Zone(name, timezone(timedelta(minutes=-minutes if match[1] == "-" else minutes)))
    if not name or _NOT_PORTABLE.fullmatch(name):
        return None
    try:
        return Zone(name, ZoneInfo(name))
    except (KeyError, ValueError, OSError):  # not found, not a safe key, a folder of the zone data
        return None


def zone(name: str, where: str = "time.zone") -> Zone:
    """The zone called `name`.

    >>> zone("Europe/Vienna").offset_ms(0)
    3600000
    """
    found = _zone(name)
    if found is None:
        raise LayoutError(f"{name[:40]!r} is not a time zone", where=where, mend=_MEND)
    return found


def clock_hour(utc_ms: int, name: str) -> float:
    """What a clock in the zone `name` shows at an instant, in hours, 0..24.

    >>> clock_hour(0, "+01:30")
    1.5
    """
    return (utc_ms + zone(name).offset_ms(utc_ms)) % DAY_MS / HOUR_MS
