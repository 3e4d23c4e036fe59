"""What many writers did to one record at once, and whether any order of it could be true.

Each operation is written down by its own process with the moment before it was asked for and the moment after it was
answered. The record must then behave as if each had happened at one instant between the two ("strict serialisability").
Ours; the idea of sets to which unique tokens are added, and of values that name the value they replace, so that a
fault shows as a contradiction, is of Kingsbury & Alvaro, "Elle", VLDB 14 (2020) 268 (read of memory, not looked up).
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal


@dataclass(frozen=True)
class Operation:
    """One call of one writer. A `read` looks at the hold first, then at the list."""

    writer: int
    kind: Literal["append", "edit", "read"]
    start_ns: int
    end_ns: int
    outcome: Literal["ok", "refused", "error"]
    """refused: another version was there, and nothing may have been written. error: anything else."""
    list: str
    hold: str = ""
    token: str = ""
    """What was added to the list and, by an edit, written into the hold: in one act, each token once."""
    version: int = 0
    """Of the hold, as an edit or a read saw it."""
    held: str = ""
    """The token in the hold at that version."""
    seen: tuple[str, ...] = ()
    """What a read found in the list."""
    error: str = ""


@dataclass(frozen=True)
class Held:
    """One version of a hold: its token, and the token that its writer believed to replace."""

    version: int
    token: str
    after: str


@dataclass(frozen=True)
class Found:
    """All that the record holds when every writer is done."""

    lists: Mapping[str, Sequence[str]]
    holds: Mapping[str, Sequence[Held]]


def faults(history: Iterable[Operation], found: Found) -> Counter[str]:
    """How often each kind of fault shows; empty when the record kept its word."""
    operations = list(history)
    return Counter(
        [
            *_unhandled(operations),
            *_lists(operations, found),
            *_holds(operations, found),
            *_stale_holds(operations),
            *_reads(operations),
        ]
    )


def _unhandled(operations: Sequence[Operation]) -> Iterator[str]:
    for one in operations:
        if one.outcome == "error":
            yield "locked, unhandled" if "lock" in one.error.lower() else f"error, unhandled: {one.error[:80]}"


def _lists(operations: Sequence[Operation], found: Found) -> Iterator[str]:
    """Each acknowledged token is there once; a refused one nowhere."""
    there = Counter((name, token) for name, tokens in found.lists.items() for token in tokens)
    yield from ["doubled"] * sum(count - 1 for count in there.values())
    for one in _writes(operations):
        if one.outcome == "ok" and (one.list, one.token) not in there:
            yield "lost append"
        if one.outcome == "refused" and (one.list, one.token) in there:
            yield "half an act"  # the hold was refused, the list was not
    asked = {(one.list, one.token) for one in _writes(operations)}
    yield from ["from nowhere" for place in there if place not in asked]


def _holds(operations: Sequence[Operation], found: Found) -> Iterator[str]:
    """Versions 1, 2, 3 ..., each replacing the one before it, and every acknowledged edit among them."""
    for versions in found.holds.values():
        for before, after in pairwise(versions):
            if after.version != before.version + 1 or after.after != before.token:
                yield "lost update"  # written over by one who had not seen it
    there = {(name, held.version, held.token) for name, versions in found.holds.items() for held in versions}
    for one in operations:
        if one.kind == "edit" and one.outcome == "ok" and (one.hold, one.version + 1, one.token) not in there:
            yield "lost update"


def _stale_holds(operations: Sequence[Operation]) -> Iterator[str]:
    """Whoever looks at a hold sees at least the newest version acknowledged before it asked."""
    answered: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for one in sorted(operations, key=lambda each: each.end_ns):
        if one.kind == "edit" and one.outcome == "ok":
            newest = max([one.version + 1, *(version for _, version in answered[one.hold][-1:])])
            answered[one.hold].append((one.end_ns, newest))
    for one in operations:
        if one.hold and one.outcome != "error":
            before = bisect_left(answered[one.hold], (one.start_ns, 0))
            if before and one.version < answered[one.hold][before - 1][1]:
                yield "stale read"


def _reads(operations: Sequence[Operation]) -> Iterator[str]:
    """A read holds all that was acknowledged before it, nothing asked for after it, and fits the other reads."""
    writes: dict[str, list[Operation]] = defaultdict(list)
    reads: dict[str, list[Operation]] = defaultdict(list)
    for one in sorted(_writes(operations), key=lambda each: each.end_ns):
        writes[one.list].append(one)
    for one in operations:
        if one.kind == "read" and one.outcome == "ok":
            reads[one.list].append(one)
    home = {one.token: one.list for one in _writes(operations)}
    for name, readings in reads.items():
        acknowledged = [one for one in writes[name] if one.outcome == "ok"]
        refused = {one.token for one in writes[name] if one.outcome == "refused"}
        started = {one.token: one.start_ns for one in writes[name]}
        ends = [one.end_ns for one in acknowledged]
        for read in readings:
            seen = set(read.seen)
            due = {one.token for one in acknowledged[: bisect_left(ends, read.start_ns)]}
            yield from ["stale read"] * bool(due - seen)
            yield from ["doubled"] * (len(read.seen) - len(seen))
            yield from ["dirty read"] * bool(seen & refused)
            yield from ["from nowhere" for token in seen if started.get(token, read.end_ns) >= read.end_ns]
            # the hold was looked at first, so the list must know the act that wrote it
            yield from ["half an act"] * (home.get(read.held) == name and read.held not in seen)
        # what was added is never taken away: of two reads one must hold the other
        sizes = sorted((set(read.seen) for read in readings), key=len)
        yield from ["reads in two orders" for fewer, more in pairwise(sizes) if not fewer <= more]


def _writes(operations: Iterable[Operation]) -> Iterator[Operation]:
    return (one for one in operations if one.kind != "read")
