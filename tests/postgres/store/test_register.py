"""tests/behaviour/store/test_register.py, of a record on PostgreSQL."""

from behaviour.store.test_register import *  # noqa: F403
