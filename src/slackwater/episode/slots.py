"""A slot: one moment, one item, one drain. What is said of it once, twice, or in two ways."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from slackwater.episode.items import ITEMS
from slackwater.episode.types import Entry, Instant

Slot = tuple[Instant, str, str | None]
Entries = tuple[Entry, ...]


def settle(entries: Iterable[Entry], sole_drain: str | None = None) -> tuple[Entries, Entries]:
    """Entries with each row counted once, and the repeats; both ordered by time, then by line.

    The same thing said twice of a slot stands once, as known from when it was first recorded. Two
    different things said of it are both kept and both marked `conflict`: neither the later nor the
    larger wins, and a blank is a different thing from a number. The order of rows changes nothing.
    `sole_drain` is the drain that rows without a drain belong to, where only one is known.
    """
    slots: defaultdict[Slot, defaultdict[object, list[Entry]]] = defaultdict(lambda: defaultdict(list))
    for entry in entries:
        slot = (entry.time, entry.item, _drain(entry, sole_drain))
        slots[slot][_said(entry)].append(entry)
    kept: list[Entry] = []
    repeats: list[Entry] = []
    for slot, sayings in slots.items():
        # two kinds of clamp at one moment are both a clamp
        claims = {entry.value for same in sayings.values() for entry in same} if slot[1] == "clamp" else sayings
        conflict = len(claims) > 1 and not _many(slot[1]) and not _before_and_after(slot, slots)
        for same in sayings.values():
            first, *rest = sorted(same, key=_precedence)
            kept.append(first if first.conflict == conflict else replace(first, conflict=conflict))
            repeats.extend(rest)
    return tuple(sorted(kept, key=_place)), tuple(sorted(repeats, key=_place))


def _place(entry: Entry) -> tuple[Instant, int]:
    return entry.time, entry.line


def _drain(entry: Entry, sole_drain: str | None) -> str | None:
    item = ITEMS.get(entry.item)
    if item is not None and item.subject == "patient":
        return None  # one patient, whichever drain the row was filed under
    return entry.drain if entry.drain is not None else sole_drain


def _precedence(entry: Entry) -> tuple[object, ...]:
    """Which of several rows that say the same is kept; by what they hold, so that their order says nothing."""
    return entry.recorded, entry.drain or "", entry.note, entry.by, entry.text, entry.recorded_early, entry.line


def _many(name: str) -> bool:
    item = ITEMS.get(name)
    return item is None or item.many


def _said(entry: Entry) -> object:
    # A clamp's note says what kind of clamp it is; several true things are told apart by their notes.
    if _many(entry.item) or entry.item == "clamp":
        return entry.value, entry.note
    return entry.value


def _before_and_after(slot: Slot, slots: defaultdict[Slot, defaultdict[object, list[Entry]]]) -> bool:
    """Two levels at the moment a canister is changed are no conflict: the full one and the fresh one."""
    time, item, drain = slot
    if item != "canister_level" or len(slots[slot]) != 2 or None in slots[slot]:
        return False
    change = (time, "canister", drain)
    return change in slots and list(slots[change]) == ["changed"]
