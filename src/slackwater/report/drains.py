"""Which drain of which patient: the name in words, and the map of all drains that the patient ever had."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from itertools import combinations

from sqlalchemy import Connection

from slackwater.report.sentences import drain_words
from slackwater.report.times import shown
from slackwater.store.course import Course
from slackwater.store.read_out import episode_of
from slackwater.store.rows import Thing, things

# The outline is drawn in a box of 360 by 330; the patient looks at the reader, so the right side is on the left.
WIDE, TALL, MIDDLE = 360.0, 330.0, 180.0
_ACROSS = {"left": 1.0, "right": -1.0, "midline": 0.0}
# How high a drain is drawn, and how far out, by what its site says (ours: the map shows words, not a position).
_HEIGHTS = (
    (("apical", "apex", "anterior", "second", "2nd", "upper"), 112.0, 40.0),
    (("basal", "base", "posterior", "subpulmonic", "lower"), 232.0, 62.0),
    (("lateral", "axill", "mid", "fourth", "fifth", "4th", "5th"), 172.0, 74.0),
)
_UNTOLD = (172.0, 58.0)
_CENTRAL = {"mediastinal": 178.0, "pericardial": 214.0}
APART = 40.0  # what two markers keep from one another


@dataclass(frozen=True)
class Marker:
    """One drain on the map and in the list beside it: `here` is the one that the page is about."""

    key: str
    number: str
    here: bool
    is_in: bool
    placed: bool  # its side is recorded
    x: float
    y: float
    where: str
    state: str
    joined: tuple[str, ...]


@dataclass(frozen=True)
class Joint:
    """Two drains on one unit, and where the line between them runs."""

    words: str
    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True)
class DrainMap:
    """Every drain that the patient ever had, in order of stay and number; a number is never used again."""

    markers: tuple[Marker, ...]
    joints: tuple[Joint, ...]
    says: str


@dataclass(frozen=True)
class Tube:
    """What the map needs of one drain."""

    drain: Thing
    space: Thing
    removal: Thing | None
    pairings: tuple[Thing, ...]


def tubes_of(connection: Connection, patient: str, known_ms: int | None = None) -> tuple[Tube, ...]:
    """Every drain of every stay of a patient, as known then."""
    stays = things(connection, "episode", {"patient": patient}, known_ms=known_ms)
    paired = things(connection, "pairing", {"patient": patient}, known_ms=known_ms)
    found = []
    for stay in (one.key for one in sorted(stays, key=lambda one: one.seq)):
        spaces = {one.key: one for one in things(connection, "space", {"episode": stay}, known_ms=known_ms)}
        for drain in sorted(things(connection, "drain", {"episode": stay}, known_ms=known_ms), key=_number):
            removals = things(connection, "removal", {"drain": drain.key}, known_ms=known_ms)
            mine = tuple(one for one in paired if one["drain"] == drain.key)
            found.append(Tube(drain, spaces[drain["space"]], removals[-1] if removals else None, mine))
    return tuple(found)


def whose(course: Course) -> str:
    """Patient, drain, side, space and site: the same words as in every answer."""
    return drain_words(episode_of(course))


def drain_map(tubes: Sequence[Tube], here: str, now_ms: int, zone: tzinfo) -> DrainMap:
    """The map as of `now_ms`. Drains of one unit at one time are joined."""
    joined = [(a, b) for a, b in combinations(tubes, 2) if _join(a, b, now_ms)]
    taken: list[tuple[float, float]] = []
    markers = []
    for tube in tubes:
        x, y = _free(*_place(tube.space, tube.drain["site"]), taken)
        taken.append((x, y))
        others = [b if a is tube else a for a, b in joined if tube in (a, b)]
        markers.append(
            Marker(
                tube.drain.key, tube.drain["number"], tube.drain.key == here, _is_in(tube, now_ms),
                tube.space["side"] is not None, x, y, _where(tube), _state(tube, now_ms, zone),
                tuple(other.drain["number"] for other in others),
            )
        )  # fmt: skip
    at = {marker.key: marker for marker in markers}
    joints = tuple(_joint(at[a.drain.key], at[b.drain.key]) for a, b in joined)
    now_in = [marker.number for marker in markers if marker.is_in]
    many = f"{len(now_in)} of {len(markers)} are in"
    count = many if len(markers) > 1 else "the only one is in" if now_in else "the only one is out"
    return DrainMap(tuple(markers), joints, f"Drains of this patient, seen from the front: {count}.")


def _number(drain: Thing) -> tuple[int, str]:
    number = drain["number"]
    return (int(number) if number.isascii() and number.isdecimal() and len(number) < 9 else 0, number)


def _is_in(tube: Tube, now_ms: int) -> bool:
    return tube.removal is None or tube.removal["time_ms"] > now_ms


def _where(tube: Tube) -> str:
    side, kind, site = tube.space["side"], tube.space["kind"], tube.drain["site"]
    parts = [side or "side not recorded", kind or "space not recorded", site or "site not recorded"]
    if tube.drain["size_fr"] is not None:
        parts.append(f"{tube.drain['size_fr']:g} Fr")
    return ", ".join(parts)


def _state(tube: Tube, now_ms: int, zone: tzinfo) -> str:
    since = tube.drain["connected_ms"]
    if _is_in(tube, now_ms):
        return "in; since when is not recorded" if since is None else f"in since {shown(since, zone)}"
    assert tube.removal is not None
    kind = tube.removal["kind"].replace("_", " ")
    return f"out since {shown(tube.removal['time_ms'], zone)} ({kind})"


def _join(one: Tube, other: Tube, now_ms: int) -> bool:
    """Do these two share one unit now, by what was told or by what the pairings show?"""
    if one.drain["episode"] != other.drain["episode"] or not (_is_in(one, now_ms) and _is_in(other, now_ms)):
        return False
    told = _told(one.drain["shares_unit_with"], other) or _told(other.drain["shares_unit_with"], one)
    units = [{pairing["unit"] for pairing in tube.pairings if _runs(pairing, now_ms)} for tube in (one, other)]
    return told or bool(units[0] & units[1])


def _told(text: str | None, other: Tube) -> bool:
    return text is not None and other.drain["number"] in json.loads(text)


def _runs(pairing: Thing, now_ms: int) -> bool:
    return bool(pairing["from_ms"] <= now_ms and (pairing["to_ms"] is None or pairing["to_ms"] >= now_ms))


def _joint(a: Marker, b: Marker) -> Joint:
    words = f"Drains {a.number} and {b.number} are joined to one unit: its air is not told apart between them."
    return Joint(words, a.x, a.y, b.x, b.y)


def _place(space: Thing, site: str | None) -> tuple[float, float]:
    side, kind = space["side"], space["kind"]
    if side is None:
        return MIDDLE, TALL - 18.0
    if kind in _CENTRAL:
        return MIDDLE + 14.0 * _ACROSS[side], _CENTRAL[kind]
    text = (site or "").lower()
    found = [(y, out) for words, y, out in _HEIGHTS if any(word in text for word in words)]
    y, out = found[0] if found else _UNTOLD
    return MIDDLE + out * _ACROSS[side], y


def _free(x: float, y: float, taken: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Beside the markers that are there: further out, then further down."""
    way = 1.0 if x >= MIDDLE else -1.0
    for down in (0.0, APART, -APART, 2 * APART):
        for out in (0.0, APART, -APART):
            at = (x + way * out, y + down)
            if all(abs(at[0] - a) >= APART - 1 or abs(at[1] - b) >= APART - 1 for a, b in taken):
                return at
    return x, y
