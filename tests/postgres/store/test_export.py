"""tests/behaviour/store/test_export.py, of a record on PostgreSQL."""

from behaviour.store.test_export import *  # noqa: F403
