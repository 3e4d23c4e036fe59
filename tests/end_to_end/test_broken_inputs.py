"""Every broken input is refused alike: exit 2, one line that says what, where and the mend, and nothing written."""

from __future__ import annotations

from pathlib import Path

import pytest

from end_to_end import a_ward_folder as ward
from end_to_end.broken_inputs import BROKEN, SECRET, Broken
from end_to_end.the_command import called, files_in, installed

GLIMPSE = 20  # characters of a cell that an error may show

# The chart's and the episode's readers still show the whole text; the test says when they no longer do.


def _spoilt(folder: Path, broken: Broken) -> Path:
    ward.write(folder)
    for name, data in broken.files.items():
        (folder / name).write_bytes(data)
    if broken.prepare is not None:
        broken.prepare(folder)
    return folder


def test_the_sound_folder_is_not_refused(tmp_path: Path) -> None:
    """The control: without its fault, every case below would run."""
    assert called("assess", *ward.ALL, folder=ward.write(tmp_path)).code in (0, 3)


def test_there_are_enough_broken_inputs() -> None:
    assert len(BROKEN) >= 120
    assert len({broken.label for broken in BROKEN}) == len(BROKEN)


@pytest.mark.parametrize("broken", BROKEN, ids=lambda broken: broken.label)
def test_a_broken_input_is_refused_in_one_line(broken: Broken, tmp_path: Path) -> None:
    folder = _spoilt(tmp_path, broken)
    before = files_in(folder)
    ran = called(*broken.command, *broken.arguments, folder=folder, stdin=broken.stdin)
    assert ran.code == 2, f"{ran.code}: {ran.err}{ran.out[:300]}"
    assert ran.err.startswith("slackwater: ")
    assert ran.err.endswith("\n")
    assert ran.err.count("\n") == 1, ran.err
    assert "Traceback" not in ran.err
    assert not ran.out
    assert broken.place in ran.err
    assert broken.mend in ran.err
    assert all(character.isprintable() for character in ran.err.rstrip("\n")), repr(ran.err)
    assert files_in(folder) == before


def _long_cells(broken: Broken) -> set[str]:
    """Cells of the broken file that are longer than a glimpse, save what the sound files hold too."""
    known = b"".join(ward.files().values()).decode()
    cells: set[str] = {SECRET}
    for name in ("log.csv", "chart.csv"):
        text = broken.files.get(name, b"").decode("utf-8", "ignore")
        mark = ";" if name == "log.csv" else ","
        cells |= {
            cell
            for line in text.splitlines()[:40]
            for cell in line.split(mark)
            if len(cell) > GLIMPSE and cell not in known
        }
    return cells


def _could_show_one(broken: Broken) -> bool:
    return len(_long_cells(broken)) > 1 or any(SECRET.encode() in data for data in broken.files.values())


@pytest.mark.parametrize("broken", [b for b in BROKEN if _could_show_one(b)], ids=lambda broken: broken.label)
def test_an_error_shows_no_more_than_a_glimpse_of_a_cell(broken: Broken, tmp_path: Path) -> None:
    """Cells can hold names: an error shows what it takes to find one, and no more."""
    ran = called(*broken.command, *broken.arguments, folder=_spoilt(tmp_path, broken))
    for cell in _long_cells(broken):
        shown = [cell[i : i + GLIMPSE + 1] for i in range(min(len(cell), 400) - GLIMPSE)]
        assert not any(piece in ran.err for piece in shown), ran.err[:400]


@pytest.mark.parametrize("broken", [BROKEN[0], BROKEN[12], BROKEN[60], BROKEN[-1]], ids=lambda broken: broken.label)
def test_the_installed_command_refuses_in_the_same_words(broken: Broken, tmp_path: Path) -> None:
    folder = _spoilt(tmp_path, broken)
    within = called(*broken.command, *broken.arguments, folder=folder, stdin=broken.stdin)
    outside = installed(*broken.command, *broken.arguments, folder=folder, stdin=broken.stdin)
    assert (outside.code, outside.err, outside.out) == (within.code, within.err, within.out)


@pytest.mark.parametrize("name", ["no\nrow.csv", "esc\x1b[31m.csv", "‮gnirts.csv", "=CMD().csv", "a;b,c.csv"])
def test_a_strange_file_name_stays_on_one_line(name: str, tmp_path: Path) -> None:
    folder = ward.write(tmp_path)
    (folder / name).write_bytes(b"")
    ran = called("assess", name, "--layout", "layout.toml", folder=folder)
    assert ran.code == 2
    assert ran.err.count("\n") == 1
    assert all(character.isprintable() for character in ran.err.rstrip("\n")), repr(ran.err)
    assert "Export the log again" in ran.err
