"""No behaviour of the record is asked of SQLite alone by oversight."""

from __future__ import annotations

from pathlib import Path

# About SQLite's file and its disk; of faults it is enough to know them once.
OF_SQLITE = {"test_disk_faults.py", "test_faults_not_yet_mended.py", "test_place.py", "test_verify.py"}
TESTS = Path(__file__).parents[2]


def test_every_file_about_the_record_has_its_twin_here():
    there = {path.name for path in (TESTS / "behaviour" / "store").glob("test_*.py")}
    here = {path.name for path in Path(__file__).parent.glob("test_*.py")}
    assert there - OF_SQLITE == here - {"test_twins.py"}
