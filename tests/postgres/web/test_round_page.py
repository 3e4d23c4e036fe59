"""tests/behaviour/web/round/test_round_page.py, of a record on PostgreSQL."""

from behaviour.web.round.test_round_page import *  # noqa: F403
