"""Originals and tables as files named by the SHA-256 of their content: written once, never changed."""

from __future__ import annotations

import hashlib
import os
import tempfile
import zlib
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from slackwater.errors import NotWritten, RecordError


class Files:
    """A folder of contents. A file that no row of the record names is harmless, so files come before rows."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha256: str) -> Path:
        return self.folder / sha256[:2] / sha256

    def put(self, content: bytes) -> str:
        """Keep `content`; returns its SHA-256. It is on the disk when this returns."""
        sha256 = hashlib.sha256(content).hexdigest()
        target = self.path(sha256)
        try:
            make_folder(target.parent)
            if _sound(target, sha256):
                sync_folder(target.parent)  # whoever wrote it may not have come so far
            else:
                write_durably(target, zlib.compress(content, 1))
        except OSError as error:
            raise NotWritten(
                f"the files of the record cannot be written: {error.strerror}",
                where=str(self.folder),
                mend="Nothing was recorded. Make room or mend the disk, then enter it again.",
            ) from error
        return sha256

    def get(self, sha256: str) -> bytes:
        """The content; RecordError if it is missing or no longer what it was."""
        path = self.path(sha256)
        mend = "Restore the record from its backup, and see: slackwater verify."
        try:
            stored = path.read_bytes()
        except OSError as error:
            raise RecordError(f"cannot be read: {error.strerror}", where=str(path), mend=mend) from error
        content = _content(stored)
        if content is None or hashlib.sha256(content).hexdigest() != sha256:
            raise RecordError("is not what was recorded: the disk changed it", where=str(path), mend=mend)
        return content

    def sound(self, sha256: str) -> bool:
        """Whether the content is there and what it was."""
        return _sound(self.path(sha256), sha256)

    def names(self) -> Iterator[str]:
        """Every content kept, in order of its name."""
        for path in sorted(self.folder.glob("??/*")):
            if len(path.name) == 64:
                yield path.name


def _content(stored: bytes) -> bytes | None:
    """What the file says, or None: nothing before, between or after a whole deflated stream."""
    unpack = zlib.decompressobj()
    try:
        content = unpack.decompress(stored)
    except zlib.error:
        return None
    return content if unpack.eof and not unpack.unused_data else None


def _sound(path: Path, sha256: str) -> bool:
    try:
        content = _content(path.read_bytes())
    except OSError:
        return False
    return content is not None and hashlib.sha256(content).hexdigest() == sha256


def make_folder(folder: Path) -> None:
    """Make a folder and its parents, each entry on the disk."""
    if folder.is_dir():
        with suppress(PermissionError):  # of a folder that is not ours to read
            sync_folder(folder.parent)  # whoever made it may not have come so far
        return
    make_folder(folder.parent)
    folder.mkdir(mode=0o700, exist_ok=True)  # health data: nobody else's
    sync_folder(folder.parent)


def write_durably(target: Path, content: bytes) -> None:
    """Write a file as a whole or not at all; it outlasts a loss of power once this returns."""
    handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=".new-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, target)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    sync_folder(target.parent)


def sync_folder(folder: Path) -> None:
    """Make a folder's entries outlast a loss of power (where the system lets one)."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
