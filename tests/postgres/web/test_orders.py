"""tests/behaviour/web/charting/test_orders.py, of a record on PostgreSQL."""

from behaviour.web.charting.test_orders import *  # noqa: F403
