"""tests/behaviour/store/test_charge_frame.py, of a record on PostgreSQL."""

from behaviour.store.test_charge_frame import *  # noqa: F403
