"""The database's own guards: that nothing is updated, deleted or paired twice, whoever asks."""

from __future__ import annotations

from sqlalchemy import Connection, text

from slackwater.store.tables import APPEND_ONLY


def missing_guards(connection: Connection) -> tuple[str, ...]:
    """Names of the triggers that ought to be there and are not."""
    if connection.dialect.name == "sqlite":
        wanted = {f"{table}_no_{verb}" for table in APPEND_ONLY for verb in ("update", "delete")}
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    else:
        wanted = {f"{table}_append_only" for table in APPEND_ONLY}
        query = "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled IN ('O', 'A')"
    held = set(connection.execute(text(query)).scalars())
    return tuple(sorted((wanted | {"pairing_apart"}) - held))
