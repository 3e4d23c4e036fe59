"""Who entered what of a drain, when and why."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from slackwater.store.course import Course
from slackwater.store.nouns import NOUNS
from slackwater.store.rows import last_known
from slackwater.store.tables import LEDGER, TABLES


@dataclass(frozen=True)
class Line:
    """One act as it concerns one drain. `new`: how many rows of each noun; `corrected`: (noun, field, old, new)."""

    seq: int
    at_ms: int
    by: str
    what: str
    why: str
    new: Mapping[str, int]
    taken_back: Mapping[str, int]
    corrected: tuple[tuple[str, str, Any, Any], ...]


def history_of(connection: Connection, course: Course, known_ms: int | None = None) -> tuple[Line, ...]:
    """The acts that touched this drain, its stay or its patient, in order."""
    whose = {
        "drain": course.drain.key, "episode": course.episode.key, "patient": course.patient.key,
    }  # fmt: skip
    seqs: set[int] = set()
    for noun, table in TABLES.items():
        fields = {one.name for one in NOUNS[noun].fields if one.fixed}
        for field in ("drain", "episode", "patient"):
            if field in fields and not (noun == "entry" and field == "drain"):
                seqs |= set(connection.execute(select(table.c.seq).where(table.c[field] == whose[field])).scalars())
                break
        if noun in whose:
            seqs |= set(connection.execute(select(table.c.seq).where(table.c.key == whose[noun])).scalars())
    found: list[Line] = []
    for first in range(0, len(seqs), 500):
        wanted = sorted(seqs)[first : first + 500]
        query = select(LEDGER).where(LEDGER.c.seq.in_(wanted)).order_by(LEDGER.c.seq)
        if known_ms is not None:
            query = query.where(LEDGER.c.seq <= last_known(known_ms))
        found += [_line(act, json.loads(act.changes)) for act in connection.execute(query)]
    return tuple(found)


def _line(act: Any, changes: list[dict[str, Any]]) -> Line:
    new: dict[str, int] = {}
    back: dict[str, int] = {}
    corrected: list[tuple[str, str, Any, Any]] = []
    for change in changes:
        noun = change["noun"]
        if change.get("gone"):
            back[noun] = back.get(noun, 0) + 1
        elif change["version"] == 1:
            new[noun] = new.get(noun, 0) + 1
        corrected += [(noun, name, old, change["new"].get(name)) for name, old in change.get("old", {}).items()]
    return Line(act.seq, act.at_ms, act.by, act.what, act.why, new, back, tuple(corrected))
