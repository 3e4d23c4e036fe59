"""The small recorded ward, a copy for each test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from slackwater.store import open_record
from slackwater.store.record import Record
from ward.a_ward import NOW_MS, Clock, recorded_ward


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Record]:
    with open_record(recorded_ward(tmp_path / "record"), clock=Clock(NOW_MS)) as opened:
        yield opened
