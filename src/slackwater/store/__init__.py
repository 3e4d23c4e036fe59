"""The record: every drain from connection to removal, append-only, on SQLite or PostgreSQL."""

from __future__ import annotations

from slackwater.errors import MissingPart

try:
    import sqlalchemy  # noqa: F401  everything here stands on it
except ImportError:
    raise MissingPart(
        "the record needs the extra 'record'", mend="Install it: pip install 'slackwater[record]'."
    ) from None

from slackwater.store.record import Record, open_record

__all__ = ["Record", "open_record"]
