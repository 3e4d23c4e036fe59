"""Reading and writing files at the door: errors name the file, and nothing is left half-written."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

from slackwater.errors import UsageError

LARGEST_TEXT = 64 << 20  # a rule, a chart or an episode is never larger


def read_bytes(path: str, largest: int | None = None) -> bytes:
    """The bytes of a file, or of standard input for '-'. Raises UsageError naming the file."""
    if path == "-":
        return sys.stdin.buffer.read()
    try:
        if largest is not None and os.path.getsize(path) > largest:
            raise UsageError(f"is larger than {largest >> 20} MB", where=path, mend="Is it the right file?")
        return Path(path).read_bytes()
    except OSError as error:
        raise UsageError(
            f"cannot be read: {error.strerror}", where=path, mend="Check the name and the rights."
        ) from None


def refuse_reading_twice(paths: Iterable[str | None]) -> None:
    """Refuse '-' for two files: standard input holds one."""
    if list(paths).count("-") > 1:
        raise UsageError("standard input can be read once", mend="Give '-' for one file only.")


def name_of(path: str) -> str:
    """What messages call a file: its name without folders, or 'standard input'."""
    return "standard input" if path == "-" else Path(path).name


def refuse_overwriting(target: str | None, inputs: Iterable[str | None]) -> None:
    """Refuse to write over a file that is read: a log is the only copy of what happened."""
    if target is None or target == "-" or not os.path.exists(target):
        return
    for path in inputs:
        if path not in (None, "-") and os.path.exists(str(path)) and os.path.samefile(str(path), target):
            raise UsageError("is read, and would be written over", where=target, mend="Give it another name.")


def write_whole(path: str, data: bytes) -> None:
    """Write a file as a whole or not at all: to a neighbour first, then renamed. '-' is standard output."""
    if path == "-":
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
        return
    target = Path(path)
    try:
        handle, temporary = tempfile.mkstemp(dir=target.parent or ".", prefix=".slackwater-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(temporary, 0o644)
            os.replace(temporary, target)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise UsageError(
            f"cannot be written: {error.strerror}", where=path, mend="Check the folder and the rights."
        ) from None
