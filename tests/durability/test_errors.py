"""A call refused by the disk (full, over quota, failing, interrupted, cut short): the act says so and leaves nothing by
halves, what is recorded stays readable, and the same process goes on once the disk is whole.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from durability import toy
from durability.scenarios import SCENARIOS, SWALLOWED
from durability.sweep import run

pytestmark = pytest.mark.durability

EVERY = 80  # one point in so many; all of them: python tests/durability/full.py


@pytest.mark.parametrize("name", [scenario.name for scenario in SCENARIOS])
def test_an_error_of_the_disk_surfaces_and_is_got_over(library: Path, name: str) -> None:
    report = run(library, "scenarios", name, "errors", EVERY)
    print(report)
    assert report.surfaced > 0
    assert not report.faults, report


@pytest.mark.parametrize("name", [scenario.name for scenario in toy.SCENARIOS])
def test_the_right_way_passes(library: Path, name: str) -> None:
    report = run(library, "toy", name, "errors", every=8)
    print(report)
    assert report.surfaced > 0
    assert not report.faults, report


@pytest.mark.parametrize("where, name", [("scenarios", SWALLOWED), ("toy", toy.NOT_SYNCED)])
def test_an_error_swallowed_or_not_asked_for_is_found_out(library: Path, where: str, name: str) -> None:
    report = run(library, where, name, "errors", every=24 if where == "scenarios" else 4)
    print(report)
    assert report.faults.get("lost") or report.faults.get("half"), report
