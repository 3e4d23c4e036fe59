"""tests/behaviour/store/test_charting.py, of a record on PostgreSQL."""

from behaviour.store.test_charting import *  # noqa: F403
