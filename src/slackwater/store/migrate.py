"""From an empty or an older database to today's tables, whole or not at all."""

from __future__ import annotations

import importlib.resources
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Engine, inspect, text

from slackwater.errors import RecordError
from slackwater.store.engine import name_of, reading, writing

REVISIONS = ("0001", "0002", "0003", "0004")  # in order; the last is today's


def revision(engine: Engine) -> str | None:
    """What the database says it is; None if it is empty."""
    with reading(engine) as connection:
        return _revision(connection)


def upgrade(engine: Engine, to: str = REVISIONS[-1]) -> None:
    """Bring the tables to `to` in one transaction. Raises RecordError for a database of a newer program."""
    with writing(engine) as connection:
        upgrade_on(connection, to)


def upgrade_on(connection: Connection, to: str = REVISIONS[-1]) -> None:
    """The same, inside the caller's transaction."""
    found = _revision(connection)
    refuse_newer(found, connection.engine)
    if found != to:
        _run(connection, to)


def refuse_newer(found: str | None, engine: Engine) -> None:
    if found is not None and found not in REVISIONS:
        raise RecordError(
            f"was written by a newer program (its tables are of step {found}, this program knows {REVISIONS[-1]})",
            where=name_of(engine),
            mend="Install that version of slackwater; an older one must not write here.",
        )


def _revision(connection: Connection) -> str | None:
    tables = inspect(connection).get_table_names()
    if "alembic_version" not in tables:
        if tables:
            raise RecordError(
                "holds tables of another program",
                where=name_of(connection.engine),
                mend="Give a database of its own.",
            )
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _run(connection: Connection, to: str) -> None:
    from alembic import command
    from alembic.config import Config

    with _scripts() as folder:
        config = Config()
        config.set_main_option("script_location", folder.replace("%", "%%"))
        config.set_main_option("path_separator", "os")
        config.attributes["connection"] = connection
        command.upgrade(config, to)


@contextmanager
def _scripts() -> Iterator[str]:
    with importlib.resources.as_file(importlib.resources.files("slackwater.store") / "migrations") as folder:
        yield str(folder)
