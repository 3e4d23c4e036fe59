"""tests/behaviour/store/test_listing.py, of a record on PostgreSQL."""

from behaviour.store.test_listing import *  # noqa: F403
