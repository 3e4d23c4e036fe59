"""tests/behaviour/web/access/test_looks.py, of a record on PostgreSQL."""

from behaviour.web.access.test_looks import *  # noqa: F403
