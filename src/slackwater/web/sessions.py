"""Who was at which screen a moment ago, so that not every request asks the database."""

from __future__ import annotations

import time
from typing import Generic, TypeVar

KEPT_S = 5.0  # so long at most does a person stay in who was put out on another server

Who = TypeVar("Who")


class Sessions(Generic[Who]):
    """Sessions that were let in, each for five seconds; whoever changes a session or a person forgets them all."""

    def __init__(self) -> None:
        self._kept: dict[str, tuple[float, Who]] = {}

    def get(self, token: str) -> Who | None:
        found = self._kept.get(token)
        if found is None or time.monotonic() - found[0] > KEPT_S:
            return None
        return found[1]

    def put(self, token: str, who: Who) -> None:
        if len(self._kept) > 10_000:
            self.forget()
        self._kept[token] = (time.monotonic(), who)

    def forget(self) -> None:
        self._kept = {}
