"""What a rule is judged on: named facts, with everything unknown said as unknown.

Facts know no log and no chart. Whoever builds them has already dropped what was not yet known at
`now_ms`. Times are UTC ms; minute k of the grid is [grid_start_ms + k min, one minute later).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from slackwater.quantities.spans import MINUTE_MS

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Flags = NDArray[np.bool_]


# totals(ends_ms, window_ms) -> (low, high): bounds on the amount inside (end - window, end]
Totals = Callable[[Times, int], tuple[Floats, Floats]]
# lines(start_ms, end_ms): the chart lines that speak of any of (start, end]
Lines = Callable[[int, int], tuple[int, ...]]


@dataclass(frozen=True, eq=False)
class Signal:
    """A measure recorded all the time, bounded minute by minute on the grid.

    `mean_*` bound the true mean over the whole minute, `peak_*` the largest reading's true value,
    `trough_*` the smallest's: an unrecorded part makes a low bound smaller and a high bound inf.
    `known`: recorded throughout and not in doubt. `tolerable`: unknown only because nothing was
    recorded (or the unit was off or clamped), which a rule's gap tolerance may pass over.
    `top_open`: true values never reach the high bound itself (a cell [low, high)).
    """

    mean_low: Floats
    mean_high: Floats
    peak_low: Floats
    peak_high: Floats
    trough_low: Floats
    trough_high: Floats
    known: Flags
    tolerable: Flags
    top_open: bool
    bottom_open: bool
    reading_s: float  # how long one reading stands for
    means: bool  # readings are means over that time, not samples


@dataclass(frozen=True)
class Sighting:
    """A value seen at one moment: bounds of a number, or a word; None where two entries disagree."""

    time_ms: int
    low: float = float("nan")
    high: float = float("nan")
    word: str | None = None
    conflict: bool = False
    line: int = 0
    traced: bool = False  # seen in the log, not charted


@dataclass(frozen=True, eq=False)
class Amounts:
    """A measure that adds up (fluid): bounds over any window, and when entries end."""

    totals: Totals
    entry_ends_ms: Times  # sorted
    lines: Lines = lambda start_ms, end_ms: ()
    counted: bool = False  # by the unit: the log's rows stand behind it


@dataclass(frozen=True)
class Try:
    """Effort made (a cough, a walk): was a leak seen with it? None: looked for, but the result is not told."""

    time_ms: int
    seen: bool | None
    source: str  # "trace" or "charted"
    line: int = 0


@dataclass(frozen=True)
class Veto:
    """Something that forbids `met` while it stands: air may be going elsewhere."""

    from_ms: int
    until_ms: int | None
    reason: str


SCOPES = ("drain", "space", "patient")
Key = tuple[str, str]  # (measure, scope)
Moment = tuple[str, int]  # (an event, or "charted" for the tube shown open; its instant)


@dataclass(frozen=True, eq=False)
class Facts:
    """Everything a rule may ask about one drain at one moment."""

    now_ms: int
    grid_start_ms: int
    length: int  # whole minutes on the grid
    data_until_ms: int | None  # end of the last row of the log; None without a log
    connected_ms: int | None
    signals: Mapping[Key, Signal] = field(default_factory=dict)
    amounts: Mapping[Key, Amounts] = field(default_factory=dict)
    sightings: Mapping[Key, tuple[Sighting, ...]] = field(default_factory=dict)
    events: Mapping[str, tuple[int, ...]] = field(default_factory=dict)  # sorted instants
    shown_open: Mapping[str, Times] = field(default_factory=dict)  # how -> sorted instants
    shown_shut: Times = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    tries: tuple[Try, ...] = ()  # in order of time
    cough_visible: bool = False  # the log could show a single cough
    vetoes: tuple[Veto, ...] = ()
    weight_kg: float | None = None
    about: Mapping[str, str | float | None] = field(default_factory=dict)  # indication, age_years, ...
    lines: Mapping[Moment, tuple[int, ...]] = field(default_factory=dict)  # the chart lines that say so
    # of the minute that the log has begun and not ended: the largest reading is at least, the smallest at most
    unfinished: Mapping[Key, tuple[float, float]] = field(default_factory=dict)

    def ends_ms(self) -> Times:
        """The end of every minute of the grid."""
        return self.grid_start_ms + MINUTE_MS * np.arange(1, self.length + 1, dtype=np.int64)
