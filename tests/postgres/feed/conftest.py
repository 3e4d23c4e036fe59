"""Live intake over a record on PostgreSQL: the same questions as in tests/behaviour/feed."""

from __future__ import annotations

from pathlib import Path

import pytest

from postgres.store.conftest import place, record  # noqa: F401


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.path.parent == Path(__file__).parent:
            item.add_marker(pytest.mark.postgres)
