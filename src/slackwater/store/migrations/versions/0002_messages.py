"""Messages that units send by themselves."""

from __future__ import annotations

import sqlalchemy as sa

from slackwater.store.migrations.guards import rows_of

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    rows_of(
        "message",
        sa.Column("unit", sa.Text, nullable=False),
        sa.Column("sequence", sa.BigInteger, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        by=("unit", "sequence"),
    )
