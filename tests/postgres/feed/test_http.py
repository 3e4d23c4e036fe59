"""tests/behaviour/feed/test_http.py, of a record on PostgreSQL."""

from behaviour.feed.test_http import *  # noqa: F403
