"""What became of each logged row while logs are joined, and which moments are in doubt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from slackwater.reading.log import Ledger, Log, Times
from slackwater.trace.rows import Places, spans
from slackwater.trace.types import Interval, Step

VERSION = "1"
USED, DUPLICATE, CONFLICTING, UNREAD = 0, 1, 2, 3
TWICE = "the same stretch is stamped twice, with different values"


@dataclass(eq=False)
class Account:
    """The one thing here that is filled step by step; it does not leave the join."""

    fate: NDArray[np.int8]  # of each logged row
    conflicts: list[Interval] = field(default_factory=list)
    clock_steps: list[Interval] = field(default_factory=list)
    blank: list[Interval] = field(default_factory=list)  # spans in which no row can be trusted with its time
    steps: list[Step] = field(default_factory=list)

    def mark(self, rows: Places, fate: int) -> None:
        """Give rows a fate, save those that have one already."""
        self.fate[rows[self.fate[rows] == USED]] = fate

    def step(self, name: str, arguments: str, touched: int) -> None:
        self.steps.append(Step(name, VERSION, arguments, touched))

    def clock(self, intervals: Sequence[Interval]) -> None:
        """Spans whose rows are stamped by a clock that cannot be trusted: they count as missing."""
        self.clock_steps += intervals
        self.conflicts += intervals
        self.blank += intervals

    def disputed(
        self, differ: Mapping[str, NDArray[np.bool_]], start_ms: Times, end_ms: Times, who: str
    ) -> NDArray[np.bool_]:
        """Note the spans in which some channel is disputed; which rows those are."""
        somewhere = np.zeros(len(start_ms), np.bool_)
        for name, where in differ.items():
            channel = name.removesuffix("_ul_per_min").removesuffix("_mcmh2o").replace("_", " ")
            self.conflicts += spans(where, start_ms, end_ms, f"{who} differ in {channel}")
            somewhere |= where
        return somewhere

    def stamped_twice(self, disputed: NDArray[np.bool_], start_ms: Times, end_ms: Times) -> None:
        """Neighbours in dispute look like a clock set back by whole rows; their agreed channels stay."""
        alone = disputed.copy()
        alone[1:] &= ~(disputed[:-1] & (start_ms[1:] == end_ms[:-1]))
        alone[:-1] &= ~(disputed[1:] & (start_ms[1:] == end_ms[:-1]))
        self.clock_steps += spans(disputed & ~alone, start_ms, end_ms, TWICE)

    def ledger(self, logs: Sequence[Log]) -> Ledger:
        """Where every row went, of all logs together; rows not yet known are not counted as read."""
        whole = Ledger(0, 0, 0)
        for log in logs:
            whole = whole.plus(log.ledger)
        used, duplicate, conflicting = (
            int(np.count_nonzero(self.fate == fate)) for fate in (USED, DUPLICATE, CONFLICTING)
        )
        return Ledger(
            read=used + duplicate + conflicting + whole.refused + whole.duplicate + whole.conflicting,
            used=used,
            refused=whole.refused,
            duplicate=whole.duplicate + duplicate,
            conflicting=whole.conflicting + conflicting,
            first_refused=whole.first_refused,
            blank_lines=whole.blank_lines,
        )
