"""A law tried on a few examples in the quick run, on more in the slow one, and on many, drawn anew, in the deep one."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis.strategies import SearchStrategy

_CHECKS = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example]
QUICK = settings(max_examples=8, deadline=None, derandomize=True, suppress_health_check=_CHECKS)
DEEP = os.environ.get("SLACKWATER_DEEP") == "1"  # `make test-deep`
MANY = settings(max_examples=150 if DEEP else 16, deadline=None, derandomize=not DEEP, suppress_health_check=_CHECKS)

Law = Callable[..., None]


class Laws:
    """The laws of one file: each decorated one runs by itself, and again in `many`."""

    def __init__(self) -> None:
        self.found: list[tuple[Law, tuple[SearchStrategy[Any], ...]]] = []

    def law(self, *drawn: SearchStrategy[Any]) -> Callable[[Law], Law]:
        def register(body: Law) -> Law:
            self.found.append((body, drawn))
            quick: Law = QUICK(given(*drawn)(body))
            return quick

        return register

    @property
    def names(self) -> list[str]:
        return [body.__name__ for body, _ in self.found]

    def many(self, name: str) -> None:
        body, drawn = next(pair for pair in self.found if pair[0].__name__ == name)
        MANY(given(*drawn)(body))()
