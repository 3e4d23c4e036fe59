"""What stands for a name where nobody may be named, and how far a stay is moved in time.

Safe Harbor, 45 CFR 164.514(b)(2): no names, no serial numbers, no dates, no free text, ages above 89 as 90.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from collections.abc import Collection, Iterable
from datetime import UTC, datetime, timedelta

from slackwater.episode.instants import read_zone
from slackwater.quantities.spans import MINUTE_MS

WEEK_BEGINS = datetime(2000, 1, 3, tzinfo=UTC)  # a Monday; every de-identified stay begins in this week
OLDEST = 89  # years; above, 90 is told: 45 CFR 164.514(b)(2)(i)(C)
NOT_NAMED = "a person not named here"
FREE_TEXT = ("note", "site")  # chart items
SHORTEST_KEY = 16  # bytes


def pseudonym(key: bytes, kind: str, name: str) -> str:
    """HMAC-SHA256 of the name, 16 hex digits: the same key gives the same, and without it there is no way back."""
    return hmac.new(key, f"{kind}:{name}".encode(), hashlib.sha256).hexdigest()[:16]


def shift_ms(from_ms: int, zone: str) -> int:
    """By how many ms, a whole number of minutes, a stay that begins at `from_ms` is moved into the one week.

    Weekday and time of day stand as the clock of `zone` showed them at its beginning.

    >>> shift_ms(946900800000, "UTC")
    0
    """
    local = datetime.fromtimestamp(from_ms / 1000, UTC).astimezone(read_zone(zone))
    wanted = WEEK_BEGINS + timedelta(days=local.weekday(), hours=local.hour, minutes=local.minute)
    return round(wanted.timestamp() * 1000) - from_ms // MINUTE_MS * MINUTE_MS


def told_word(key: bytes, word: str | None, listed: Collection[str], asked: Iterable[str] = ()) -> str | None:
    """A word as it may be told: one of a closed list, or one that a rule asks for; any other may be a name in the wrong
    place, and a pseudonym stands for it. `asked`: the rule's own words, or sentences that hold them."""
    if word is None or word in listed or word in {part for text in asked for part in re.split(r"\W+", text)}:
        return word
    return pseudonym(key, "word", word)


def told_age(age_years: float | None) -> float | None:
    """The age as it may be told: above 89 it is 90."""
    return age_years if age_years is None or age_years <= OLDEST else OLDEST + 1.0
