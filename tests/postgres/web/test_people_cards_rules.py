"""tests/behaviour/web/access/test_people_cards_rules.py, of a record on PostgreSQL."""

from behaviour.web.access.test_people_cards_rules import *  # noqa: F403
