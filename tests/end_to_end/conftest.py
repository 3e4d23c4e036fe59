"""A drain's folder, ready to be recorded."""

from __future__ import annotations

from pathlib import Path

import pytest

from end_to_end.a_record import drain_folder


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with one drain in `drain`; the record is `rec` in it."""
    monkeypatch.setenv("SLACKWATER_RECORD", str(tmp_path / "rec"))
    (tmp_path / "drain").mkdir()
    drain_folder(tmp_path / "drain")
    return tmp_path
