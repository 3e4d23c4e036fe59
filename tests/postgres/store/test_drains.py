"""tests/behaviour/store/test_drains.py, of a record on PostgreSQL."""

from behaviour.store.test_drains import *  # noqa: F403
