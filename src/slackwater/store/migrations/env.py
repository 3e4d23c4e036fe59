"""Alembic's entry: runs the steps on the connection it is given, inside that connection's own transaction."""

from __future__ import annotations

from alembic import context

from slackwater.store.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata, transactional_ddl=True)
context.run_migrations()
