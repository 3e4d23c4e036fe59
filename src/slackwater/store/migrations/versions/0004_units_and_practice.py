"""Units' lives, trips, home, practice, and what live intake needs."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from slackwater.store.migrations.guards import rows_of

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


NOUNS = """
person patient episode space drain goal protocol approval unit pairing order entry log table hold task removal
check unit_state setup canister decision card look message recall unit_call trip home lesson unit_key sealed
disputed
"""


def upgrade() -> None:
    for name in ("kind", "battery_lot"):
        op.add_column("unit_rows", sa.Column(name, sa.Text))
    for name in ("bought_ms", "battery_from_ms", "service_due_ms", "safety_test_due_ms"):
        op.add_column("unit_rows", sa.Column(name, sa.BigInteger))
    op.add_column("unit_rows", sa.Column("must_run_min", sa.BigInteger))
    op.add_column("unit_rows", sa.Column("registered", sa.Integer))
    op.add_column("entry_rows", sa.Column("message", sa.Text))
    op.add_column("canister_rows", sa.Column("size_ml", sa.Float(53)))
    rows_of(
        "recall",
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("lot", sa.Text, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("from_ms", sa.BigInteger),
        sa.Column("closed_ms", sa.BigInteger),
        by=("what", "lot"),
    )
    rows_of(
        "unit_call",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("unit", sa.Text),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("from_ms", sa.BigInteger, nullable=False),
        sa.Column("attended_ms", sa.BigInteger),
        sa.Column("until_ms", sa.BigInteger),
        sa.Column("attended_by", sa.Text),
        sa.Column("cause", sa.Text),
        sa.Column("action", sa.Text),
        by=("drain", "unit"),
    )
    rows_of(
        "trip",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("from_ms", sa.BigInteger, nullable=False),
        sa.Column("destination", sa.Text, nullable=False),
        sa.Column("fallback", sa.Text),
        sa.Column("planned_min", sa.BigInteger),
        sa.Column("charge_percent", sa.Float(53)),
        sa.Column("back_ms", sa.BigInteger),
        sa.Column("charge", sa.Text),
        sa.Column("because", sa.Text),
        sa.Column("note", sa.Text),
        by=("drain",),
    )
    rows_of(
        "home",
        sa.Column("drain", sa.Text, nullable=False),
        sa.Column("from_ms", sa.BigInteger, nullable=False),
        sa.Column("to_ms", sa.BigInteger),
        sa.Column("visit_ms", sa.BigInteger),
        sa.Column("contact", sa.Text),
        sa.Column("eligible", sa.Text),
        sa.Column("protocol", sa.Text),
        by=("drain",),
    )
    rows_of(
        "lesson",
        sa.Column("person", sa.Text, nullable=False),
        sa.Column("exercise", sa.Text, nullable=False),
        sa.Column("draw", sa.BigInteger, nullable=False),
        sa.Column("moment", sa.BigInteger),
        sa.Column("answer", sa.Text, nullable=False),
        sa.Column("truth", sa.Text, nullable=False),
        sa.Column("right", sa.Integer, nullable=False),
        sa.Column("confidence", sa.Float(53), nullable=False),
        sa.Column("time_ms", sa.BigInteger, nullable=False),
        sa.Column("sha256", sa.Text),
        by=("person", "exercise", "draw"),
    )
    rows_of(
        "unit_key",
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
        by=("unit",),
    )
    rows_of(
        "sealed",
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("declared", sa.Text, nullable=False),
        sa.Column("until_seq", sa.BigInteger, nullable=False),
        sa.Column("first_ms", sa.BigInteger, nullable=False),
        sa.Column("last_ms", sa.BigInteger, nullable=False),
        sa.Column("rows", sa.BigInteger, nullable=False),
        sa.Column("states", sa.Text),
        by=("unit", "sha256"),
    )
    rows_of(
        "disputed",
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("sequence", sa.BigInteger, nullable=False),
        by=("unit",),
    )
    op.create_index("ix_message_unit_seq", "message_rows", ["unit", "seq"])
    for field in ("unit", "sequence"):  # asked for by nobody alone
        op.drop_index(f"ix_message_{field}", "message_rows")
    for noun in NOUNS.split():
        op.create_index(f"ix_{noun}_seq", f"{noun}_rows", ["seq"])
