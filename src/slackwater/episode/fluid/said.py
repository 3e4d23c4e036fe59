"""What is said of one moment, all rows about it taken together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from slackwater.episode.types import Entry, Instant


@dataclass(frozen=True)
class Said:
    """One moment of one item. `value` is None where nothing is said, or different things are.

    `pair`: a lower and a higher number that may both be true, as levels at the change of a canister.
    """

    time: Instant
    item: str
    value: float | str | None
    conflict: bool
    lines: tuple[int, ...]
    pair: tuple[float, float] | None = None


def said_at(entries: Iterable[Entry], by_item: bool = False) -> list[Said]:
    """One `Said` for each moment (and item, if `by_item`), ordered by time."""
    moments: defaultdict[tuple[Instant, str], list[Entry]] = defaultdict(list)
    for entry in entries:
        moments[entry.time, entry.item if by_item else ""].append(entry)
    return [_said(moments[key]) for key in sorted(moments)]


def _said(entries: list[Entry]) -> Said:
    first = entries[0]
    values = {entry.value for entry in entries}
    lines = tuple(sorted(entry.line for entry in entries))
    numbers = sorted(value for value in values if isinstance(value, float))
    marked = any(entry.conflict for entry in entries)
    if marked or len(values) > 1:
        pair = (numbers[0], numbers[1]) if not marked and len(values) == len(numbers) == 2 else None
        return Said(first.time, first.item, None, True, lines, pair)
    return Said(first.time, first.item, first.value, False, lines)
