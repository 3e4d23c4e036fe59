"""tests/behaviour/web/charting/test_correcting.py, of a record on PostgreSQL."""

from behaviour.web.charting.test_correcting import *  # noqa: F403
