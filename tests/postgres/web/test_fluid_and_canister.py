"""tests/behaviour/web/charting/test_fluid_and_canister.py, of a record on PostgreSQL."""

from behaviour.web.charting.test_fluid_and_canister import *  # noqa: F403
