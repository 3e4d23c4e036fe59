"""Who may log in, and who is logged in. These rows do change: they are no part of the ledger or of a backup."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "account",
        sa.Column("person", sa.Text, primary_key=True),
        sa.Column("login", sa.Text, nullable=False, unique=True),
        sa.Column("password", sa.Text),
        sa.Column("failed", sa.Integer, nullable=False),
        sa.Column("wait_until_ms", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "session",
        sa.Column("token", sa.Text, primary_key=True),
        sa.Column("person", sa.Text, nullable=False),
        sa.Column("csrf", sa.Text, nullable=False),
        sa.Column("began_ms", sa.BigInteger, nullable=False),
        sa.Column("seen_ms", sa.BigInteger, nullable=False),
        sa.Column("locked", sa.Integer, nullable=False),
    )
    op.create_index("ix_session_person", "session", ["person"])
