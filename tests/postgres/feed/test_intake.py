"""tests/behaviour/feed/test_intake.py, of a record on PostgreSQL."""

from behaviour.feed.test_intake import *  # noqa: F403
