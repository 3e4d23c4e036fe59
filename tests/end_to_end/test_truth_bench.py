"""The table of docs/how-sure.md: its small run is safe and whole, and what it is made with does what it says.

Every stay here is simulated; the truth is known by making it. Sources of expected values stand beside each test.
"""

from __future__ import annotations

import itertools
import json
import re
import subprocess
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

ROOT = Path(__file__).parents[2]
BENCH = ROOT / "bench" / "truth"
PAGE = ROOT / "docs" / "how-sure.md"
OURS, PLAIN = "ours", ("threshold", "running median", "two-state HMM")


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Figures of the small run, and what it printed."""
    out = tmp_path_factory.mktemp("truth") / "figures.json"
    ran = subprocess.run(
        [sys.executable, str(BENCH / "table.py"), "--small", "--json", str(out)],
        capture_output=True, text=True, timeout=1800, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr[-3000:]
    found: dict[str, Any] = json.loads(out.read_text())
    found["printed"], found["progress"] = ran.stdout, ran.stderr
    return found


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], ModuleType]:
    """The files of bench/truth, by name."""
    monkeypatch.syspath_prepend(str(BENCH))
    return import_module


def cells(small: dict[str, Any], number: int) -> list[dict[str, str]]:
    """Row `number` of each block."""
    return [row for block in small["rows"].values() for label, row in block.items() if label.startswith(f"{number}.")]


def test_nothing_that_must_not_be_met_is_called_met(small: dict[str, Any]) -> None:
    """The figure that matters: none, with either world's look-alikes, and some were asked about."""
    rows = [row for number in (1, 2) for row in cells(small, number) if row]
    assert len(rows) == 3  # the second world has no row 2
    for row in rows:
        called, asked = map(int, row[OURS].split(" of "))
        assert called == 0, small["cases"]
        assert asked > 0
    assert "must not be met, called met" not in small["cases"]


def test_a_ruler_laid_on_the_raw_readings_is_taken_in(small: dict[str, Any]) -> None:
    """Else the look-alikes would not look healed, and row 1 would say nothing."""
    assert all(int(row["threshold"].split(" of ")[0]) > 0 for row in cells(small, 1))


def test_both_blocks_have_every_row_and_every_baseline_answers_what_it_can(small: dict[str, Any]) -> None:
    assert list(small["rows"]) == ["slackwater's own simulator", "second world"]
    for number in range(1, 10):
        assert len(cells(small, number)) == 2, number
    for number in (1, 3, 4, 5):
        assert all({OURS, *PLAIN} <= set(row) for row in cells(small, number)), number
    for number in (7, 8, 9):
        assert all(set(row) == {OURS, "two-state HMM", "Kaplan-Meier", "log-linear"} for row in cells(small, number))
    assert all(label in small["printed"] for block in small["rows"].values() for label in block)
    assert re.search(r"^\d+ of \d+, ", small["progress"], re.MULTILINE)


def test_the_page_holds_every_row_of_the_table_and_every_method(
    small: dict[str, Any], bench: Callable[[str], ModuleType]
) -> None:
    """The page is written by the full run: the same rows, other numbers."""
    text = PAGE.read_text("utf-8")
    table = text[text.index(bench("page").BEGIN) : text.index(bench("page").END)]
    methods = (*PLAIN, "Kaplan-Meier", "log-linear", OURS, "guards waived")
    for block, rows in small["rows"].items():
        assert f"| {block} | " + " | ".join(methods) + " |" in table
        for label in rows:
            assert re.sub(r" \(share of \d+\)", "", label) in table, label


@pytest.mark.parametrize("name", ["how-sure-reliability.svg", "how-sure-coverage.svg"])
def test_a_picture_can_be_read_aloud_and_without_colour(name: str) -> None:
    """Title and description: W3C, SVG 1.1, 5.4. Each line has a dash and a mark of its own."""
    space = "{http://www.w3.org/2000/svg}"
    root = ElementTree.fromstring((PAGE.parent / "pictures" / name).read_text("utf-8"))
    assert root.get("role") == "img"
    for part in ("title", "desc"):
        found = root.find(f"{space}{part}")
        assert found is not None
        assert found.get("id") in (root.get("aria-labelledby") or "").split()
        assert len(found.text or "") > 20
    lines = [path for path in root.iter(f"{space}path") if (path.get("class") or "").startswith("line")]
    dashes = {(path.get("class"), path.get("stroke-dasharray")) for path in lines}
    assert len(dashes) == len({dash for _, dash in dashes}) == 4
    assert f"(pictures/{name})" in PAGE.read_text("utf-8")


# --- what the baselines are made of ---------------------------------------------------------------


def test_the_two_state_passes_agree_with_every_path_counted(bench: Callable[[str], ModuleType]) -> None:
    """By the definition of a hidden Markov model: all 2^7 paths weighed one by one."""
    rng = np.random.default_rng(4)
    like, change, first = rng.random((7, 2)), np.array([[0.8, 0.2], [0.3, 0.7]]), np.array([0.5, 0.5])
    states, pairs, total = np.zeros((7, 2)), np.zeros((2, 2)), 0.0
    for path in itertools.product((0, 1), repeat=7):
        weight = float(first[path[0]] * like[0, path[0]])
        for k in range(1, 7):
            weight *= float(change[path[k - 1], path[k]] * like[k, path[k]])
        total += weight
        states[np.arange(7), path] += weight
        for before, after in itertools.pairwise(path):
            pairs[before, after] += weight
    found, changes = bench("baselines").hold_together(like, change, first)
    np.testing.assert_allclose(found, states / total, rtol=1e-12)
    np.testing.assert_allclose(changes, pairs / total, rtol=1e-12)


def test_two_levels_are_found_and_a_chain_that_saw_one_forecasts_nothing(
    bench: Callable[[str], ModuleType],
) -> None:
    """Levels as drawn: 90 and 2 mL/min."""
    rng = np.random.default_rng(5)
    flow = np.concatenate((90.0 * np.exp(0.2 * rng.standard_normal(500)), 2.0 * np.exp(0.2 * rng.standard_normal(500))))
    seen = bench("baselines").two_states(flow, np.ones(1000, np.bool_))
    assert seen.flow == pytest.approx([2.0, 90.0], rel=0.05)
    assert seen.upper[:499].min() > 0.99
    assert seen.upper[501:].max() < 0.01
    only = bench("baselines").two_states(flow[:500], np.ones(500, np.bool_))
    assert bench("baselines").chain_times(only, 0, 48, 288) is None


def test_a_run_of_the_chain_completes_as_simulated_runs_do(bench: Callable[[str], ModuleType]) -> None:
    """Against 20,000 runs of the same chain, drawn step by step."""
    change = np.array([[0.9, 0.1], [0.3, 0.7]])
    seen = bench("baselines").TwoStates(np.array([0.4]), np.array([2.0, 90.0]), change)
    found = bench("baselines").chain_times(seen, 2, 5, 30)
    rng = np.random.default_rng(6)
    runs, done = 20_000, np.zeros(31)
    leaking, run, over = rng.random(runs) < 0.4, np.full(runs, 2), np.zeros(runs, np.bool_)
    run[leaking] = 0
    for step in range(1, 31):
        u = rng.random(runs)
        after = np.where(leaking, u < change[1, 1], u < change[0, 1])
        run = np.where(after, 0, run + 1)
        leaking = after
        over |= run >= 5
        done[step] = over.mean()
    assert found == pytest.approx(done, abs=0.02)


def test_right_chances_hold_what_they_say_and_bold_ones_less(bench: Callable[[str], ModuleType]) -> None:
    """Known by making it: it comes at rate 0.03 an hour, or with a chance of 0.3 at 5 h sharp; told so, or twice as
    fast. A jump of the chance is shared out, so four fifths hold though no time of the forecast does."""
    told = bench("told_against_came")
    rng = np.random.default_rng(3)
    grid = told.GRID_H

    def chances(rate: float) -> np.ndarray:
        jump = np.where(grid >= 5.0, 0.3, 0.0)
        return np.tile(jump + (1.0 - 0.3) * (1.0 - np.exp(-rate * grid)), (6000, 1))

    later = rng.exponential(1.0 / 0.03, 6000)
    time = np.where(rng.random(6000) < 0.3, 5.0, later)
    time = np.where(time <= told.HORIZON_H, time, np.inf)
    right, bold = (told.Told([], chances(rate), time) for rate in (0.03, 0.12))
    assert told.held(right).mean() == pytest.approx(0.8, abs=0.02)
    assert [told.held(right, k / 5, (k + 1) / 5).mean() for k in range(5)] == pytest.approx([0.2] * 5, abs=0.02)
    assert told.held(bold).mean() < 0.7
    chance, came = told.at(right, 24)
    assert told.ece(chance, came) < 0.02 < told.ece(*told.at(bold, 24))
    assert told.floor(chance) < 0.02
