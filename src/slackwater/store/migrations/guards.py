"""What every step of the tables shares: the columns of rows, and what the database itself refuses."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op


def rows_of(noun: str, *fields: sa.Column[Any], by: tuple[str, ...] = ()) -> None:
    """The rows of a noun: one for each version of a thing; looked up by what never changes."""
    name = f"{noun}_rows"
    op.create_table(
        name,
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column(
            "seq", sa.BigInteger, sa.ForeignKey("ledger.seq", deferrable=True, initially="DEFERRED"), nullable=False
        ),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("gone", sa.Integer, nullable=False),
        sa.Column("happened_ms", sa.BigInteger),
        *fields,
    )
    for field in by:
        op.create_index(f"ix_{noun}_{field}", name, [field])
    append_only(name)


def append_only(table: str) -> None:
    """No row of `table` is ever changed or deleted, whoever asks."""
    if op.get_context().dialect.name == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            )
        return
    op.execute(
        "CREATE OR REPLACE FUNCTION append_only() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$"
    )
    op.execute(
        f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION append_only()"
    )


_CLASH = """
    SELECT 1 FROM pairing_rows other
    WHERE other.key <> new.key AND other.gone = 0 AND new.gone = 0
      AND NOT EXISTS (SELECT 1 FROM pairing_rows later WHERE later.key = other.key AND later.version > other.version)
      AND other.from_ms < COALESCE(new.to_ms, 9223372036854775807)
      AND new.from_ms < COALESCE(other.to_ms, 9223372036854775807)
      AND ((other.unit = new.unit AND (other.patient <> new.patient OR other.drain = new.drain))
        OR (other.drain = new.drain AND other.unit <> new.unit))
"""


def one_pairing_at_a_time() -> None:
    """A unit serves one patient, and a drain has one unit, at any moment: the database's own last word."""
    if op.get_context().dialect.name == "sqlite":
        op.execute(
            "CREATE TRIGGER pairing_apart BEFORE INSERT ON pairing_rows "
            f"BEGIN SELECT RAISE(ABORT, 'unit or drain already paired') WHERE EXISTS ({_CLASH}); END"
        )
        return
    op.execute(
        "CREATE FUNCTION pairing_apart() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF EXISTS ({_CLASH}) THEN RAISE EXCEPTION 'unit or drain already paired'; END IF; RETURN new; END $$"
    )
    op.execute(
        "CREATE TRIGGER pairing_apart BEFORE INSERT ON pairing_rows FOR EACH ROW EXECUTE FUNCTION pairing_apart()"
    )
