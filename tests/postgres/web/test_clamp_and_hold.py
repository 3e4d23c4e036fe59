"""tests/behaviour/web/charting/test_clamp_and_hold.py, of a record on PostgreSQL."""

from behaviour.web.charting.test_clamp_and_hold import *  # noqa: F403
