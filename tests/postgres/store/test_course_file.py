"""tests/behaviour/store/test_course_file.py, of a record on PostgreSQL."""

from behaviour.store.test_course_file import *  # noqa: F403
