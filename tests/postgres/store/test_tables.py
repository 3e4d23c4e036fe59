"""tests/behaviour/store/test_tables.py, of a record on PostgreSQL."""

from behaviour.store.test_tables import *  # noqa: F403
