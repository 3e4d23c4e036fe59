"""tests/behaviour/store/test_group.py, of a record on PostgreSQL."""

from behaviour.store.test_group import *  # noqa: F403
