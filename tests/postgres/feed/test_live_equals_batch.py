"""tests/behaviour/feed/test_live_equals_batch.py, of a record on PostgreSQL."""

from behaviour.feed.test_live_equals_batch import *  # noqa: F403
