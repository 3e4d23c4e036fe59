"""A patient's drain and what staff charted about it. Frozen values; absent means unknown."""

from __future__ import annotations

from dataclasses import dataclass

Instant = int  # UTC milliseconds since 1970


@dataclass(frozen=True)
class Episode:
    """Who and what: one drain of one patient. None means unknown, never 'no'."""

    patient_id: str | None = None
    age_years: float | None = None
    weight_kg: float | None = None
    drain_number: str | None = None
    side: str | None = None
    space: str | None = None
    site: str | None = None
    size_fr: float | None = None
    connected_at: Instant | None = None
    shares_unit_with: tuple[str, ...] = ()
    shares_space_with: tuple[str, ...] = ()
    shares_space_told: bool = False  # True: the file says who shares the space, be it nobody
    other_drains: tuple[str, ...] = ()  # every further drain of this patient that is known, whatever it shares
    operation_kind: str | None = None
    operation_end: Instant | None = None
    indication: str | None = None
    goal: str | None = None
    breathing: str | None = None


@dataclass(frozen=True)
class Entry:
    """One thing staff wrote.

    `value` is a float in the internal unit for amounts and readings (suction negative), a word for
    observations, and None for a blank (which is not zero). `recorded` is when it was written down,
    never before `time`: what is known at a moment is what had been recorded by then.
    """

    time: Instant
    recorded: Instant
    item: str
    value: float | str | None
    text: str  # as written
    note: str
    drain: str | None  # None: not said
    by: str
    line: int
    known: bool  # False: an item this program has no rule for; shown, never used
    conflict: bool = False  # another entry says something else of the same moment; evidence for neither
    recorded_early: bool = False  # written down before the time it speaks of; counts from that time
    written: str = ""  # the item as misspelt; `item` is the one it looks like, and what was said of it is not taken


@dataclass(frozen=True)
class Chart:
    """All entries of one chart, ordered by time, then by line.

    `used + refused + duplicate + conflicting == read`. A row given twice stands in `entries` once,
    and again in `repeats`, which nothing counts.
    """

    entries: tuple[Entry, ...] = ()
    sha256: str = ""
    name: str = ""
    read: int = 0
    used: int = 0
    refused: int = 0
    duplicate: int = 0
    conflicting: int = 0
    notes: tuple[str, ...] = ()
    repeats: tuple[Entry, ...] = ()

    def of(self, *items: str) -> tuple[Entry, ...]:
        """Entries of these items, in order of time."""
        return tuple(entry for entry in self.entries if entry.item in items)
