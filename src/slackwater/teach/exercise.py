"""An exercise: a question with a closed list of answers, asked of one of several invented drains."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files

from slackwater.protocol.rule import Protocol, TripMargin
from slackwater.simulate import Scenario
from slackwater.simulate.chart import ChartEntry
from slackwater.teach.facts import Truth


@dataclass(frozen=True)
class Kind:
    """One kind of question. answers: id -> words; `ordered`: they stand in order.

    asks: measures of the rule's clauses that it is about. charted: items whose rows are shown first; (): all but signs.
    """

    name: str
    title: str
    question: str
    ordered: bool
    answers: Mapping[str, str]
    asks: tuple[str, ...] = ()
    charted: tuple[str, ...] = ()


@dataclass(frozen=True)
class Case:
    """One drain the question may be asked of. Hours are since connection, before the draw moves them.

    moments_h: when it is looked at. evidence_h: from when to when the trace shows why. told: what staff say, one text
    a moment. shows: doubts and patterns (leak.words.REASONS, leak.filter.pattern.PATTERNS). traps: numbers of the list
    of misreadings in docs/practice.md. unwritten: item -> hour from which nobody charted it. beside: another drain of
    the same space, on a unit of its own; charted: its rows, which no draw moves.
    """

    id: str
    scenario: Scenario
    moments_h: tuple[float, ...]
    evidence_h: tuple[float, float]
    why: str
    told: tuple[str, ...] = ()
    shows: tuple[str, ...] = ()
    traps: tuple[int, ...] = ()
    unwritten: Mapping[str, float] = field(default_factory=dict)
    beside: str = ""
    charted: tuple[ChartEntry, ...] = ()


@dataclass(frozen=True)
class Exercise:
    """What is asked, of which drains, and what of the truth makes each answer the right one.

    truth: answer -> tables of conditions (facts.CONDITIONS); it is the one true answer where all of a table's hold.
    shift_h, flow: how far a draw moves the story, and by which factors it scales the leak.
    check: draw -> the answer that must be true of it. walk_min, margin: of a question about charge, the way there and
    back as planned, and how much longer the rule wants the charge to last.
    """

    name: str
    title: str
    kind: Kind
    told: str
    cases: tuple[Case, ...]
    truth: Truth
    check: Mapping[int, str]
    protocol: Protocol | None = None
    shift_h: float = 0.0
    flow: tuple[float, float] = (1.0, 1.0)
    walk_min: float | None = None
    margin: TripMargin | None = None
    sha256: str = ""

    @property
    def shows(self) -> frozenset[str]:
        return frozenset(one for case in self.cases for one in case.shows)

    @property
    def traps(self) -> frozenset[int]:
        return frozenset(one for case in self.cases for one in case.traps)


@cache
def kinds() -> Mapping[str, Kind]:
    """The kinds of question, by name.

    >>> kinds()["open"].answers["open"]
    'Yes, it is open'
    """
    found = tomllib.loads((files("slackwater.teach") / "kinds.toml").read_text("utf-8"))
    own = ("title", "question", "ordered", "asks", "charted")
    return {
        name: Kind(
            name, one["title"], one["question"], one["ordered"],
            {answer: words for answer, words in one.items() if answer not in own}, tuple(one.get("asks", ())),
            tuple(one.get("charted", ())),
        )
        for name, one in found.items()
    }  # fmt: skip
