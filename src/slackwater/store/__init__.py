"""The record: every drain from connection to removal, append-only, on SQLite or PostgreSQL."""

from __future__ import annotations

from slackwater.store.record import Record, open_record

__all__ = ["Record", "open_record"]
