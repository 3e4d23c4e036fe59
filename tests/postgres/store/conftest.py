"""Whatever the behaviour tests ask of a record, they ask here again of one on PostgreSQL: `place` is a URL.

Each file of tests/behaviour/store that is not about SQLite's own file has its twin here, of one line.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from slackwater.store import Record, open_record

# Tests that take `place` for a folder: they make a second one beside it, or reach into its files.
OF_FOLDERS = {
    "test_a_chart_in_pieces_is_the_chart_as_one",
    "test_an_order_for_suction_counts_as_if_it_were_charted",
    "test_a_backup_of_a_damaged_record_is_refused",
    "test_a_restore_never_goes_over_a_record",
    "test_a_damaged_definition_of_a_table_is_refused_in_words",
    "test_missing_guards_are_found",
}


@pytest.fixture
def place(database_url: str) -> str:
    return database_url


@pytest.fixture
def record(place: str) -> Iterator[Record]:
    with open_record(place, create=True) as opened:
        yield opened


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.path.parent == Path(__file__).parent and item.path.name != "test_twins.py":
            item.add_marker(pytest.mark.postgres)
            if item.name in OF_FOLDERS:
                item.add_marker(pytest.mark.skip(reason="about folders"))
