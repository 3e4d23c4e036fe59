"""The ledger and the rows of every noun; nothing is ever updated, deleted or paired twice."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from slackwater.store.migrations.guards import append_only, one_pairing_at_a_time, rows_of

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "ledger",
        sa.Column("seq", sa.BigInteger().with_variant(sa.Integer, "sqlite"), primary_key=True, autoincrement=False),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("changes", sa.Text, nullable=False),
        sa.Column("previous", sa.Text, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
    )
    op.create_index("ix_ledger_at_ms", "ledger", ["at_ms"])
    append_only("ledger")
    rows_of(
        "person",
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("role", sa.Text, nullable=False),
        sa.Column("wards", sa.Text),
        sa.Column("left_ms", sa.BigInteger),
        by=(),
    )
    rows_of(
        "patient",
        sa.Column("label", sa.Text, nullable=False),
        by=(),
    )
    rows_of(
        "episode",
        sa.Column("patient", sa.Text, nullable=False),
        sa.Column("age_years", sa.Float(53)),
        sa.Column("weight_kg", sa.Float(53)),
        sa.Column("indication", sa.Text),
        sa.Column("operation_kind", sa.Text),
        sa.Column("operation_end_ms", sa.BigInteger),
        sa.Column("breathing", sa.Text),
        sa.Column("ward", sa.Text),
        sa.Column("bed", sa.Text),
        sa.Column("initials", sa.Text),
        sa.Column("closed_ms", sa.BigInteger),
        sa.Column("closed_why", sa.Text),
        by=("patient",),
    )
    rows_of(
        "space",
        sa.Column("episode", sa.Text, nullable=False),
        sa.Column("kind", sa.Text),
        sa.Column("side", sa.Text),
        by=("episode",),
    )
    rows_of(
        "drain",
        sa.Column("episode", sa.Text, nullable=False),
        sa.Column("space", sa.Text, nullable=False),
        sa.Column("number", sa.Text, nullable=False),
        sa.Column("site", sa.Text),
        sa.Column("size_fr", sa.Float(53)),
        sa.Column("connected_ms", sa.BigInteger),
        sa.Column("shares_unit_with", sa.Text),
        sa.Column("shares_space_with", sa.Text),
        by=("episode", "number"),
    )
    rows_of(
        "goal",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("text", sa.Text),
        sa.Column("protocol", sa.Text),
        by=("drain",),
    )
    rows_of(
        "protocol",
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("edition", sa.Text),
        sa.Column("status", sa.Text),
        sa.Column("approved_by", sa.Text),
        by=(),
    )
    rows_of(
        "approval",
        sa.Column("protocol", sa.Text, nullable=False),
        sa.Column("person", sa.Text, nullable=False),
        sa.Column("role", sa.Text),
        sa.Column("words", sa.Text),
        by=("protocol", "person"),
    )
    rows_of(
        "unit",
        sa.Column("serial", sa.Text, nullable=False),
        sa.Column("layout", sa.Text),
        by=("serial",),
    )
    rows_of(
        "pairing",
        sa.Column("patient", sa.Text, nullable=False),
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("from_ms", sa.BigInteger, nullable=False),
        sa.Column("to_ms", sa.BigInteger),
        sa.Column("checked_by", sa.Text),
        sa.Column("arrived_with", sa.Text),
        sa.Column("from_log", sa.Integer),
        by=("patient", "drain", "unit"),
    )
    rows_of(
        "order",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("level", sa.Text),
        sa.Column("unit", sa.Text),
        sa.Column("from_ms", sa.BigInteger, nullable=False),
        sa.Column("until_ms", sa.BigInteger),
        sa.Column("review_ms", sa.BigInteger),
        sa.Column("may_be_off_min", sa.BigInteger),
        sa.Column("reason", sa.Text),
        by=("drain", "kind"),
    )
    rows_of(
        "entry",
        sa.Column("episode", sa.Text, nullable=False),
        sa.Column("drain", sa.Text),
        sa.Column("item", sa.Text, nullable=False),
        sa.Column("value", sa.Text),
        sa.Column("unit", sa.Text),
        sa.Column("note", sa.Text),
        sa.Column("time_ms", sa.BigInteger, nullable=False),
        sa.Column("written_ms", sa.BigInteger),
        sa.Column("written_by", sa.Text),
        sa.Column("source", sa.Text),
        sa.Column("line", sa.BigInteger),
        by=("episode", "drain"),
    )
    rows_of(
        "log",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("layout", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("serials", sa.Text),
        sa.Column("first_ms", sa.BigInteger),
        sa.Column("last_ms", sa.BigInteger),
        sa.Column("rows_read", sa.BigInteger),
        sa.Column("rows_used", sa.BigInteger),
        sa.Column("rows_refused", sa.BigInteger),
        sa.Column("arrived_with", sa.Text),
        by=("drain", "sha256", "layout"),
    )
    rows_of(
        "table",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("made_from", sa.Text),
        sa.Column("program", sa.Text),
        by=("drain", "kind"),
    )
    rows_of(
        "hold",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("from_ms", sa.BigInteger, nullable=False),
        sa.Column("to_ms", sa.BigInteger),
        sa.Column("note", sa.Text),
        by=("drain",),
    )
    rows_of(
        "task",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("due_ms", sa.BigInteger),
        sa.Column("done_ms", sa.BigInteger),
        sa.Column("done_by", sa.Text),
        sa.Column("result", sa.Text),
        by=("drain",),
    )
    rows_of(
        "removal",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("time_ms", sa.BigInteger, nullable=False),
        sa.Column("removed_by", sa.Text),
        sa.Column("second_person", sa.Text),
        sa.Column("breath_phase", sa.Text),
        sa.Column("analgesia_ms", sa.BigInteger),
        sa.Column("tip_intact", sa.Integer),
        sa.Column("suture_out_ms", sa.BigInteger),
        sa.Column("overall", sa.Text),
        sa.Column("protocol", sa.Text),
        sa.Column("against_rule_because", sa.Text),
        by=("drain",),
    )
    rows_of(
        "check",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("due_ms", sa.BigInteger),
        sa.Column("done_ms", sa.BigInteger),
        sa.Column("done_by", sa.Text),
        sa.Column("result", sa.Text),
        by=("drain",),
    )
    rows_of(
        "unit_state",
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("method", sa.Text),
        sa.Column("note", sa.Text),
        sa.Column("at_place", sa.Text),
        by=("unit",),
    )
    rows_of(
        "setup",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("checked", sa.Text, nullable=False),
        sa.Column("second_person", sa.Text),
        sa.Column("note", sa.Text),
        by=("drain", "unit"),
    )
    rows_of(
        "canister",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("from_ms", sa.BigInteger, nullable=False),
        sa.Column("lot", sa.Text),
        sa.Column("filter_lot", sa.Text),
        sa.Column("expires_ms", sa.BigInteger),
        by=("drain",),
    )
    rows_of(
        "decision",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("because", sa.Text, nullable=False),
        sa.Column("overall", sa.Text),
        sa.Column("protocol", sa.Text),
        by=("drain",),
    )
    rows_of(
        "card",
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("approved_by", sa.Text),
        by=("name",),
    )
    rows_of(
        "look",
        sa.Column("person", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("drain", sa.Text),
        by=("person", "drain"),
    )
    one_pairing_at_a_time()
