"""A place of its own for each record."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from slackwater.store import Record, open_record


@pytest.fixture
def place(tmp_path: Path) -> str:
    """A folder that is not there yet."""
    return str(tmp_path / "record")


@pytest.fixture(scope="session")
def empty_record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty record: its tables take longer to make than to copy."""
    folder = tmp_path_factory.mktemp("empty") / "record"
    open_record(folder, create=True).close()
    return folder


@pytest.fixture
def record(place: str, empty_record: Path) -> Iterator[Record]:
    """A record, new and empty."""
    shutil.copytree(empty_record, place)
    with open_record(place) as opened:
        yield opened
