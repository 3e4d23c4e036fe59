"""No behaviour of the ward's pages is asked of SQLite alone by oversight."""

from __future__ import annotations

from pathlib import Path

# Tests that write nothing, or nothing that another test does not write; they are about forms, words and who may.
OF_FORMS = {
    "test_by_the_hospital.py", "test_demo_ward.py", "test_doors.py", "test_drain_page.py", "test_injection.py",
    "test_password_door.py", "test_round_is_ones_own.py", "test_who_may_what.py",
}  # fmt: skip
TESTS = Path(__file__).parents[2]
FOLDERS = ("access", "charting", "drain", "round")


def test_every_file_about_the_pages_has_its_twin_here():
    there = {path.name for folder in FOLDERS for path in (TESTS / "behaviour" / "web" / folder).glob("test_*.py")}
    here = {path.name for path in Path(__file__).parent.glob("test_*.py")} - {"test_twins.py", "test_a_service.py"}
    assert sorted(there - OF_FORMS - here) == [], "copy a twin of one line for it, or name it in OF_FORMS"
    assert sorted(here - there) == [], "its twin is gone"
