"""The record's commands at the door: refusals, what is printed, the usual place, and a long import that is stopped."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from end_to_end import a_ward_folder as ward
from end_to_end.a_record import drain_folder, ok, told
from end_to_end.a_stay import folder_of
from end_to_end.the_command import called, installed
from ward.until import LONG_S, until

# --- refusals -------------------------------------------------------------------------------------

REFUSED = {
    "record nowhere": "nowhere: is no folder and no file",
    "record drain/log.csv": "--episode",
    "record drain drain/log.csv": "mixed",
    "record drain --chart drain/chart.csv": "brings its own",
    "record drain --record mysql://x": "is no place for a record",
    "record empty": "holds no episode.toml",
    "record list --record nowhere": "there is no record here",
    "record show": "Missing argument",
    "record show INV-2/1": "Did you mean INV-1/1?",
    "record show INV-1/1 --known yesterday": "is not a time",
    "record list --zone Moon/Crater": "is not a time zone",
    "assess --drain INV-1/1 drain/log.csv": "brings its own",
    "assess drain/log.csv --layout drain/layout.toml --known 2041-05-06T10:00:00Z": "--drain",
    "assess --drain INV-9/9": "no drain is called",
    "backup": "Missing argument",
    "restore nowhere --to there": "has no manifest",
    "restore bk": "--to",
    "verify --record nowhere": "there is no record here",
}


@pytest.mark.parametrize("words", REFUSED)
def test_a_wrong_call_is_one_line_with_the_mend_and_changes_nothing(words: str, bench: Path) -> None:
    ok("record", "drain", folder=bench)
    (bench / "empty").mkdir()
    before = told("verify", folder=bench)
    refused = called(*words.split(), folder=bench)
    assert (refused.code, refused.out) == (2, "")
    assert refused.err.startswith("slackwater: ")
    assert refused.err.count("\n") == 1
    assert REFUSED[words] in refused.err
    assert told("verify", folder=bench) == before


def test_a_log_of_another_drain_is_refused(bench: Path) -> None:
    (bench / "other").mkdir()
    drain_folder(bench / "other", patient="INV-2")
    ok("record", "drain", folder=bench)
    refused = called("record", "other", folder=bench)
    assert refused.code == 2
    assert "unit B-7 served another patient's drain at that time" in refused.err
    assert [one["name"] for one in told("record", "list", folder=bench)["drains"]] == ["INV-1/1"]


def test_one_folder_that_is_refused_does_not_stop_the_others(bench: Path) -> None:
    for number in (1, 2, 3):
        folder = bench / "many" / f"bed-{number}"
        folder.mkdir(parents=True)
        drain_folder(folder, patient=f"INV-{number}")
        if number != 1:  # one unit cannot serve three patients at once
            (folder / "log.csv").unlink()
    (bench / "many" / "bed-2" / "chart.csv").write_text(ward.CHART.replace("2041-05-06T08:30:00Z", "half past eight"))
    ran = called("record", "many", folder=bench)
    assert ran.code == 2
    assert ran.err.count("\n") == 1
    assert ran.err.startswith("slackwater: refused: bed-2: chart.csv, line 3")
    assert [one["name"] for one in told("record", "list", folder=bench)["drains"]] == ["INV-1/1", "INV-3/1"]


# --- output and place -----------------------------------------------------------------------------


def test_piped_output_has_no_colour_and_stderr_is_quiet(bench: Path) -> None:
    noisy = {"TERM": "xterm-256color", "FORCE_COLOR": "1", "NO_COLOR": "1"}
    for words in (("record", "drain"), ("record", "list"), ("record", "show", "INV-1/1"), ("backup", "bk"),
                  ("verify",), ("restore", "bk", "--to", "rec-2"), ("assess", "--drain", "INV-1/1")):  # fmt: skip
        ran = installed(*words, folder=bench, env=noisy)
        assert ran.code in (0, 3), ran.err
        assert ran.err == ""
        assert "\x1b" not in ran.out
        assert "\r" not in ran.out


def test_what_does_not_print_is_refused_or_shown_by_a_dot(bench: Path) -> None:
    course = bench / "drain" / "course.toml"
    course.write_text('[stay]\nward = "C2\\u001b[31m"\n')
    refused = called("record", "drain", folder=bench)
    assert (refused.code, "\x1b" in refused.err) == (2, False)
    course.write_text('[stay]\nward = "C2\\u202e"\n[[task]]\nwhat = "look\\u200bat it"\n')  # turns round; hides
    ok("record", "drain", folder=bench)
    assert "C2·" in ok("record", "list", folder=bench).out
    shown = ok("record", "show", "INV-1/1", folder=bench).out
    assert "look·at it" in shown
    assert "\u202e" not in shown


def test_without_a_place_the_record_is_this_users(bench: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """XDG Base Directory Specification: user data lie in $XDG_DATA_HOME (Linux; elsewhere the system's own place)."""
    if sys.platform != "linux":
        pytest.skip("the place is another one here")
    monkeypatch.delenv("SLACKWATER_RECORD")
    monkeypatch.setenv("XDG_DATA_HOME", str(bench / "data"))
    assert told("record", "drain", folder=bench)["record"] == str(bench / "data" / "slackwater")
    assert (bench / "data" / "slackwater" / "record.sqlite").exists()


@pytest.mark.parametrize(
    "words", ["record", "record list", "record show", "record export", "backup", "restore", "verify"]
)
def test_every_command_shows_an_example_in_its_help(words: str, tmp_path: Path) -> None:
    ran = called(*words.split(), "--help", folder=tmp_path)
    assert (ran.code, ran.err) == (0, "")
    assert re.search(rf"Example:\s+slackwater {words}", ran.out)


def test_a_long_import_that_is_stopped_leaves_a_whole_record(bench: Path) -> None:
    stay = folder_of("usual_chart", bench / "stay")
    for number in range(1, 9):
        folder = bench / "many" / f"{number}"
        folder.mkdir(parents=True)
        for name in ("log.csv", "layout.toml", "chart.csv"):
            (folder / name).write_bytes((stay / name).read_bytes() + b"\n" * (number if name == "log.csv" else 0))
        text = (stay / "episode.toml").read_text()
        (folder / "episode.toml").write_text(text.replace("SIM-0001", f"SIM-{number:04d}"))
    last = bench / "many" / "8" / "log.csv"
    log = last.read_bytes()
    last.unlink()
    os.mkfifo(last)  # nobody writes to it: however late it is stopped, it has not ended
    command = [sys.executable, "-m", "slackwater", "record", "many"]
    started = subprocess.Popen(
        command, cwd=bench, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env={**os.environ},
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )  # fmt: skip
    until(lambda: recorded(bench), "no drain was recorded", every_s=0.02)
    started.send_signal(signal.SIGINT)
    _, err = started.communicate(timeout=LONG_S)
    last.unlink()
    last.write_bytes(log)
    assert started.returncode == 130, err
    assert err.decode().startswith("slackwater: stopped")
    assert err.count(b"\n") == 1
    found = told("verify", folder=bench)
    assert found["faults"] == []
    kept = [one["name"] for one in told("record", "list", folder=bench)["drains"]]
    assert 1 <= len(kept) < 8
    again = told("record", "many", folder=bench)["drains"]
    assert [one["name"] for one in again if not one["new_drain"]] == sorted(kept)
    assert len(told("record", "list", folder=bench)["drains"]) == 8
    assert told("verify", folder=bench)["faults"] == []


def recorded(folder: Path) -> bool:
    """Whether a first drain is in the record already."""
    ran = called("record", "list", "--json", folder=folder)
    return ran.code == 0 and bool(json.loads(ran.out)["drains"])
