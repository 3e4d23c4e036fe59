"""tests/behaviour/web/access/test_units.py, of a record on PostgreSQL."""

from behaviour.web.access.test_units import *  # noqa: F403
