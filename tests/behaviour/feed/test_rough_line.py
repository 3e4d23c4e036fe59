"""bench/listen.py on a small scale: over a line that delays, drops, doubles, resets and reorders, nothing is lost."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from behaviour.feed.a_feed import paired, sent, stay
from slackwater.feed.serve import seal_due
from slackwater.store import Record
from slackwater.store import live as live_module

ROOT = Path(__file__).parents[3]


@pytest.mark.slow
def test_nothing_is_lost_nor_doubled_over_a_bad_line(tmp_path: Path) -> None:
    # Hazard G06; the waits are for the bench on a machine of its own.
    done = subprocess.run(
        [sys.executable, ROOT / "bench" / "listen.py", "--devices", "20", "--seconds", "8", "--no-ward",
         "--record", str(tmp_path / "record")],
        capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert "readings sent 160, in the record 160: 0 lost, 0 doubled" in done.stdout, done.stdout + done.stderr


def test_what_is_due_is_sealed(record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    paired(record, stay().bundle)
    sent(record, stay().readings[:30])
    assert seal_due(record.place) == 0
    monkeypatch.setattr(live_module, "UNSEALED_MS", -1000)
    assert seal_due(record.place) == 30 and seal_due(record.place) == 0
    (sealed,) = record.things("sealed")
    assert sealed["rows"] == 30
