"""tests/behaviour/store/test_removing.py, of a record on PostgreSQL."""

from behaviour.store.test_removing import *  # noqa: F403
