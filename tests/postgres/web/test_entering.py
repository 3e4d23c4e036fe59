"""tests/behaviour/web/charting/test_entering.py, of a record on PostgreSQL."""

from behaviour.web.charting.test_entering import *  # noqa: F403
