"""Reading rows: the latest version of each thing, as known at a moment."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, ScalarSelect, func, select

from slackwater.store.acts import Act
from slackwater.store.nouns import NOUNS, Value
from slackwater.store.tables import LEDGER, TABLES


@dataclass(frozen=True)
class Thing:
    """One version of a thing. `at_ms`: when this version was recorded; `happened_ms`: when it was so."""

    noun: str
    key: str
    version: int
    seq: int
    at_ms: int
    gone: bool
    happened_ms: int | None
    fields: Mapping[str, Any]

    def __getitem__(self, name: str) -> Any:
        return self.fields[name]


def things(
    connection: Connection,
    noun: str,
    of: Mapping[str, Value] | None = None,
    *,
    known_ms: int | None = None,
    keys: Iterable[str] | None = None,
    gone: bool = False,
) -> tuple[Thing, ...]:
    """The latest version of each thing, in order of its key; those taken back are left out unless `gone`.

    `of`: fields that never change, to look up by. `known_ms`: as the record stood then (UTC ms).
    """
    latest: dict[str, Thing] = {}
    for thing in versions(connection, noun, of, known_ms=known_ms, keys=keys):
        latest[thing.key] = thing
    return tuple(thing for thing in latest.values() if gone or not thing.gone)


def versions(
    connection: Connection,
    noun: str,
    of: Mapping[str, Value] | None = None,
    *,
    known_ms: int | None = None,
    keys: Iterable[str] | None = None,
) -> tuple[Thing, ...]:
    """Every version, in order of key and version."""
    table = TABLES[noun]
    query = select(table)
    for name, value in (of or {}).items():
        assert NOUNS[noun].field(name).fixed, f"{noun}.{name} may change, so rows cannot be looked up by it"
        query = query.where(table.c[name] == value)
    if known_ms is not None:
        query = query.where(table.c.seq <= last_known(known_ms))
    rows: list[Row[Any]] = []
    if keys is None:
        rows += connection.execute(query).all()
    else:
        wanted = sorted(set(keys))
        for first in range(0, len(wanted), 500):  # SQLite takes so many parameters at once
            rows += connection.execute(query.where(table.c.key.in_(wanted[first : first + 500]))).all()
    return tuple(sorted((_thing(noun, row) for row in rows), key=lambda thing: (thing.key, thing.version)))


def was_told(
    connection: Connection, noun: str, key: str, fields: Mapping[str, Value], *, version: int, gone: bool = False
) -> bool:
    """Whether the version after `version` says just this: the same change, sent twice, whatever came later."""
    then = next((one for one in versions(connection, noun, keys=[key]) if one.version == version + 1), None)
    return then is not None and then.gone == gone and all(then[name] == value for name, value in fields.items())


def last_known(known_ms: int) -> ScalarSelect[Any]:
    """The last act recorded by then: that act and all before it were known, whatever a clock that ran ahead stamped."""
    return select(func.coalesce(func.max(LEDGER.c.seq), 0)).where(LEDGER.c.at_ms <= known_ms).scalar_subquery()


def acts(connection: Connection, after: int = 0, until: int | None = None) -> Iterator[Act]:
    """The ledger's acts in order, those after `after`, a thousand at a time."""
    while True:
        query = select(LEDGER).where(LEDGER.c.seq > after).order_by(LEDGER.c.seq).limit(1000)
        if until is not None:
            query = query.where(LEDGER.c.seq <= until)
        found = connection.execute(query).all()
        for row in found:
            yield Act(**row._mapping)
        if len(found) < 1000:
            return
        after = found[-1].seq


def head(connection: Connection) -> Act | None:
    """The last act; None in an empty record."""
    row = connection.execute(select(LEDGER).order_by(LEDGER.c.seq.desc()).limit(1)).first()
    return None if row is None else Act(**row._mapping)


def _thing(noun: str, row: Row[Any]) -> Thing:
    told = row._mapping
    fields = {
        one.name: bool(told[one.name]) if one.kind == "flag" and told[one.name] is not None else told[one.name]
        for one in NOUNS[noun].fields
    }
    return Thing(noun, row.key, row.version, row.seq, row.at_ms, bool(row.gone), row.happened_ms, fields)
