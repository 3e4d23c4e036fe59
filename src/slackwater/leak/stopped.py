"""A leak that stops at a stroke: a lung that seals takes minutes about it, a tube or a sensor does not.

What the flow does next tells more. Where it comes back within a day, at a stroke and as it was, air was leaking all
the time between, also if it had faded (a clot, then flushed). Where it stays away, nobody can say until the tube is
shown open and the sensor alive. A leak that has come and gone several times is known to do so, and is left alone.

The thresholds are ours, argued in docs/definitions.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.breathing import Breathing
from slackwater.leak.handling import Handling
from slackwater.leak.stretches import Flags, running_median
from slackwater.quantities.spans import MINUTE_MS
from slackwater.trace.types import Minutes, Trace

STOP_ML_PER_MIN, STOP_STEPS = 30.0, 3  # a flow from which a stop within minutes is remarkable
STEADY = 0.5  # of the flow three hours before: it was not on its way down
GONE = 0.1  # of the flow before: a leak that has stopped leaves no more
AT_ONCE = 0.6  # of the flow, in the very minute before the stop or after the return
WANDERS = 0.15  # of its own size within three hours: a lung's leak does, a joint's does not
AS_IT_WAS = 2.0  # times more or less than before: the same leak
LONGEST_HELD_MIN = 1440  # a day: by then somebody has looked at tube and unit
COMES_AND_GOES = 3  # returns at a stroke: this leak is known to


@dataclass(frozen=True, eq=False)
class _Flow:
    """The minutes that can be told, `at` their places, and the median of the quarter of an hour before each."""

    at: NDArray[np.int64]
    flow: NDArray[np.float64]
    before: NDArray[np.float64]
    step: float  # mL/min that the display tells apart

    def gone(self, level: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """The most that may be left of `level`, mL/min."""
        return np.fmax(self.step / 2, GONE * np.asarray(level))

    def middle(self, first: int, end: int) -> float:
        """Median of those minutes."""
        return float(np.median(self.flow[max(first, 0) : end]))

    @property
    def remarkable(self) -> float:
        return max(STOP_ML_PER_MIN, STOP_STEPS * self.step)


def stopped(
    trace: Trace, minutes: Minutes, breath: Breathing, handled: Handling, moved: Flags, explained: Flags
) -> tuple[Flags, Flags]:
    """Minutes in which the way may be shut, and minutes in which the flow sensor may be dead.

    `moved`: near a change of suction, when a leak may change too. `explained`: another doubt covers the flow.
    """
    n = len(minutes)
    shut, dead = np.zeros(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
    at = np.flatnonzero((minutes.covered > 0.5) & ~explained)  # a gap does not hide the stop
    if len(at) < 60:
        return shut, dead
    flow = minutes.flow[at]
    step = max((log.flow_step_ul_per_min for log in trace.logs), default=0) / 1000
    seen = _Flow(at, flow, np.concatenate(([np.nan], running_median(flow, 15)[:-1])), step)
    returns = _returns(seen)
    if len(returns) >= COMES_AND_GOES:
        return shut, dead
    shown = _shown_open(minutes, breath, handled)
    for first, back in [*_held(seen, returns), *((k, len(at)) for k in _stops(seen, minutes, moved))]:
        begin, end = int(at[first]), int(at[back]) if back < len(at) else n
        level = float(seen.before[first])
        nothing = first + int(np.argmax(flow[first:back] <= seen.gone(level)))
        opened = np.flatnonzero(shown[at[nothing] : end])
        until = int(at[nothing]) + int(opened[0]) if len(opened) else end
        if until > at[nothing]:
            shut[begin:until] = True
        if nothing - first <= 1:  # at a stroke, as no tube that clots does it
            dead[until : _alive(minutes, breath, begin, end, step, level)] = True
    return shut, dead


def _shown_open(minutes: Minutes, breath: Breathing, handled: Handling) -> Flags:
    """The swing for two minutes on end, or somebody looked. (Air shows nothing where there is none.)"""
    shown = breath.by_swing & np.concatenate((breath.by_swing[1:], [False]))
    for moment in handled.shown_open_ms:
        minute = (moment - minutes.start_ms) // MINUTE_MS
        if 0 <= minute < len(shown):
            shown[minute] = True
    return shown


def _stops(seen: _Flow, minutes: Minutes, moved: Flags) -> list[int]:
    """Where a steady leak is gone from one minute to the next and does not come back."""
    flow, before, n = seen.flow, seen.before, len(seen.flow)
    last, following = _beside(flow)
    with np.errstate(invalid="ignore"):
        at_once = (before >= seen.remarkable) & (last >= AT_ONCE * before) & (following <= seen.gone(before))
    found, k = [], 0
    for onset in np.flatnonzero(at_once & ~moved[seen.at]).tolist():
        level = float(before[onset])
        falling = onset >= 181 + 15 and level < STEADY * seen.middle(onset - 181 - 30, onset - 180)
        if onset < k or n - onset < 8 or falling or seen.middle(onset, onset + 15) > seen.gone(level):
            continue
        if not _lively(seen, minutes, onset):
            continue
        back = np.flatnonzero(running_median(flow[onset:], 5) >= 0.5 * level)
        k = onset + int(back[0]) if len(back) else n
        if not len(back):
            found.append(onset)
    return found


def _lively(seen: _Flow, minutes: Minutes, onset: int) -> bool:
    """A leak that breathes shows it for most of half an hour; one that wanders, in a slow log, within three hours."""
    lately = slice(max(onset - 30, 0), onset)
    at = seen.at[lately]
    differs = minutes.flow_max[at] - minutes.flow_min[at] > 1.5 * seen.step
    differs[1:] |= np.diff(seen.flow[lately]) != 0
    if differs.sum() >= 20:
        return True
    hours = seen.flow[max(onset - 180, 0) : onset]
    low, high = np.percentile(hours, (10, 90))
    return len(hours) >= 60 and bool(high - low >= max(2 * seen.step, WANDERS * high))


def _returns(seen: _Flow) -> list[int]:
    """Where a leak comes back from nothing, from one minute to the next."""
    last, following = _beside(seen.flow)
    found: list[int] = []
    most = seen.gone(following / AT_ONCE)  # of what follows, as it may fall off from there
    with np.errstate(invalid="ignore"):
        back = (following >= AT_ONCE * seen.remarkable) & (last <= most) & (seen.before <= most)
    for k in np.flatnonzero(back).tolist():
        after = seen.middle(k, k + 15)
        there = after >= seen.remarkable and following[k] >= AT_ONCE * after
        if there and max(last[k], seen.before[k]) <= seen.gone(after) and (not found or k - found[-1] > 15):
            found.append(k)
    return found


def _held(seen: _Flow, returns: list[int]) -> list[tuple[int, int]]:
    """Stretches that end with a return to the level that they had left: from where the flow fell to half of it."""
    found = []
    for back in returns:
        level = seen.middle(back + 1, back + 31)
        gone = _last_two(seen.flow[:back] > seen.gone(level))
        ago = [float(seen.before[k]) for k in (gone, gone - 120) if k > 15]
        same = [was for was in ago if level / AS_IT_WAS <= was <= level * AS_IT_WAS]
        if level < seen.remarkable or not same or back - gone < 5:
            continue
        first = _last_two(seen.flow[:back] >= 0.5 * min(level, *same))
        if seen.at[back] - seen.at[first] <= LONGEST_HELD_MIN:
            found.append((first, back))
    return found


def _beside(flow: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The minute before each and the one after it; NaN where there is none."""
    return np.concatenate(([np.nan], flow[:-1])), np.concatenate((flow[1:], [np.nan]))


def _last_two(flags: Flags) -> int:
    """The place after the last two flags on end; 0 if there are none."""
    twice = np.flatnonzero(flags[1:] & flags[:-1])
    return int(twice[-1]) + 2 if len(twice) else 0


def _alive(minutes: Minutes, breath: Breathing, onset: int, end: int, step: float, before: float) -> int:
    """First minute by which small readings in three different minutes have shown that the sensor lives at zero.

    Where most of them answer breathing they are air: the zero may have moved.
    """
    since = slice(onset, end)
    with np.errstate(invalid="ignore"):
        wobble = (minutes.flow_max[since] >= max(step, 0.1)) & (minutes.flow[since] <= 0.05 * before)
    air = np.cumsum(wobble & breath.by_air[since])
    wobble[:15] = False
    idle = np.cumsum(wobble & ~breath.by_air[since])
    seen = np.flatnonzero((idle >= 3) & (idle > air))
    return onset + int(seen[0]) + 1 if len(seen) else end
