"""tests/behaviour/web/access/test_getting_in.py, of a record on PostgreSQL."""

from behaviour.web.access.test_getting_in import *  # noqa: F403
