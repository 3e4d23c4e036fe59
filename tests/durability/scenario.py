"""What a sweep needs to know of a piece of work that must survive."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol


class Ack(Protocol):
    def __call__(self, what: str) -> None:
        """Say that this is done and kept: a line into a pipe, outside whatever keeps it."""


class Attempt(Protocol):
    def __call__(self, step: Callable[[], Any], broken: Callable[[], list[str]] = ...) -> Any:
        """Take a step. Where the disk is made to fail, and the step says so, it is taken again once the disk is whole;
        `broken` looks around in between and gives faults."""


@dataclass(frozen=True)
class Scenario:
    """`prepare` fills a folder; `act` does the work there and acknowledges each part; `check` opens the folder anew and
    gives what is wrong with it, each fault beginning with its kind: lost, doubled, half or broken."""

    name: str
    prepare: Callable[[Path], None]
    act: Callable[[Path, Ack, Attempt], None]
    check: Callable[[Path, list[str]], list[str]]
    errors: tuple[type[Exception], ...]
    """How a failed step may speak up; any other exception is a fault of kind 'raw'."""
