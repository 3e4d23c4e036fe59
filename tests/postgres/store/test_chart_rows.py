"""tests/behaviour/store/test_chart_rows.py, of a record on PostgreSQL."""

from behaviour.store.test_chart_rows import *  # noqa: F403
