"""An act: what one person did to the record at one moment, chained to the act before it. Pure."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from slackwater.store.nouns import NOUNS, Value

FIRST = "0" * 64  # what the first act follows


@dataclass(frozen=True)
class Change:
    """One new row: the version of a thing that this act made.

    `new` holds every field of the row that is known; `old` what the changed ones were in the version before.
    `gone`: the thing was taken back; its rows stay. `happened_ms`: when it was so at the bedside (UTC ms),
    which is seldom when it was recorded.
    """

    noun: str
    key: str
    version: int
    new: Mapping[str, Value]
    old: Mapping[str, Value] = field(default_factory=dict)
    gone: bool = False
    happened_ms: int | None = None

    def as_dict(self) -> dict[str, Any]:
        out: dict[str, Any] = {"noun": self.noun, "key": self.key, "version": self.version, "new": dict(self.new)}
        if self.old:
            out["old"] = dict(self.old)
        if self.gone:
            out["gone"] = True
        if self.happened_ms is not None:
            out["happened_ms"] = self.happened_ms
        return out


@dataclass(frozen=True)
class Act:
    """One line of the ledger. `at_ms` is when it was recorded (UTC ms), never before the act it follows."""

    seq: int
    at_ms: int
    by: str
    what: str
    why: str
    changes: str  # canonical JSON of its changes
    previous: str
    hash: str

    def rows(self) -> Iterator[tuple[str, dict[str, Any]]]:
        """The rows that this act made: (noun, row). The whole record is these, and nothing else."""
        for change in json.loads(self.changes):
            yield change["noun"], row_of(change, self.seq, self.at_ms)


def row_of(change: Mapping[str, Any], seq: int, at_ms: int) -> dict[str, Any]:
    """The row that a change (as `Change.as_dict` has it) makes in the act `seq` of `at_ms` (UTC ms)."""
    row: dict[str, Any] = dict.fromkeys(one.name for one in NOUNS[change["noun"]].fields)
    row |= change["new"]
    return row | {
        "key": change["key"], "version": change["version"], "seq": seq, "at_ms": at_ms,
        "gone": int(change.get("gone", False)), "happened_ms": change.get("happened_ms"),
    }  # fmt: skip


def canonical(value: Any) -> str:
    """JSON that is the same text for the same value: keys in order, no spaces, no NaN."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def act_of(
    seq: int, at_ms: int, by: str, what: str, why: str, changes: Sequence[Change | Mapping[str, Any]], previous: str
) -> Act:
    """The act with its hash, which covers all that it says and the hash of the act before."""
    text = canonical([change.as_dict() if isinstance(change, Change) else change for change in changes])
    return Act(seq, at_ms, by, what, why, text, previous, hash_of(seq, at_ms, by, what, why, text, previous))


def hash_of(seq: int, at_ms: int, by: str, what: str, why: str, changes: str, previous: str) -> str:
    """SHA-256 of the act as canonical JSON, the hash of the act before it included."""
    return hashlib.sha256(canonical([seq, at_ms, by, what, why, changes, previous]).encode()).hexdigest()


def key_of(*parts: str | int | None) -> str:
    """A short key that the same parts always give: 20 hex digits of their SHA-256.

    >>> key_of("drain", "x", "1") == key_of("drain", "x", "1") != key_of("drain", "x1", "")
    True
    """
    return hashlib.sha256(canonical(parts).encode()).hexdigest()[:20]
