"""tests/behaviour/store/test_pairings.py, of a record on PostgreSQL."""

from behaviour.store.test_pairings import *  # noqa: F403
