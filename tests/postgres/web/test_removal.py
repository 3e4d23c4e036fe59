"""tests/behaviour/web/charting/test_removal.py, of a record on PostgreSQL."""

from behaviour.web.charting.test_removal import *  # noqa: F403
