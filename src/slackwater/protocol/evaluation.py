"""What judging a rule gives: each clause's status with its value, run, needs and evidence."""

from __future__ import annotations

from dataclasses import dataclass

from slackwater.protocol.rule import Clause, Protocol
from slackwater.protocol.status import Codes, Status


@dataclass(frozen=True)
class Need:
    """One thing that would settle a clause; `by_ms`: the earliest moment it could."""

    what: str
    by_ms: int | None = None


@dataclass(frozen=True)
class Span:
    """A stretch of time that a status rests on."""

    from_ms: int
    to_ms: int
    why: str = ""
    lines: tuple[int, ...] = ()  # chart lines, where the evidence was charted
    traced: bool = False  # the log's rows in this stretch stand behind it


@dataclass(frozen=True)
class Value:
    """Bounds of what was measured, in the clause's unit (per kg if it is); or a word."""

    low: float | None = None
    high: float | None = None  # None: no upper bound is known
    unit: str = ""
    word: str | None = None


@dataclass(frozen=True)
class Run:
    """How long a lasting clause has held without a break, up to the end of the data."""

    since_ms: int
    seconds: float  # certain
    possible_seconds: float  # had everything unknown been in its favour
    needed_seconds: float
    covered: float  # share of the needed span recorded and free of doubt
    missing_minutes: int


@dataclass(frozen=True, eq=False)
class Judged:
    """A clause or guard, judged now and at every minute."""

    id: str
    status: Status
    timeline: Codes  # at the end of every minute of the grid
    clause: Clause | None = None
    value: Value | None = None
    since_ms: int | None = None  # since when the present status has stood, as far as the grid shows
    run: Run | None = None
    needs: tuple[Need, ...] = ()
    evidence: tuple[Span, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Population:
    """Is the rule made for this patient? `reasons` name what is outside, or not known."""

    status: Status  # MET inside, NOT_APPLICABLE outside, CANNOT_TELL where something needed is unknown
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Evaluation:
    """The whole rule, judged."""

    protocol: Protocol
    population: Population
    overall: Status
    timeline: Codes
    met_since_ms: int | None
    first_met_ms: int | None
    guards: tuple[Judged, ...]  # and the vetoes that stand
    criteria: tuple[Judged, ...]
    step_down: tuple[Judged, ...]
    step_down_overall: Status | None
    escalation: tuple[Judged, ...]
    as_of_ms: int
    home: tuple[Judged, ...] = ()
    home_overall: Status | None = None
    lifted: tuple[Judged, ...] = ()  # vetoes that stood in the past: of the timeline, no longer a guard
