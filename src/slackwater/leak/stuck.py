"""A channel that stands still, or plays back what it held: by the log's own habit, too long for chance.

Pressure must move with breathing, and a flow above zero with it. A flow of exactly zero is not stuck by itself:
that is how a healed lung reads. A calm sleeper on a well regulated pump and a coarse gauge prints one pressure for
many minutes; how often values repeat is therefore asked of the log itself.

The thresholds are ours, argued in docs/definitions.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.breathing import Breathing
from slackwater.leak.stretches import Flags, laid, long_enough
from slackwater.quantities.spans import MINUTE_MS
from slackwater.reading.log import NONE
from slackwater.trace.types import Interval, Minutes, Trace

STUCK_PRESSURE_MIN = 5
STUCK_READINGS = 30
LONGEST_USUAL = 100_000  # readings; a run longer than this is counted as so long
STUCK_FLOW_MIN = 30
UNMOVED_MIN = 60  # of one flow beside a breathing pressure
WINDOW = 60  # readings that chance does not repeat
LARGE_FLOW_ML_PER_MIN = 1_000.0  # from here a log's largest flow may be the most its unit can show
LIVELY_STEPS = 8  # of the display: a flow so large must be seen to breathe, a smaller one may lie within one cell
CHANCE_STUCK = 1e-9  # a run of one value less likely than this, by how often values repeat here, is stuck
CHANCE_AGAIN = 1e-4  # the same, in a log in which flow and pressure have stood still together before
OUTLASTS = 2.5  # times the next longest run in which neither flow nor pressure moves


def sensor_stuck(trace: Trace, minutes: Minutes, breath: Breathing) -> Flags:
    """One printed value for so long that, by how often values repeat in this log, chance cannot explain it, in one
    channel or in flow and pressure together; or an hour of one flow while the pressure beside it breathes.

    A gap never ends a stuck run.
    """
    n = len(minutes)
    least, below = _must_move(trace)
    live = (trace.flow_ul_per_min >= least) & (trace.flow_ul_per_min < below)
    found = _too_long(_runs(trace.flow_ul_per_min, live), trace, STUCK_FLOW_MIN)
    if trace.pressure_mcmh2o is not None:
        pressure = _runs(trace.pressure_mcmh2o, None)
        if trace.every_ms > 10_000:  # in a faster log the pressure alone tells
            both = _both(trace.flow_ul_per_min, trace.pressure_mcmh2o, live)
            frozen = _too_long(both, trace, STUCK_PRESSURE_MIN) + _standing_out(both, trace)
            if frozen:  # a unit that has frozen once may again, also where there is no flow to see it by
                any_flow = _both(trace.flow_ul_per_min, trace.pressure_mcmh2o, None)
                found += frozen + _too_long(any_flow, trace, STUCK_PRESSURE_MIN, CHANCE_AGAIN)
        found += _too_long(pressure, trace, STUCK_PRESSURE_MIN)
    out = laid(found, minutes.start_ms, n)
    out |= long_enough(laid(replayed(trace), minutes.start_ms, n), STUCK_PRESSURE_MIN)
    with np.errstate(invalid="ignore"):
        one_value = (minutes.flow_min == minutes.flow_max) & (breath.swing >= 1.0)
        one_value &= (minutes.flow * 1000 >= least) & (minutes.flow * 1000 < below)
    one_value[1:] &= minutes.flow[1:] == minutes.flow[:-1]
    return out | long_enough(one_value, UNMOVED_MIN)


@dataclass(frozen=True, eq=False)
class _Runs:
    """Runs of one value among the readings that have one (`rows`; None: all): where each begins, and its length.

    `must`: the runs whose value must move (None: all). `nats`: how surprising each further reading of the same value
    is in those; 0 where the log is too short to say.
    """

    rows: NDArray[np.int64] | None
    first: NDArray[np.int64]
    length: NDArray[np.int64]
    must: NDArray[np.bool_] | None
    nats: float


def _must_move(trace: Trace) -> tuple[int, float]:
    """Flows that must move, µL/min: from the least, of several steps, to under the most that the unit can print."""
    step = max((log.flow_step_ul_per_min for log in trace.logs), default=0)
    declared = [log.flow_ceiling_ul_per_min for log in trace.logs if log.flow_ceiling_ul_per_min != NONE]
    top = max(declared, default=int(trace.flow_ul_per_min.max(initial=0)))
    return max(LIVELY_STEPS * step, 1), top if declared or top >= 1000 * LARGE_FLOW_ML_PER_MIN else np.inf


def _runs(values: NDArray[np.int32], live: Flags | None) -> _Runs:
    """Runs in one channel; only those that begin with a `live` value, if told, must end."""
    known = values != NONE
    rows = None if known.all() else np.flatnonzero(known)
    told = values if rows is None else values[rows]
    if not len(told):
        return _Runs(None, np.zeros(0, np.int64), np.zeros(0, np.int64), None, 0.0)
    return _of(rows, told[1:] != told[:-1], live if live is None or rows is None else live[rows], 2.0)


def _both(flow: NDArray[np.int32], pressure: NDArray[np.int32], live: Flags | None) -> _Runs:
    """Runs in which neither flow nor pressure moves; only those with a `live` flow, if told, must end."""
    rows = np.flatnonzero((flow != NONE) & (pressure != NONE))
    if not len(rows):
        return _Runs(None, np.zeros(0, np.int64), np.zeros(0, np.int64), None, 0.0)
    flow, pressure = flow[rows], pressure[rows]
    moved = (flow[1:] != flow[:-1]) | (pressure[1:] != pressure[:-1])
    return _of(rows, moved, None if live is None else live[rows], 3.0)


def _of(rows: NDArray[np.int64] | None, moved: NDArray[np.bool_], live: NDArray[np.bool_] | None, tail: float) -> _Runs:
    """Runs between the readings at which something `moved`. `tail`: the runs' 98th percentile is so many times the
    length that is thought usual: 4 where every reading has the same chance, less where calm and lively hours mix.

    By the run that a typical reading stands in: long runs, the suspects, must not vouch for themselves.
    """
    first = np.concatenate(([0], np.flatnonzero(moved) + 1))
    length = np.diff(first, append=len(moved) + 1)
    must = None if live is None else live[first]
    usual = length if must is None else length[must]
    if len(usual) < 20:
        return _Runs(rows, first, length, must, 0.0)
    reached = np.cumsum(np.bincount(np.minimum(usual, LONGEST_USUAL)))  # a count, as sorting them all takes longer
    middle, spread = (float(np.searchsorted(reached, share * len(usual))) for share in (0.5, 0.98))
    return _Runs(rows, first, length, must, float(-np.log(1 - 1 / max(middle, spread / tail, 1.05))))


def _too_long(runs: _Runs, trace: Trace, minutes: int, chance: float = CHANCE_STUCK) -> list[Interval]:
    """The runs that are too long for chance, and last `minutes`."""
    if runs.nats == 0:
        return []
    long = np.flatnonzero(runs.length >= max(STUCK_READINGS, -np.log(chance) / runs.nats))
    return _lasting(runs, long if runs.must is None else long[runs.must[long]], trace, minutes)


def _standing_out(runs: _Runs, trace: Trace) -> list[Interval]:
    """The longest of the runs that must move, if it lasts an hour and no other comes near it."""
    live = np.flatnonzero(runs.must) if runs.must is not None else np.arange(len(runs.length))
    live = live[np.argsort(runs.length[live], kind="stable")]
    if len(live) < 20 or runs.length[live[-1]] < OUTLASTS * runs.length[live[-2]]:
        return []
    return _lasting(runs, live[-1:], trace, UNMOVED_MIN)


def _lasting(runs: _Runs, which: NDArray[np.int64], trace: Trace, minutes: int) -> list[Interval]:
    first, last = runs.first[which], runs.first[which] + runs.length[which] - 1
    if runs.rows is not None:
        first, last = runs.rows[first], runs.rows[last]
    spans = zip(trace.start_ms[first].tolist(), trace.end_ms[last].tolist(), strict=True)
    return [Interval(begin, end) for begin, end in spans if end - begin >= minutes * MINUTE_MS]


def replayed(trace: Trace) -> list[Interval]:
    """The same lively stretch of pressure twice, reading for reading: a store that plays back what it held.

    Windows are looked at where the values themselves say so, whatever the distance between the copies.
    """
    values = trace.pressure_mcmh2o
    if values is None or trace.every_ms > 10_000 or len(values) < 4 * WINDOW:
        return []
    anchors = np.flatnonzero((values[:-WINDOW] * np.int32(40503) >> 4) & 63 == 0)
    if len(anchors) < 2:
        return []
    windows = np.lib.stride_tricks.sliding_window_view(values, WINDOW)[anchors]
    lively = (np.diff(windows, axis=1) != 0).sum(axis=1) >= WINDOW // 2
    anchors, windows = anchors[lively], windows[lively]
    weights = np.arange(1, WINDOW + 1, dtype=np.int64) * np.int64(6364136223846793005)
    marks = (windows.astype(np.int64) * weights * (windows + weights)).sum(axis=1)  # wraps round on purpose
    order = np.argsort(marks, kind="stable")
    again = order[1:][marks[order][1:] == marks[order][:-1]]  # every copy but the first
    return [
        Interval(int(trace.start_ms[anchors[k]]), int(trace.end_ms[anchors[k] + WINDOW - 1]), "replayed")
        for k in np.sort(again)
    ]
