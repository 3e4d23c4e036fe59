"""The fluid that a rule may ask about: what drained from the drains of a scope, and totals of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from slackwater.episode.fluid.charted import fluid_intervals
from slackwater.episode.fluid.counter import fluid_from_counter
from slackwater.episode.fluid.record import FluidRecord
from slackwater.episode.fluid.totals import total, totals_at
from slackwater.episode.space import drains_known, drains_of_space, this_drain
from slackwater.episode.types import Chart, Episode
from slackwater.protocol.facts import Amounts, Times
from slackwater.quantities.spans import MINUTE_MS
from slackwater.reading.log import NONE
from slackwater.trace.types import Trace


def fluid_records(episode: Episode, chart: Chart, trace: Trace | None, scope: str) -> tuple[FluidRecord, ...]:
    """One record a drain of this scope: charted amounts, else the unit's own counter. None of them where one drain
    was never charted: the sum has no meaning."""
    known = drains_known(episode, chart)
    own = this_drain(episode, chart)
    drains: tuple[str | None, ...]
    if scope == "drain":
        drains = (own,)
    elif scope == "space":
        drains = drains_of_space(episode, chart)
    else:
        drains = known if own in known else (own, *known)
    records = []
    for drain in dict.fromkeys(drains):
        record = fluid_intervals(chart, drain, episode.connected_at if drain == own else None, known)
        if record.source == "none" and drain == own and trace is not None:
            record = _counted(trace) or record
        if record.source == "none":
            return ()
        records.append(record)
    return tuple(records)


def amounts_of(records: Sequence[FluidRecord]) -> Amounts:
    """Bounded totals over these drains together."""

    def totals(ends_ms: Times, window_ms: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        bounds = [totals_at(record, ends_ms, window_ms) for record in records]
        return np.sum([b[0] for b in bounds], axis=0), np.sum([b[1] for b in bounds], axis=0)

    def lines(start_ms: int, end_ms: int) -> tuple[int, ...]:
        return tuple(line for record in records for line in total(record, start_ms, end_ms).lines)

    # a window may end with an entry only where every drain has been charted up to it
    ends = np.unique(np.concatenate([record.end_ms for record in records]))
    if len(records) > 1:
        ends = ends[np.all([np.isin(ends, record.end_ms) for record in records], axis=0)]
    return Amounts(totals, ends, lines, any(record.source == "counter" for record in records))


def _counted(trace: Trace) -> FluidRecord | None:
    """The unit's own counter, one value a minute at most: no rule asks more finely."""
    if trace.fluid_ml is None:
        return None
    rows = np.flatnonzero(trace.fluid_ml != NONE)
    if len(rows) < 2:
        return None
    minute = trace.end_ms // MINUTE_MS
    last = np.flatnonzero(np.diff(minute, append=minute[-1] + 1))  # last row of each minute
    values = trace.fluid_ml[last].astype(np.float64)
    values[trace.fluid_ml[last] == NONE] = np.nan
    return fluid_from_counter(trace.end_ms[last], values, max(trace.every_ms, MINUTE_MS))
