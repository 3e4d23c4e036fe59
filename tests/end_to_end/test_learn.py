"""`slackwater learn` from a folder of past stays to a file of numbers that `assess` uses; invented stays.

Fast here: two numbers move, in this process. What docs/learning.md shows is run whole by `make test-slow`.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import signal
import subprocess
import sys
import time
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import NoReturn

import numpy as np
import pytest

from end_to_end.the_command import called, files_in
from slackwater.audit import workers as workers_module
from slackwater.forecast import moves
from slackwater.leak.filter.model import from_toml, shipped_model
from slackwater.simulate import scenario, simulate, write_bundle
from slackwater.simulate.unit_types import SHINGLE
from ward.until import LONG_S, until

NUMBERS = ("trend.seals_low_per_h", "record.bursts")
PAGE = Path(__file__).parents[2] / "docs" / "learning.md"
STAYS = 21


@pytest.fixture(scope="module")
def past(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Stays whose rule holds some hours after the first cut, at 24 h."""
    folder = tmp_path_factory.mktemp("learn") / "past"
    rng = np.random.default_rng(11)
    plan = scenario("healing")
    for number in range(STAYS):
        course = replace(
            plan.course, flow_ml_per_min=float(rng.uniform(60.0, 200.0)), lasting_h=float(rng.uniform(27.0, 34.0)),
            effort_ml_per_min=0.0,
        )  # fmt: skip
        made = simulate(replace(plan, course=course, unit=SHINGLE, hours=42.0), number)
        write_bundle(made, folder / f"{number:02d}")
    return folder


@pytest.fixture
def few_numbers(monkeypatch: pytest.MonkeyPatch) -> None:
    every = moves.learnable(shipped_model())
    monkeypatch.setattr(moves, "learnable", lambda model: {name: every[name] for name in NUMBERS})


@pytest.mark.usefixtures("few_numbers")
def test_it_writes_numbers_that_assess_uses_and_says_whether_they_helped(past: Path, tmp_path: Path) -> None:
    ran = called("learn", str(past), "--out", "ours.toml", "--jobs", "1", folder=tmp_path)
    assert ran.code == 0, ran.err
    says = re.fullmatch(
        r"(\d+) stays of 21 gave (\d+) forecasts, each by numbers learnt without its stay\.\n"
        r"CRPS was ([\d.]+) h and is ([\d.]+) h \((fell|rose) by ([\d.]+), standard error ([\d.]+)\)\. (.+)\n"
        r"wrote ours\.toml\n",
        ran.out,
    )
    assert says is not None, ran.out
    gain = float(says[6]) * (1 if says[5] == "fell" else -1)
    assert gain == pytest.approx(float(says[3]) - float(says[4]), abs=0.011)
    if gain < 0:
        assert says[8] == "They did NOT help there: keep the old numbers."
    elif gain < 2 * float(says[7]) - 0.011:
        assert says[8] == "That may be chance: keep the old numbers, or give more stays."

    text = (tmp_path / "ours.toml").read_text()
    uncertainty = tomllib.loads(text)["uncertainty"]
    assert set(uncertainty) == set(NUMBERS)
    assert all(0.0 < error < 10.0 for error in uncertainty.values())
    ours, shipped = from_toml(text, "ours.toml"), shipped_model()
    assert f"{says[1]} past stays" in ours.provenance
    assert ours.size == shipped.size
    moved = {field for field, value in vars(ours.trend).items() if value != getattr(shipped.trend, field)}
    assert moved <= {"seals_low_per_h"}

    stay = past / "03"
    files = ("--layout", stay / "layout.toml", "--episode", stay / "episode.toml", "--protocol", "air-20-8h", "--json")
    asked = ("assess", str(stay / "log.csv"), *map(str, files))
    with_ours = called(*asked, "--numbers", "ours.toml", folder=tmp_path)
    assert with_ours.code in (0, 3), with_ours.err
    assert json.loads(with_ours.out)["forecast"]["provenance"] == ours.provenance


@pytest.mark.usefixtures("few_numbers")
def test_the_same_seed_gives_the_same_file(past: Path, tmp_path: Path) -> None:
    for name, more in (("a.toml", ("--jobs", "1")), ("b.toml", ("--jobs", "1", "--json"))):
        ran = called("learn", str(past), "--out", name, "--seed", "4", *more, folder=tmp_path)
        assert ran.code == 0, ran.err
    assert (tmp_path / "a.toml").read_bytes() == (tmp_path / "b.toml").read_bytes()
    figures = json.loads(ran.out)
    assert figures["file"] == "b.toml"
    assert figures["crps_h_before"] > 0 and figures["gain_error_h"] > 0


def test_with_too_few_stays_it_says_so_in_one_line_and_writes_nothing(past: Path, tmp_path: Path) -> None:
    few = tmp_path / "few"
    few.mkdir()
    for number in range(3):
        (few / f"{number:02d}").symlink_to(past / f"{number:02d}")
    ran = called("learn", "few", "--out", "ours.toml", "--jobs", "1", folder=tmp_path)
    assert ran.code == 2
    assert ran.err == (
        "slackwater: few: holds 3 stays, of which a forecast could have been made for 3. "
        "Give past drains until it is 20.\n"
    )
    assert not (tmp_path / "ours.toml").exists()


@pytest.mark.parametrize("out", ["not-there/ours.toml", "few"])
def test_where_it_cannot_write_it_says_so_before_the_work(
    past: Path, tmp_path: Path, out: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def worked(*_: object) -> NoReturn:
        pytest.fail("it set to work")

    monkeypatch.setattr(workers_module, "workers", worked)
    (tmp_path / "few").mkdir()
    ran = called("learn", str(past), "--out", out, folder=tmp_path)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err == f"slackwater: {out}: cannot be written there. Name a file in a folder that is there.\n"


@pytest.mark.skipif(sys.platform == "win32", reason="an interrupt is sent otherwise there")
@pytest.mark.parametrize("everyone", [True, False], ids=["from a terminal", "to it alone"])
def test_an_interrupt_stops_it_at_once_and_leaves_neither_file_nor_process(
    past: Path, tmp_path: Path, everyone: bool
) -> None:
    folder, work = tmp_path / "past", tmp_path / "work"
    folder.mkdir()
    work.mkdir()
    for stay in past.iterdir():
        (folder / stay.name).symlink_to(stay)
    (folder / "00-broken").mkdir()
    (folder / "00-broken" / "layout.toml").write_text("[log]\n")
    words = [sys.executable, "-m", "slackwater", "learn", str(folder), "--out", "ours.toml", "--jobs", "2"]
    running = subprocess.Popen(words, cwd=work, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True)
    assert running.stderr is not None
    assert b"00-broken: left out" in running.stderr.readline()  # it has begun
    time.sleep(1.0)
    assert running.poll() is None
    (os.killpg if everyone else os.kill)(running.pid, signal.SIGINT)
    out, err = running.communicate(timeout=LONG_S)
    assert (running.returncode, out) == (130, b"")
    assert err.decode().split("\n")[-2] == "slackwater: stopped"
    assert b"Traceback" not in err
    assert files_in(work) == {}
    until(lambda: not alive(running.pid), "a process of it lives on")


def alive(group: int) -> bool:
    """Whether any process of the group is left."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.slow
def test_what_the_page_shows_runs_as_shown(tmp_path: Path) -> None:
    """The commands of docs/learning.md, with all numbers."""
    lines = re.findall(r"^\$ (slackwater .+)$", PAGE.read_text("utf-8"), re.MULTILINE)
    assert [shlex.split(line)[1] for line in lines] == ["simulate", "learn", "assess"]
    for line in lines:
        ran = called(*shlex.split(line)[1:], folder=tmp_path)
        assert ran.code in (0, 3), ran.err
    uncertainty = tomllib.loads((tmp_path / "ours.toml").read_text())["uncertainty"]
    assert set(uncertainty) == set(moves.learnable(shipped_model()))
