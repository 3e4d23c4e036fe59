"""The tables: one ledger of acts, and for every noun the rows that the acts made."""

from __future__ import annotations

from typing import Any

from sqlalchemy import BigInteger, Column, Float, ForeignKey, Index, Integer, MetaData, Table, Text
from sqlalchemy.types import TypeEngine

from slackwater.store.nouns import COUNT, FLAG, INSTANT, NOUNS, NUMBER, TEXT, Noun

_KINDS: dict[str, TypeEngine[Any]] = {
    TEXT: Text(),
    INSTANT: BigInteger(),
    COUNT: BigInteger(),
    NUMBER: Float(53),
    FLAG: Integer(),
}

metadata = MetaData()

LEDGER = Table(
    "ledger",
    metadata,
    Column("seq", BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=False),
    Column("at_ms", BigInteger, nullable=False, index=True),
    Column("by", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("changes", Text, nullable=False),
    Column("previous", Text, nullable=False),
    Column("hash", Text, nullable=False),
)


def _table(noun: Noun) -> Table:
    own: list[Column[Any]] = [
        Column(field.name, _KINDS[field.kind], nullable=not field.needed) for field in noun.fields
    ]
    table = Table(
        f"{noun.name}_rows",
        metadata,
        Column("key", Text, primary_key=True),
        Column("version", Integer, primary_key=True, autoincrement=False),
        Column("seq", BigInteger, ForeignKey("ledger.seq", deferrable=True, initially="DEFERRED"), nullable=False),
        Column("at_ms", BigInteger, nullable=False),
        Column("gone", Integer, nullable=False),
        Column("happened_ms", BigInteger),
        *own,
    )
    # Where SQLite enters an act's line it looks for the rows that wait for it: without this, through all there are.
    Index(f"ix_{noun.name}_seq", table.c.seq)
    for field in noun.fields:
        if field.fixed and noun.name not in ("patient", "protocol", "message"):
            Index(f"ix_{noun.name}_{field.name}", table.c[field.name])
    return table


TABLES: dict[str, Table] = {name: _table(noun) for name, noun in NOUNS.items()}
# A unit's messages since an act. No more than that: one comes every second, and each index is a page more to write.
Index("ix_message_unit_seq", TABLES["message"].c.unit, TABLES["message"].c.seq)

APPEND_ONLY = ("ledger", *(table.name for table in TABLES.values()))
