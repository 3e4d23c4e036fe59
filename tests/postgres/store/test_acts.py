"""tests/behaviour/store/test_acts.py, of a record on PostgreSQL."""

from behaviour.store.test_acts import *  # noqa: F403
