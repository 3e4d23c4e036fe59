"""Progress of long work: one line on stderr, only where a person watches."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator
from types import TracebackType
from typing import Self, TypeVar

import click

T = TypeVar("T")


class Progress:
    """`recording 12 of 1000 drains, about 3 min left`; nothing where stderr is no terminal."""

    def __init__(self, doing: str, total: int, of_what: str) -> None:
        self._doing, self._total, self._of = doing, total, of_what
        self._began = self._shown = time.monotonic()
        self._width = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._width:
            click.echo("", err=True)

    def over(self, items: Iterable[T]) -> Iterator[T]:
        """The items, said one by one."""
        for done, item in enumerate(items, start=1):
            yield item
            self.at(done)

    def at(self, done: int, total: int | None = None) -> None:
        """Say how far it is; at most five times a second."""
        self._total = self._total if total is None else total
        now = time.monotonic()
        if not sys.stderr.isatty() or (now - self._shown < 0.2 and done < self._total):
            return
        self._shown = now
        left = (now - self._began) / done * (self._total - done) if done else 0.0
        line = f"{self._doing} {done} of {self._total} {self._of}" + (f", {_span(left)} left" if left > 2 else "")
        click.echo("\r" + line.ljust(self._width), nl=False, err=True)
        self._width = max(self._width, len(line))


def _span(seconds: float) -> str:
    return f"about {seconds / 60:.0f} min" if seconds > 90 else f"about {seconds:.0f} s"
