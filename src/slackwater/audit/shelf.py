"""Where a cohort lies: a folder of this machine, or a bucket of object storage by its URL. Names: `a/b.parquet`."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from slackwater.errors import MissingPart, UsageError


class Shelf(Protocol):
    """Files by name; each is put whole or not at all. It pickles, so that other processes reach the same files."""

    @property
    def says(self) -> str: ...

    def get(self, name: str) -> bytes:
        """Raises OSError where there is none."""

    def put(self, name: str, content: bytes) -> None: ...

    def names(self) -> Iterator[str]: ...

    def remove(self, name: str) -> None: ...

    def alone(self) -> AbstractContextManager[None]:
        """While it is written. Raises UsageError where another writes already."""


@dataclass(frozen=True)
class Folder:
    """A folder; made when something is first put there."""

    path: Path

    @property
    def says(self) -> str:
        return str(self.path)

    def get(self, name: str) -> bytes:
        return (self.path / name).read_bytes()

    def put(self, name: str, content: bytes) -> None:
        to = self.path / name
        to.parent.mkdir(parents=True, exist_ok=True)
        part = to.with_name(f"{to.name}.{os.getpid()}.part")
        part.write_bytes(content)
        part.replace(to)

    def names(self) -> Iterator[str]:
        for path in sorted(self.path.rglob("*")):
            if path.is_file():
                yield path.relative_to(self.path).as_posix()

    def remove(self, name: str) -> None:
        (self.path / name).unlink(missing_ok=True)

    @contextmanager
    def alone(self) -> Iterator[None]:
        """By a lock on the folder itself, which ends with the process, however it ends. It is of this machine alone."""
        self.path.mkdir(parents=True, exist_ok=True)
        if os.name != "posix":  # nothing of the kind is there
            yield
            return
        import fcntl

        held = os.open(self.path, os.O_RDONLY)
        try:
            try:
                fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as error:
                what = "is being written by another process"
                raise UsageError(what, where=str(self.path), mend="Wait until it is done.") from error
            yield
        finally:
            os.close(held)


@dataclass(frozen=True)
class Bucket:
    """Object storage, e.g. s3://bucket/folder; who may use it is said by the environment, as obstore reads it."""

    url: str

    @property
    def says(self) -> str:
        return self.url

    def get(self, name: str) -> bytes:
        return bytes(self._store().get(name).bytes())

    def put(self, name: str, content: bytes) -> None:
        self._store().put(name, content)

    def names(self) -> Iterator[str]:
        found = [one["path"] for page in self._store().list() for one in page]
        yield from sorted(found)

    def remove(self, name: str) -> None:
        try:
            self._store().delete(name)
        except FileNotFoundError:
            return

    def alone(self) -> AbstractContextManager[None]:
        """Nothing in a bucket ends with the process that made it, so two at once are not noticed."""
        return nullcontext()

    def _store(self) -> Any:
        if self.url not in _stores:
            try:
                from obstore.store import from_url
            except ImportError as error:
                mend = "Install it: pip install 'slackwater[cluster]'."
                raise MissingPart("object storage needs obstore", mend=mend) from error
            try:
                _stores[self.url] = from_url(self.url)
            except Exception as error:
                what = f"cannot be used: {error}"
                raise UsageError(what, where=self.url, mend="Check the URL and its keys.") from error
        return _stores[self.url]


_stores: dict[str, Any] = {}  # one a process; a store does not pickle


def shelf(place: str | Path) -> Shelf:
    """A folder's path, or a URL such as s3://bucket/folder. Raises UsageError for what is half of a URL."""
    if re.match(r"[a-z][a-z0-9+.-]+:/(?!/)", str(place)):
        raise UsageError(
            "is neither a folder nor a URL", where=str(place), mend="Write two slashes: s3://bucket/folder."
        )
    return Bucket(str(place)) if "://" in str(place) else Folder(Path(place))
