"""How long a unit runs on its battery, from its own past discharges and not from what was printed when it was new.

A discharge is a stretch off the mains in which the unit worked; its slope is percent lost a minute. A gauge moves in
cells, of one percent or of many, so a slope is never known better than its two end cells allow, however it rounds.
Pneumatic power is small beside what electronics, pump and an ageing cell take (1 L/min at 2 kPa is 0.033 W), so load is
fitted and not assumed, and left out where it cannot be seen.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from slackwater.equipment.slopes import Floats, Line, students_quantile, theil_sen
from slackwater.quantities.spans import DAY_MS, MINUTE_MS

MONTH_MS = 30.4375 * DAY_MS

# All ours. A stretch counts from so many minutes and cells on; a longer gap between rows ends it.
SHORTEST_MIN, FEWEST_CELLS, GAP_MIN = 15.0, 4, 5.0
EMPTY_PERCENT, FULL_PERCENT, TRICKLE_PERCENT = 1, 100, 95  # where a gauge sticks, and where charging slows down
FEWEST, FEWEST_FOR_LOAD, FEWEST_FOR_FADE, FADE_MONTHS = 4, 8, 8, 2.0
LATEST, LATEST_MONTHS = 20, 6.0  # of these the run-time now is told
NEWEST_DAYS = 90.0  # older than that the newest may not be
MOST_LOAD, LIGHT_LOAD = 1.5, 2000.0  # so far beyond the largest load seen nothing is told; a light one is never far
MOST_TOGETHER, ROUNDS = 0.7, 5  # load and months that go together more closely are not told apart; of fitting the two
LEVEL = 0.90


@dataclass(frozen=True)
class Spell:
    """A stretch off the mains, or on it (`charging`): percent lost, or won, a minute.

    per_min lies within [low, high], which is all that the gauge's cells leave open. flow (mL/min) and suction
    (cmH2O, a positive number) are means; NaN: not recorded.
    """

    start_ms: int
    end_ms: int
    first_percent: int
    last_percent: int
    per_min: float
    low: float
    high: float
    flow: float = math.nan
    suction: float = math.nan
    charging: bool = False
    cell: float = 1.0  # percent, the smallest step of the gauge in the log that shows it

    @property
    def load(self) -> float:
        """Pneumatic power, mL/min times cmH2O."""
        return self.flow * self.suction


@dataclass(frozen=True)
class Span:
    """A number with a 90 % interval."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True)
class RunTime:
    """What a unit loses a minute now (percent), for a discharge like its past ones; made of so many of them.

    lowest: percent, as far down as it was ever seen; a battery may fall off sharply below. cell: the gauge's, percent.
    """

    per_min: Span
    count: int
    load: Line | None  # percent a minute against load; None: not seen, so left out
    fade: Line | None  # minutes from full, against months; None: too few, or over too short a time
    lowest: int = 0
    cell: float = 1.0
    fade_hidden: bool = False  # load changed with the months: the one is not told from the other

    def minutes_from(self, percent: float) -> Span:
        """Minutes until the gauge shows `lowest`, from a charge that shows as `percent`."""
        down = max(percent - self.lowest, 0.0)
        return Span(max(down - self.cell, 0.0) / self.per_min.high, down / self.per_min.mid,
                    min(down + self.cell, 100.0) / self.per_min.low)  # fmt: skip

    def at_most_min(self, percent: float) -> float:
        """Minutes that it cannot last longer than, were it as slow all the way down to empty."""
        return min(percent + self.cell, 100.0) / self.per_min.low

    @property
    def usual_full(self) -> Span:
        """Minutes from full to empty, were it to go on below `lowest` as above: to compare, never to rely on."""
        return Span(100.0 / self.per_min.high, 100.0 / self.per_min.mid, 100.0 / self.per_min.low)


# --- from a log's rows ----------------------------------------------------------------------------


def spells(
    time_ms: NDArray[np.int64], percent: Floats, on_mains: Floats | None, flow: Floats, pressure: Floats,
    worked: NDArray[np.bool_] | None = None,
) -> tuple[Spell, ...]:  # fmt: skip
    """The discharges and charges that rows show. One element a row, in order of time; NaN: no value.

    on_mains: 1, 0, NaN; None where the unit does not log it: then a stretch without any rise, from its first fall to
    its last, is a discharge, and nothing is told of charging. What comes before the gauge leaves 100 and after it
    shows 1 does not count, nor does charging above 95. worked: rows in which it did its work (None: all); any other
    ends a stretch, for standby takes next to nothing.
    """
    worked = np.ones(len(percent), bool) if worked is None else worked
    known = worked & np.isfinite(percent)
    known &= np.ones(len(percent), bool) if on_mains is None else np.isfinite(on_mains)
    at = np.flatnonzero(known)
    if len(at) < 2:
        return ()
    cuts = np.diff(time_ms[at]) > GAP_MIN * MINUTE_MS
    cuts |= np.diff(np.cumsum(~worked)[at]) > 0
    cuts |= np.diff(percent[at]) > 0 if on_mains is None else np.diff(on_mains[at]) != 0
    steps = np.abs(np.diff(percent[np.isfinite(percent)].astype(np.float64)))
    cell = float(steps[steps > 0].min(initial=np.inf))  # the finest it was seen to tell apart
    found = []
    for rows in np.split(at, np.flatnonzero(cuts) + 1):
        charging = on_mains is not None and bool(on_mains[rows[0]] == 1)
        rows = _telling(rows, percent, charging, bare=on_mains is None)
        one = _spell(rows, time_ms, percent, flow, pressure, charging, cell)
        if one is not None:
            found.append(one)
    return tuple(found)


def _telling(rows: NDArray[np.int64], percent: Floats, charging: bool, bare: bool) -> NDArray[np.int64]:
    """The rows of a stretch in which the gauge tells something."""
    level = percent[rows]
    if charging:
        return rows[(level > EMPTY_PERCENT) & (level <= TRICKLE_PERCENT)]
    rows = rows[(level < FULL_PERCENT) & (level > EMPTY_PERCENT)]
    if bare and len(rows):
        falls = np.flatnonzero(np.diff(percent[rows]) < 0)
        return rows[falls[0] + 1 : falls[-1] + 2] if len(falls) else rows[:0]
    return rows


def _spell(
    rows: NDArray[np.int64], time_ms: NDArray[np.int64], percent: Floats, flow: Floats, pressure: Floats,
    charging: bool, cell: float,
) -> Spell | None:  # fmt: skip
    if len(rows) < 2:
        return None
    minutes = (time_ms[rows] - time_ms[rows[0]]) / MINUTE_MS
    level = percent[rows]
    lost = float(level[-1] - level[0]) * (1.0 if charging else -1.0)
    lasted = float(minutes[-1])
    if lasted < SHORTEST_MIN or lost < FEWEST_CELLS * cell:
        return None
    line = theil_sen(minutes, level)
    assert line is not None
    low, high = (lost - cell) / lasted, (lost + cell) / lasted
    return Spell(
        int(time_ms[rows[0]]), int(time_ms[rows[-1]]), int(level[0]), int(level[-1]),
        float(np.clip(abs(line.slope), low, high)), low, high, _mean(flow[rows]), _mean(-pressure[rows]), charging,
        cell,
    )  # fmt: skip


def _mean(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else math.nan


def apart(found: Iterable[Spell]) -> tuple[Spell, ...]:
    """In order of time, each stretch once: logs that overlap tell it twice, and the longer telling is kept."""
    kept: list[Spell] = []
    for one in sorted(found, key=lambda one: (one.start_ms, -one.end_ms)):
        before = kept[-1] if kept else None
        if before is not None and one.start_ms < before.end_ms:
            if one.end_ms - one.start_ms > before.end_ms - before.start_ms:
                kept[-1] = one
            continue
        kept.append(one)
    return tuple(kept)


# --- what a unit's past says of now ---------------------------------------------------------------


def why_no_run_time(found: Sequence[Spell], now_ms: int, load: float = math.nan) -> str | None:
    """Why nobody can tell how long this unit runs, at this load (NaN: as usual); None where it can be told."""
    some = _latest(found, now_ms)
    count = len(some)
    if count < FEWEST:
        seen = f"{count or 'no'} discharge{'' if count == 1 else 's'}"
        return f"{seen} of this unit recorded in {LATEST_MONTHS:g} months, {FEWEST} are needed"
    if now_ms - some[-1].end_ms > NEWEST_DAYS * DAY_MS:
        return f"its newest discharge is older than {NEWEST_DAYS:g} days"
    loads = [one.load for one in some if math.isfinite(one.load)]
    if loads and load > max(MOST_LOAD * max(loads), LIGHT_LOAD):
        return "leak and suction now are far beyond those of its discharges"
    return None


def run_time(found: Sequence[Spell], now_ms: int, load: float = math.nan) -> RunTime:
    """Percent lost a minute now, at this load (NaN: as it usually is). The caller has asked `why_no_run_time`.

    The interval is for the next discharge as a whole: Student's, of the logs of the slopes, never narrower than the
    gauge's cells leave them. Slopes are moved to the load asked for, and to now, where load or fade are seen at all.
    """
    some = _latest(found, now_ms)
    slopes = np.array([one.per_min for one in some])
    effect, moved_by = _load_effect(some), 0.0
    if effect is not None and math.isfinite(load):
        loads = np.array([one.load for one in some])
        slopes = np.maximum(slopes + effect.slope * (load - loads), slopes / 3.0)
        moved_by = abs(load - float(np.median(loads))) * (effect.high - effect.low) / 2.0
    falls = [one for one in found if not one.charging and one.end_ms <= now_ms]
    aged = fade(falls, now_ms)
    if aged is not None and aged.high < 0.0:
        months = np.array([(one.end_ms - now_ms) / MONTH_MS for one in some])
        slopes = 100.0 / np.maximum(100.0 / slopes - aged.slope * months, 100.0 / slopes / 3.0)
    logs = np.log(slopes)
    cells = np.array([(one.high - one.low) / 2.0 / one.per_min for one in some])
    centre, n = float(logs.mean()), len(logs)
    spread = max(float(logs.std(ddof=1)), math.sqrt(float((cells**2).mean()) / 3.0))
    reach = students_quantile(0.5 + LEVEL / 2.0, n - 1) * spread * math.sqrt(1.0 + 1.0 / n)
    reach = math.hypot(reach, moved_by / math.exp(centre))
    return RunTime(Span(math.exp(centre - reach), math.exp(centre), math.exp(centre + reach)), n, effect, aged,
                   min(one.last_percent for one in found if not one.charging and one.end_ms <= now_ms),
                   max(one.cell for one in some), aged is None and load_beside_age(falls, now_ms) is None)  # fmt: skip


def _latest(found: Sequence[Spell], now_ms: int) -> list[Spell]:
    falls = [one for one in found if not one.charging and now_ms - LATEST_MONTHS * MONTH_MS <= one.end_ms <= now_ms]
    return falls[-LATEST:]


def _load_effect(some: Sequence[Spell]) -> Line | None:
    """Percent a minute against load, where enough discharges show that more load takes more charge."""
    loads = np.array([one.load for one in some])
    if len(some) < FEWEST_FOR_LOAD or not np.isfinite(loads).all():
        return None
    line = theil_sen(loads, np.array([one.per_min for one in some]), LEVEL)
    return line if line is not None and line.low > 0.0 else None


def fade(falls: Sequence[Spell], now_ms: int) -> Line | None:
    """Minutes that a full battery lasts, against months from now (the past is negative); None: cannot tell."""
    falls = [one for one in falls if one.end_ms <= now_ms]
    months = np.array([(one.end_ms - now_ms) / MONTH_MS for one in falls])
    if len(falls) < FEWEST_FOR_FADE or months[-1] - months[0] < FADE_MONTHS:
        return None
    effects = load_beside_age(falls, now_ms)
    if effects is None:
        return None
    per_min, loads = np.array([one.per_min for one in falls]), np.array([one.load for one in falls])
    lines = []
    for effect in effects:  # a heavier load is no older battery: all at the middle one of their loads
        moved = per_min if effect == 0.0 else per_min + effect * (float(np.median(loads)) - loads)
        lines.append(theil_sen(months, 100.0 / np.maximum(moved, per_min / 3.0), LEVEL))
    if any(line is None for line in lines):
        return None
    known = [line for line in lines if line is not None]
    return replace(known[0], low=min(line.low for line in known), high=max(line.high for line in known))


def load_beside_age(falls: Sequence[Spell], now_ms: int) -> tuple[float, ...] | None:
    """What load takes, percent a minute, with what the months take set apart: (as seen, at least, at most); (0,) where
    it is not seen or all loads are alike. None: load changed as the months went, and nobody can tell the two apart.
    """
    per_min, loads = np.array([one.per_min for one in falls]), np.array([one.load for one in falls])
    months = np.array([(one.end_ms - now_ms) / MONTH_MS for one in falls])
    if len(falls) < FEWEST_FOR_LOAD or not np.isfinite(loads).all() or float(np.ptp(loads)) <= LIGHT_LOAD:
        return (0.0,)
    raw = theil_sen(loads, per_min, LEVEL)
    if abs(float(np.corrcoef(months, loads)[0, 1])) > MOST_TOGETHER:
        return None if raw is not None and raw.low > 0.0 else (0.0,)
    effect, by_load = 0.0, raw
    for _ in range(ROUNDS):
        by_age = theil_sen(months, per_min - effect * loads, LEVEL)
        by_load = None if by_age is None else theil_sen(loads, per_min - by_age.slope * months, LEVEL)
        effect = 0.0 if by_load is None else max(by_load.slope, 0.0)
    if by_load is None or by_load.low <= 0.0:
        return (0.0,)
    return (by_load.slope, by_load.low, by_load.high)


def months_to(line: Line, limit_min: float) -> Span:
    """Months until a full battery lasts less than the limit; 0: it does now, infinite: not while it goes on so.

    A steeper fading also stands lower now: each end of the slope's interval goes through the middle of what was seen.
    """

    def until(slope: float) -> float:
        left = line.at(0.0, slope) - limit_min
        return 0.0 if left <= 0.0 else left / -slope if slope < 0.0 else math.inf

    return Span(until(line.low), until(line.slope), until(line.high))


def charging_rate(found: Sequence[Spell]) -> Span | None:
    """Percent won a minute on the mains, of the last ten: the slowest and fastest that the gauge leaves open, and the
    middle one; None where none is known."""
    last = [one for one in found if one.charging][-10:]
    rates = sorted(one.per_min for one in last)
    return Span(min(one.low for one in last), rates[len(rates) // 2], max(one.high for one in last)) if last else None
