"""The process ended at any call that changes the disk: what was acknowledged is there, once and whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from durability import toy
from durability.scenarios import EARLY, FILE_COPY, SCENARIOS
from durability.sweep import run

pytestmark = pytest.mark.durability

EVERY = 16  # one point in so many; all of them: python tests/durability/full.py


@pytest.mark.parametrize("name", [scenario.name for scenario in SCENARIOS])
def test_what_was_acknowledged_outlasts_a_kill(library: Path, name: str) -> None:
    report = run(library, "scenarios", name, "kills", EVERY)
    print(report)
    assert report.points > 0
    assert not report.faults, report


@pytest.mark.parametrize("name", [scenario.name for scenario in toy.SCENARIOS])
def test_the_right_way_passes(library: Path, name: str) -> None:
    report = run(library, "toy", name, "kills")
    print(report)
    assert not report.faults, report


@pytest.mark.parametrize("name", [EARLY, FILE_COPY])
def test_an_early_acknowledgement_and_a_copied_file_are_found_out(library: Path, name: str) -> None:
    """The copy lacks what was committed last: that lies in the -wal beside it."""
    report = run(library, "scenarios", name, "kills", every=4)
    print(report)
    assert report.faults.get("lost"), report
