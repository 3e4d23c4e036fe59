"""tests/behaviour/store/test_calls.py, of a record on PostgreSQL."""

from behaviour.store.test_calls import *  # noqa: F403
