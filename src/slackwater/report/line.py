"""One line of the round as a value: whose drain, what is said of it, and its place in the stated order."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.orders import NONE_KNOWN
from slackwater.report.round_facts import Suction
from slackwater.report.trend import Trend
from slackwater.store.rows import Thing

STANDS_MS = 10 * MINUTE_MS  # a line that was worked out longer ago says nothing of now (ours)
AGE_STEP_MS = 15 * MINUTE_MS  # ages are compared in such steps, so that the order holds still (ours)

ACT, OVERDUE, WAITING, REST = range(4)
ORDER_SAYS = (
    "Order: recorded items to act on first, then what is overdue, then criteria met or waiting for people alone, then "
    "the oldest data; among equals the drain charted longest ago comes first."
)
FAILED = "cannot tell: the program failed here"


@dataclass(frozen=True)
class Tube:
    """Whose drain it is and which one. None: not recorded."""

    drain: str  # the record's key
    patient: str
    number: str
    side: str | None = None
    space: str | None = None
    site: str | None = None
    ward: str | None = None
    bed: str | None = None
    initials: str | None = None

    @property
    def place(self) -> str:
        """Number, side, space and site, as it stands beside every verdict."""
        told = (self.side or "side not recorded", self.space or "space not recorded", self.site)
        return " · ".join([f"drain {self.number}", *(one for one in told if one)])


@dataclass(frozen=True)
class Said:
    """A status: shape, word, and what there is to add."""

    shape: str
    word: str
    detail: str = ""


@dataclass(frozen=True)
class Below:
    """The run below the limit: how far it has come of what the rule asks."""

    percent: int
    words: str


CANNOT_TELL = Said("▨", "cannot tell")
NOTHING = Suction("not recorded", "not recorded")
NO_PICTURE = Trend("", "")


@dataclass(frozen=True)
class RoundLine:
    """One drain on the round. Instants are UTC ms; None: not known, or not yet worked out.

    items: to act on. unseen: escalation clauses that were never told here. statuses: what the round filters by.
    live_until_ms: from then on leak, run, rule, delivered suction and estimate are too old for the rule, and vanish;
    without a rule there is no such moment, and the leak is only ever 'last at'.
    """

    tube: Tube
    as_of_ms: int | None = None
    data_until_ms: int | None = None
    live_until_ms: int | None = None
    items: tuple[str, ...] = ()
    unseen: tuple[str, ...] = ()
    overdue: tuple[str, ...] = ()
    holds: tuple[str, ...] = ()
    tasks: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    leak: Said = CANNOT_TELL
    rule: Said = CANNOT_TELL
    rule_name: str = ""
    judged_by: tuple[str, str, str] | None = None  # the rule's name, version and SHA-256
    overall: str | None = None  # the rule's status, by the assessment's word
    below: Below | None = None
    waiting: tuple[str, ...] = ()
    estimate: str = ""
    fluid: tuple[str, ...] = ()
    suction: Suction = NOTHING
    may_be_off: str = NONE_KNOWN
    canister: str = "not recorded"
    charge: str = "not recorded"
    lasted: str = ""  # what a charge was seen to last
    pain: str = "not recorded"  # on cough
    trend: Trend = NO_PICTURE
    charted_ms: int | None = None
    removed: str = ""
    ahead: str = ""  # rows of the log lie after now: whose clock is wrong?
    failed: bool = False
    statuses: frozenset[str] = frozenset()

    @property
    def rank(self) -> int:
        """Its place in the stated order."""
        if self.items or self.ahead or self.failed:
            return ACT
        if self.overdue:
            return OVERDUE
        return WAITING if "waiting" in self.statuses else REST

    @property
    def live(self) -> bool:
        """The values were young enough for the rule when the line was worked out."""
        return self.live_until_ms is not None and self.as_of_ms is not None and self.as_of_ms < self.live_until_ms

    @property
    def stands_until_ms(self) -> int | None:
        return None if self.as_of_ms is None else self.as_of_ms + STANDS_MS

    @property
    def news(self) -> str:
        """In a few words what a change of this line is told by."""
        if self.removed or self.as_of_ms is None:
            return self.removed
        first = [f"to act on: {self.items[0].partition(':')[0]}"] if self.items else [FAILED] if self.failed else []
        words = [self.leak.word, f"rule {self.rule.word}"] if self.live or not self.live_until_ms else ["no data"]
        return "; ".join([*first, *words])


def in_order(lines: Iterable[RoundLine]) -> list[RoundLine]:
    """By `ORDER_SAYS`; lines not yet worked out come last."""
    return sorted(lines, key=_place)


def _place(line: RoundLine) -> tuple[bool, int, float, float, str, str]:
    now, until = line.as_of_ms, line.data_until_ms
    age = math.inf if now is None or until is None else (now - until) // AGE_STEP_MS
    charted = math.inf if now is None or line.charted_ms is None else now - line.charted_ms
    pending = now is None and not line.failed
    return (pending, line.rank, -age, -charted, line.tube.patient, line.tube.number)


def failed_line(tube: Tube, as_of_ms: int) -> RoundLine:
    """Where the program failed: never the last verdict."""
    return RoundLine(tube, as_of_ms, failed=True, statuses=frozenset({"act", "cannot_tell"}))


def tube_of(patient: Thing, episode: Thing, space: Thing, drain: Thing) -> Tube:
    """Whose drain, from the rows of the record."""
    return Tube(
        drain.key, patient["label"], drain["number"], space["side"], space["kind"], drain["site"], episode["ward"],
        episode["bed"], episode["initials"],
    )  # fmt: skip
