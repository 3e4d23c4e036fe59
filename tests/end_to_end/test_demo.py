"""The demo: what `make demo` runs, and that its answer comes from the files it wrote."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from end_to_end.the_command import Ran, called, installed

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Ran]:
    folder = tmp_path_factory.mktemp("demo")
    return folder, installed("demo", folder=folder)


def shown_command(ran: Ran) -> list[str]:
    """The words after `cd FOLDER && slackwater` on the first line."""
    words = shlex.split(ran.out.splitlines()[0])
    assert words[:4] == ["cd", "demo-out", "&&", "slackwater"]
    return words[4:]


def headline(ran: Ran) -> str:
    """The answer itself: from 'Air leak:' to the empty line."""
    return " ".join(ran.out[ran.out.index("Air leak:") :].partition("\n\n")[0].split())


def test_make_demo_runs_this_command_and_never_waits() -> None:
    recipe = (ROOT / "Makefile").read_text().partition("\ndemo:")[2].partition("\n\n")[0]
    assert "slackwater demo </dev/null" in recipe


def test_the_demo_runs_and_says_what_it_ran(demo: tuple[Path, Ran]) -> None:
    folder, ran = demo
    assert ran.code == 0
    assert {p.name for p in (folder / "demo-out").iterdir()} >= {"log.csv", "layout.toml", "chart.csv", "episode.toml"}
    assert shown_command(ran)[0] == "assess"


def test_the_command_shown_gives_the_answer_shown(demo: tuple[Path, Ran]) -> None:
    folder, ran = demo
    again = called(*shown_command(ran), folder=folder / "demo-out")
    assert again.code == ran.code
    assert ran.out.endswith(again.out)


def test_the_answer_moves_with_the_log(demo: tuple[Path, Ran], tmp_path: Path) -> None:
    """Raise the flow of the last two hours: the answer is another one."""
    folder, ran = demo
    for path in (folder / "demo-out").iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    head, *rows = (tmp_path / "log.csv").read_text().splitlines()
    flows = (str(395 + 5 * (n % 3)) for n in range(3600))  # a flow that never varies would be a stuck sensor
    raised = [",".join([*row.split(",")[:1], next(flows), *row.split(",")[2:]]) for row in rows[-3600:]]
    (tmp_path / "log.csv").write_text("\n".join([head, *rows[:-3600], *raised]) + "\n")
    moved = called(*shown_command(ran), folder=tmp_path)
    assert "met on recorded data since" in headline(ran)
    assert "leaking, 397 to 403 mL/min at Fri 08 Mar 09:19." in headline(moved)
    assert "not met" in headline(moved)


def test_the_same_seed_gives_the_same_files(demo: tuple[Path, Ran], tmp_path: Path) -> None:
    folder, _ = demo
    called("simulate", "demo", "--seed", "1", "--out", "again", folder=tmp_path)
    for path in (folder / "demo-out").iterdir():
        assert (tmp_path / "again" / path.name).read_bytes() == path.read_bytes(), path.name
