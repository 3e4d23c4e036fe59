"""tests/behaviour/store/test_units_connected.py, of a record on PostgreSQL."""

from behaviour.store.test_units_connected import *  # noqa: F403
