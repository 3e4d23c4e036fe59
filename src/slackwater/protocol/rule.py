"""A rule as its file says it: frozen values, nothing defaulted that a clinician should choose."""

from __future__ import annotations

from dataclasses import dataclass

from slackwater.protocol.measures import MEASURES, Measure
from slackwater.quantities.spans import format_span
from slackwater.quantities.suction import SuctionRange

NUMERIC = ("below", "at_most", "at_least", "above")
WORDY = ("one_of", "none_of", "shown")


@dataclass(frozen=True)
class Clause:
    """One line of a rule: a measure, a comparison, a limit and a window."""

    id: str
    measure_name: str
    scope: str
    comparison: str  # the file's `is`
    limit: float | None  # internal unit; per kg if `per_kg`
    limit_text: str  # as written
    words: tuple[str, ...]
    bin_min: int | None  # sliding mean, whole minutes; None: every reading
    lasting_s: float | None
    within_s: float | None
    per_kg: bool
    after: str | None  # only entries after the last such event count
    of: str | None  # the event `hours_since` counts from
    only_until: tuple[str, float] | None  # (event, seconds): the clause applies until then
    data_age_s: float | None  # overrides the rule's own
    source: str
    say: str  # escalation: the unit's own approved words, shown as written

    @property
    def measure(self) -> Measure:
        return MEASURES[self.measure_name]


@dataclass(frozen=True)
class TubeOpen:
    """Guard: the tube must have been shown open, at the end of the run and where else `also_at` says."""

    within_s: float
    also_at_start: bool
    by: tuple[str, ...]


@dataclass(frozen=True)
class EffortSeen:
    """Guard: a leak once seen with effort must have been tried again, and not seen."""

    within_s: float


@dataclass(frozen=True)
class Applies:
    """Whom the rule is for. Absent facts are unknown, and unknown is never 'no'."""

    indication: tuple[str, ...] = ()
    spaces: tuple[str, ...] = ()
    min_age_years: float | None = None
    max_age_years: float | None = None
    excludes: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Edge:
    """A moment told by an event: so long after it."""

    event: str
    plus_s: float

    @property
    def told(self) -> str:
        """In words: 'connected', '2 h after connected'."""
        event = self.event.replace("_", " ").replace(".", " ")
        return f"{format_span(self.plus_s)} after {event}" if self.plus_s else event


@dataclass(frozen=True)
class ScoreBand:
    """An interval that an early-warning score asks for: from so many points on, or where one reading alone gives 3."""

    at_least: int | None  # None: one reading that gives 3
    every_s: float


@dataclass(frozen=True)
class Due:
    """An observation the unit wants charted: every so often, or once; from a moment until another, if it says so."""

    item: str
    every_s: float | None  # None: once
    source: str
    start: Edge | None = None  # None: from connection
    until: Edge | None = None
    within_s: float | None = None  # once, so long after `start`
    bands: tuple[ScoreBand, ...] = ()

    @property
    def told(self) -> str:
        """The whole of it in words."""
        often = "once" if self.every_s is None else f"every {format_span(self.every_s)}"
        text = f"{self.item} {often}"
        text += f" within {format_span(self.within_s)}" if self.within_s is not None else ""
        text += f" from {self.start.told}" if self.start is not None else ""
        text += f" until {self.until.told}" if self.until is not None else ""
        for band in self.bands:
            what = "one reading alone gives 3" if band.at_least is None else f"the score is {band.at_least} or more"
            text += f"; every {format_span(band.every_s)} where {what}"
        return text


@dataclass(frozen=True)
class TripMargin:
    """How much longer than planned a battery must last for a trip on battery: planned time x factor + reserve.

    back_s: within so long of the return the trace must show suction again; None: the rule does not say.
    """

    factor: float
    reserve_s: float
    back_s: float | None
    source: str

    def needed_min(self, planned_min: float) -> float:
        return planned_min * self.factor + self.reserve_s / 60.0

    @property
    def told(self) -> str:
        return f"planned time x {self.factor:g} + {format_span(self.reserve_s)}"


@dataclass(frozen=True)
class Protocol:
    """A unit's own written rule, pinned by the hash of its file."""

    name: str
    version: str
    status: str  # example, draft, approved, retired
    approved_by: str
    source: str
    sha256: str
    applies: Applies
    data_age_s: float
    gaps_s: float
    restart_on: tuple[str, ...]
    coarse_means: bool  # clauses on 'every reading' may be met on means longer than a minute
    tube_open: TubeOpen | None
    effort_seen: EffortSeen | None
    guards_waived: bool
    removal: tuple[Clause, ...]
    step_down: tuple[Clause, ...] = ()
    escalation: tuple[Clause, ...] = ()
    home: tuple[Clause, ...] = ()  # may the patient go home with the drain in?
    schedule: tuple[Due, ...] = ()
    suction: SuctionRange | None = None  # levels that may be ordered; None: the rule does not say
    trip: TripMargin | None = None  # None: the rule gives no margin
    notes: str = ""
    file_name: str = ""

    @property
    def air_age_s(self) -> float:
        """How old a reading of air may be, in seconds: by the air clause, else by the rule."""
        air = self.air_clause
        return self.data_age_s if air is None or air.data_age_s is None else air.data_age_s

    @property
    def air_clause(self) -> Clause | None:
        """The removal clause on air leak that runs over time, whose limit the minute table is held against."""
        air = [clause for clause in self.removal if clause.measure_name == "air_leak"]
        return next((clause for clause in air if clause.lasting_s), air[0] if air else None)

    @property
    def longest_air_run_s(self) -> float | None:
        """The longest `lasting` of the removal clauses on air leak: the run whose start the tube guard looks at."""
        runs = [c.lasting_s for c in self.removal if c.measure_name == "air_leak" and c.lasting_s is not None]
        return max(runs, default=None)
