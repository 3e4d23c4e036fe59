"""tests/behaviour/web/charting/test_full_set.py, of a record on PostgreSQL."""

from behaviour.web.charting.test_full_set import *  # noqa: F403
