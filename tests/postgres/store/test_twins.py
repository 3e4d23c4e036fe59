"""No behaviour of the record is asked of SQLite alone by oversight."""

from __future__ import annotations

from pathlib import Path

OF_SQLITE = {"test_disk_faults.py", "test_place.py", "test_verify.py"}  # about its file, and the disk under it
TESTS = Path(__file__).parents[2]


def test_every_file_about_the_record_has_its_twin_here():
    there = {path.name for path in (TESTS / "behaviour" / "store").glob("test_*.py")}
    here = {path.name for path in Path(__file__).parent.glob("test_*.py")} - {"test_twins.py"}
    assert sorted(there - OF_SQLITE - here) == [], "copy a twin of one line for it, or name it in OF_SQLITE"
    assert sorted(here - there) == [], "its twin is gone"
