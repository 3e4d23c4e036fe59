"""Fluid as the picture shows it: what this drain gave so far, from entry to entry."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from slackwater.assessment.assessment import Assessment
from slackwater.episode.fluid.charted import fluid_intervals
from slackwater.episode.fluid.counter import fluid_from_counter
from slackwater.episode.fluid.record import FluidRecord
from slackwater.episode.space import drains_known, this_drain
from slackwater.quantities.spans import MINUTE_MS


@dataclass(frozen=True)
class Step:
    """From this moment on so much is told; None: not known. `at_least`: something before it is not known."""

    at_ms: int
    ml: float | None
    at_least: bool


def fluid_record(found: Assessment) -> FluidRecord:
    """Of this drain: charted amounts, else levels of the canister, else the unit's own counter."""
    known = drains_known(found.episode, found.chart)
    own = this_drain(found.episode, found.chart)
    record = fluid_intervals(found.chart, own, found.episode.connected_at, known)
    leak = found.leak_trace
    if record.source != "none" or leak is None or not np.isfinite(leak.minutes.fluid_ml).any():
        return record
    ends = leak.minutes.start_ms + MINUTE_MS * np.arange(1, len(leak.minutes) + 1, dtype=np.int64)
    return fluid_from_counter(ends, leak.minutes.fluid_ml, MINUTE_MS)


def fluid_steps(record: FluidRecord) -> list[Step]:
    """Every change of the total: an amount counts from the moment it is told for, and none is told after the last."""
    steps = list(_cumulated(record))
    return [
        step
        for before, step in pairwise([None, *steps])
        if step is not None and (before is None or (before.ml, before.at_least) != (step.ml, step.at_least))
    ]


def _cumulated(record: FluidRecord) -> Iterator[Step]:
    total, at_least = 0.0, False
    reached: int | None = None
    for one in record.intervals:
        begins = one.start_ms
        if reached is not None and begins != reached:
            at_least = True
            yield Step(reached, None, True)
        if begins is not None and begins != reached:
            yield Step(begins, total, at_least)
        if one.status != "known":
            at_least = True
            yield Step(begins if begins is not None else one.end_ms, None, True)
        total = round(total + one.low_ml, 1)
        yield Step(one.end_ms, total, at_least)
        reached = one.end_ms
    if reached is not None:
        yield Step(reached, None, at_least)
