"""Build the shim, start Python under it, and tell it what to do."""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import struct
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

SOURCE = Path(__file__).with_name("shim.c")
KINDS = ("write", "sync", "length", "rename", "unlink", "link", "create", "mkdir", "note")  # enum kind
PLANS = ("nothing", "kill", "kill halfway", "fail", "short")  # enum plan
ENTRY = struct.Struct("<iiiiqq")  # struct entry
KILLED = 137


def why_not() -> str | None:
    """Why the shim cannot be built here, or None."""
    if sys.platform != "linux":
        return "the shim needs Linux"
    if shutil.which("cc") is None:
        return "the shim needs a C compiler (cc)"
    return None


def built(folder: Path) -> Path:
    library = folder / "shim.so"
    command = ["cc", "-O1", "-shared", "-fPIC", "-o", str(library), str(SOURCE), "-ldl", "-lpthread"]
    subprocess.run(command, check=True)
    return library


def environment(library: Path) -> dict[str, str]:
    """For a process that shall run under the shim."""
    found = [str(SOURCE.parents[1]), os.environ.get("PYTHONPATH", "")]
    one_thread = {"POLARS_MAX_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    return os.environ | one_thread | {"LD_PRELOAD": str(library), "PYTHONPATH": os.pathsep.join(filter(None, found))}


@dataclass(frozen=True)
class Event:
    """One call that changes the disk, or a note a scenario made between two of them."""

    kind: str
    path: str
    path2: str
    error: int
    """errno, 0 where it went well."""
    offset: int
    length: int
    data: bytes


def read_log(fd: int) -> Iterator[Event]:
    with os.fdopen(os.dup(fd), "rb") as log:
        log.seek(0)
        while head := log.read(ENTRY.size):
            kind, path, path2, error, offset, length = ENTRY.unpack(head)
            names = log.read(path).decode(), log.read(path2).decode()
            data = log.read(length) if KINDS[kind] == "write" else b""
            yield Event(KINDS[kind], *names, error, offset, length, data)


class Shim:
    """The shim this process runs under."""

    def __init__(self) -> None:
        self._library = ctypes.CDLL(None)
        if not hasattr(self._library, "shim_watch"):
            raise RuntimeError("not started under the shim: see shim.environment")
        self._library.shim_calls.restype = ctypes.c_long

    def watch(self, folder: Path, log: int = -1) -> None:
        """Count from here what changes under the folder; log it to a descriptor, if one is given."""
        self._library.shim_watch(os.fsencode(os.path.realpath(folder)), log)

    def arm(
        self, at: int, plan: str, error: str = "EIO", *, sticky: bool = False, kinds: tuple[str, ...] = KINDS
    ) -> None:
        bits = sum(1 << KINDS.index(kind) for kind in kinds)
        what = PLANS.index(plan)
        self._library.shim_arm(ctypes.c_long(at), what, getattr(errno, error), int(sticky), bits)

    def disarm(self) -> None:
        """Space is back, the disk is whole."""
        self.arm(0, "nothing")

    def note(self, text: str) -> None:
        self._library.shim_note(text.encode())

    @property
    def calls(self) -> int:
        return int(self._library.shim_calls())

    @property
    def met(self) -> int:
        """How often the plan was carried out since it was made."""
        return int(self._library.shim_met())
