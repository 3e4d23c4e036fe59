"""What a disk may hold after the power fails, told from the log of calls that changed it.

The model: a file's bytes are certain once that file is synced, a name (made, renamed, linked, removed) once a folder it
stands in is synced. What is not certain may be there, may be lacking, or be there in sectors of 512 bytes; the names of
one folder survive in the order they were given. After a failed sync the bytes it should have saved stay uncertain, as a
kernel may forget them. SQLite's -shm is left out: it is shared memory, rebuilt by every first opening.
Its limits: a sync that succeeded is believed, and a sector is never half written.
"""

from __future__ import annotations

import errno
import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Literal

from durability.shim import Event

SECTOR = 512
Image = dict[str, bytes | None]  # every path under a folder, a folder before what it holds; None: a folder
Style = Literal["lacking", "there", "torn"]  # what becomes of all that is not certain


@dataclass(eq=False)
class File:
    certain: bytearray
    waiting: list[tuple[int, bytes | int, bool]] = field(default_factory=list)
    """(where, bytes) or (0, new length), and whether a later sync can still save it."""

    def sync(self, failed: bool) -> None:
        if failed:
            self.waiting = [(offset, change, False) for offset, change, _ in self.waiting]
            return
        for offset, change, savable in self.waiting:
            if savable:
                _change(self.certain, offset, change)
        self.waiting = [w for w in self.waiting if not w[2]]

    def content(self, style: Style, chance: Random) -> bytes:
        found = bytearray(self.certain)
        if style == "lacking":
            return bytes(found)
        for offset, change, savable in self.waiting:
            if style == "there" and savable:
                _change(found, offset, change)
            elif style == "torn":
                for at, piece in _pieces(offset, change, chance.choice((0.0, 0.5, 1.0)), chance):
                    _change(found, at, piece)
        return bytes(found)


def _change(content: bytearray, offset: int, change: bytes | int) -> None:
    if isinstance(change, int):
        del content[change:]
        content.extend(bytes(change - len(content)))
    else:
        content.extend(bytes(max(0, offset - len(content))))
        content[offset : offset + len(change)] = change


def _pieces(offset: int, change: bytes | int, share: float, chance: Random) -> Iterator[tuple[int, bytes | int]]:
    """The sectors of one write that reached the disk; a new length reaches it or not."""
    if isinstance(change, int):
        if chance.random() < share:
            yield offset, change
        return
    start = offset
    while start < offset + len(change):
        end = min((start // SECTOR + 1) * SECTOR, offset + len(change))
        if chance.random() < share:
            yield start, change[start - offset : end - offset]
        start = end


@dataclass(eq=False)
class Folder:
    now: dict[str, Node] = field(default_factory=dict)
    certain: dict[str, Node] = field(default_factory=dict)


Node = File | Folder
Entry = tuple[Folder, str, Node | None]  # this name in this folder now means that; None: nothing


class Disk:
    """One folder, as its log goes by."""

    def __init__(self, folder: Path, start: Image) -> None:
        """`start` is what all know to be on the disk, as read_image gives it."""
        self.place = os.path.realpath(folder)
        self.root = Folder()
        self.waiting: list[list[Entry]] = []  # each a change of names: whole or not at all
        for path, content in start.items():
            within, name = self._where(f"{self.place}/{path}")
            within.now[name] = within.certain[name] = Folder() if content is None else File(bytearray(content))

    def follow(self, event: Event) -> None:
        if event.kind == "note" or event.error == errno.EINTR or passing(event.path):
            return  # an interrupted call has done nothing
        if event.kind == "sync":
            self._sync(self._node(event.path), failed=event.error != 0)
        elif event.error:
            return
        elif event.kind in ("write", "length"):
            file = self._node(event.path)
            assert isinstance(file, File)
            file.waiting.append((event.offset, event.data, True) if event.kind == "write" else (0, event.offset, True))
        else:
            self.waiting.append(self._entries(event))
            for folder, name, node in self.waiting[-1]:
                _enter(folder.now, name, node)

    def _entries(self, event: Event) -> list[Entry]:
        folder, name = self._where(event.path)
        if event.kind in ("create", "mkdir"):
            return [(folder, name, File(bytearray()) if event.kind == "create" else Folder())]
        if event.kind == "unlink":
            return [(folder, name, None)]
        other, other_name = self._where(event.path2)
        new: Entry = (other, other_name, folder.now[name])
        return [new] if event.kind == "link" else [(folder, name, None), new]

    def _where(self, path: str) -> tuple[Folder, str]:
        above, _, name = path.rpartition("/")
        folder = self._node(above)
        assert isinstance(folder, Folder)
        return folder, name

    def _node(self, path: str) -> Node:
        node: Node = self.root
        for name in path[len(self.place) + 1 :].split("/") if path != self.place else ():
            assert isinstance(node, Folder)
            node = node.now[name]
        return node

    def _sync(self, node: Node, failed: bool) -> None:
        if isinstance(node, File):
            node.sync(failed)
        elif not failed:
            kept = [change for change in self.waiting if any(folder is node for folder, _, _ in change)]
            self.waiting = [change for change in self.waiting if change not in kept]
            for folder, name, target in (entry for change in kept for entry in change):
                _enter(folder.certain, name, target)

    def image(self, style: Style, chance: Random) -> Image:
        """What lies under the folder, as the power failing now may leave it."""
        found: dict[Folder, dict[str, Node]] = {}
        for folder, name, node in self._surviving(style, chance):
            _enter(found.setdefault(folder, dict(folder.certain)), name, node)
        image: Image = {}

        def walk(folder: Folder, path: str) -> None:
            for name, node in sorted(found.get(folder, folder.certain).items()):
                image[path + name] = None if isinstance(node, Folder) else node.content(style, chance)
                if isinstance(node, Folder):
                    walk(node, f"{path}{name}/")

        walk(self.root, "")
        return image

    def _surviving(self, style: Style, chance: Random) -> Iterator[Entry]:
        if style == "lacking":
            return
        many = Counter(change[-1][0] for change in self.waiting)
        left = {folder: n if style == "there" else chance.randint(0, n) for folder, n in many.items()}
        for change in self.waiting:
            if left[change[-1][0]] > 0:
                yield from change
            left[change[-1][0]] -= 1


def _enter(names: dict[str, Node], name: str, node: Node | None) -> None:
    if node is None:
        names.pop(name, None)
    else:
        names[name] = node


def passing(path: str) -> bool:
    """Not on the disk in any sense that matters: shared memory, or a file that has lost its last name."""
    return path.endswith(("-shm", " (deleted)"))


def write_image(image: Image, folder: Path) -> None:
    folder.mkdir()
    for name, content in image.items():
        if content is None:
            (folder / name).mkdir()
        else:
            (folder / name).write_bytes(content)


def read_image(folder: Path) -> Image:
    """What the folder holds, to hold against an image with all there."""
    found = sorted(p for p in folder.rglob("*") if not passing(str(p)))
    return {str(p.relative_to(folder)): p.read_bytes() if p.is_file() else None for p in found}
