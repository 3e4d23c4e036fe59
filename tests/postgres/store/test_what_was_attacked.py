"""tests/behaviour/store/test_what_was_attacked.py, of a record on PostgreSQL."""

from behaviour.store.test_what_was_attacked import *  # noqa: F403
