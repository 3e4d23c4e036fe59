"""tests/behaviour/store/test_backup.py, of a record on PostgreSQL."""

from behaviour.store.test_backup import *  # noqa: F403
