"""A shift's charting as help: what a full set holds, what the unit measured by itself, what is still open.

Which items a full set holds is ours (a rule's own schedule adds to it), argued in docs/chart.md. Nothing here judges
anybody: an item that is open is one that nobody could look at yet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.episode.items import ITEMS
from slackwater.episode.space import entries_for
from slackwater.episode.types import Chart, Entry
from slackwater.quantities.spans import MINUTE_MS

BY_UNIT = ("air_leak_read", "suction_delivered", "fluid_output", "battery")  # what a unit can measure by itself
BY_EYES_AND_HANDS = (
    "swing", "cough", "fluid_appearance", "tubing", "site", "length_at_skin", "surgical_emphysema", "pain_rest",
    "pain_cough", "distress", "resp_rate", "spo2", "oxygen", "heart_rate", "systolic", "temperature", "consciousness",
)  # fmt: skip
SAME_ALREADY = 3  # sets in a row with the same words: worth a friendly word. Ours
TOGETHER_MIN = 10  # minutes: entries of one hand no further apart are one set. Ours
LATELY_MIN = 60  # minutes a measured value may be old to fill in a set. Ours


@dataclass(frozen=True)
class Measured:
    """What the unit recorded of one item: the range of its minutes, in `unit` (suction negative), and up to when."""

    item: str  # one of BY_UNIT
    low: float
    high: float
    unit: str
    from_ms: int
    until_ms: int

    @property
    def text(self) -> str:
        places = 1 if self.unit == "cmH2O" else 0
        low, high = f"{self.low:.{places}f}", f"{self.high:.{places}f}"
        return f"{low} {self.unit}" if low == high else f"{low} to {high} {self.unit}"


@dataclass(frozen=True)
class SetItem:
    """One item of a full set in this shift: when it was last charted in it, or what the unit measured; else open."""

    item: str
    charted_ms: int | None
    measured: Measured | None

    @property
    def there(self) -> bool:
        return self.charted_ms is not None or self.measured is not None


@dataclass(frozen=True)
class Shift:
    """A full set for this drain in this shift."""

    from_ms: int
    until_ms: int
    items: tuple[SetItem, ...]

    @property
    def open(self) -> tuple[str, ...]:
        """Items that nobody charted in this shift and the unit did not measure, in the order of a set."""
        return tuple(one.item for one in self.items if not one.there)

    @property
    def sentence(self) -> str:
        """How far it is, as help."""
        there = len(self.items) - len(self.open)
        if not self.open:
            return f"All {there} items of a full set are there for this shift."
        words = ", ".join(item.replace("_", " ") for item in self.open)
        return f"{there} of {len(self.items)} items are there for this shift. Still open: {words}."


@dataclass(frozen=True)
class SameAgain:
    """Sets in a row that say the same of every item that eyes and hands give."""

    sets: int
    from_ms: int
    until_ms: int
    items: tuple[str, ...]

    @property
    def sentence(self) -> str:
        return (
            f"The last {self.sets} sets say the same of {len(self.items)} items. That may well be so: "
            "a look at each of them keeps it true."
        )


def measured_lately(found: Assessment) -> tuple[Measured, ...]:
    """What the unit recorded in the last LATELY_MIN before the assessment; nothing where nothing was recorded.

    The flow as printed, minute means; the pressure at the unit; the rise of its counter; the battery's charge.
    """
    leak = found.leak_trace
    if leak is None:
        return ()
    minutes = leak.minutes
    end = min(len(minutes), max(0, (found.as_of_ms - minutes.start_ms) // MINUTE_MS))
    first = max(0, end - LATELY_MIN)
    rows = (
        ("air_leak_read", minutes.flow, "mL/min"), ("suction_delivered", minutes.pressure, "cmH2O"),
        ("battery", minutes.battery_percent, "%"),
    )  # fmt: skip
    seen = [_measured(name, column, unit, first, end, minutes.start_ms) for name, column, unit in rows]
    counted = _measured("fluid_output", minutes.fluid_ml, "mL", first, end, minutes.start_ms)
    if counted is not None:
        values = minutes.fluid_ml[first:end]
        told = values[np.isfinite(values)]
        rise = float(told[-1] - told[0])
        counted = None if rise < 0 else Measured("fluid_output", rise, rise, "mL", counted.from_ms, counted.until_ms)
    return tuple(one for one in (*seen[:2], counted, seen[2]) if one is not None)


def shift_of(found: Assessment, from_ms: int, until_ms: int) -> Shift:
    """The shift [from_ms, until_ms) of this drain. The unit's items count where it recorded them lately."""
    own = entries_for(found.chart, "drain", found.episode)
    measured = {one.item: one for one in measured_lately(found) if one.until_ms > from_ms}
    scheduled = tuple(due.item for due in found.schedule if due.item in ITEMS)
    names = dict.fromkeys((*BY_UNIT, *BY_EYES_AND_HANDS, *scheduled))
    return Shift(
        from_ms,
        until_ms,
        tuple(
            SetItem(name, _charted(own, name, from_ms, until_ms), measured.get(name))
            for name in names
            if name in ITEMS or name in measured
        ),
    )


def same_again(chart: Chart) -> SameAgain | None:
    """The run of identical sets that the chart ends with, of SAME_ALREADY or more; None where there is none.

    A set is what one hand charted within TOGETHER_MIN. `chart`: this drain's own entries.
    """
    sets = _sets([e for e in chart.of(*BY_EYES_AND_HANDS) if e.value is not None and not e.conflict])
    if len(sets) < SAME_ALREADY:
        return None
    last = _said(sets[-1])
    if len(last) < 3:  # one or two items that stay as they are say nothing
        return None
    run = 1
    while run < len(sets) and _said(sets[-run - 1]) == last:
        run += 1
    if run < SAME_ALREADY:
        return None
    return SameAgain(run, sets[-run][0].time, sets[-1][-1].time, tuple(sorted(last)))


def _measured(
    name: str, column: NDArray[np.float64], unit: str, first: int, end: int, start_ms: int
) -> Measured | None:
    told = np.flatnonzero(np.isfinite(column[first:end])) + first
    if not len(told):
        return None
    values = column[told]
    return Measured(
        name, float(values.min()), float(values.max()), unit, start_ms + int(told[0]) * MINUTE_MS,
        start_ms + (int(told[-1]) + 1) * MINUTE_MS,
    )  # fmt: skip


def _charted(chart: Chart, item: str, from_ms: int, until_ms: int) -> int | None:
    return max((e.time for e in chart.of(item) if from_ms <= e.time < until_ms), default=None)


def _sets(entries: Sequence[Entry]) -> list[list[Entry]]:
    sets: list[list[Entry]] = []
    for entry in entries:
        last = sets[-1] if sets else None
        if last is None or last[0].by != entry.by or entry.time - last[0].time > TOGETHER_MIN * MINUTE_MS:
            sets.append([])
        sets[-1].append(entry)
    return sets


def _said(entries: Sequence[Entry]) -> dict[str, object]:
    return {entry.item: entry.value for entry in entries}
