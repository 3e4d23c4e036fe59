"""The `slackwater` command as the tests call it: in this process for speed, or as it is installed.

`called` goes through the same last door as the installed command, so exit codes and the words on
stderr are those that a ward would see.
"""

from __future__ import annotations

import io
import os
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

from slackwater.cli import main


@dataclass(frozen=True)
class Ran:
    """What came of one call."""

    code: int
    out: str
    err: str


def called(*arguments: str, folder: Path, stdin: bytes = b"") -> Ran:
    """Run the command in `folder`, within this process; output is piped, as it is not a terminal."""
    out, err = io.TextIOWrapper(io.BytesIO(), "utf-8"), io.TextIOWrapper(io.BytesIO(), "utf-8")
    given = io.TextIOWrapper(io.BytesIO(stdin), "utf-8")
    with _inside(folder), patch.object(sys, "argv", ["slackwater", *arguments]), patch.object(sys, "stdin", given):
        try:
            with redirect_stdout(out), redirect_stderr(err):
                main()
            code: object = 0
        except SystemExit as stop:
            code = stop.code
    return Ran(code if isinstance(code, int) else 0, _text(out), _text(err))


def installed(*arguments: str, folder: Path, stdin: bytes = b"", env: Mapping[str, str] | None = None) -> Ran:
    """Run the installed command in a process of its own."""
    command = Path(sys.executable).with_name("slackwater")
    words = [str(command)] if command.exists() else [sys.executable, "-m", "slackwater"]
    done = subprocess.run(
        [*words, *arguments], cwd=folder, input=stdin, capture_output=True, check=False,
        env={**os.environ, **(env or {})}, timeout=120,
    )  # fmt: skip
    return Ran(done.returncode, done.stdout.decode(), done.stderr.decode())


def files_in(folder: Path) -> dict[str, bytes]:
    """Every file under the folder with what it holds, to see that nothing was written."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            found[str(path.relative_to(folder))] = path.read_bytes() if os.access(path, os.R_OK) else b"unreadable"
    return found


@contextmanager
def _inside(folder: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def _text(stream: io.TextIOWrapper) -> str:
    stream.flush()
    buffer = stream.buffer
    assert isinstance(buffer, io.BytesIO)
    return buffer.getvalue().decode("utf-8")
