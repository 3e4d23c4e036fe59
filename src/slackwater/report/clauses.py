"""Clauses, guards, items and steps-down of a rule as a reader sees them, each opening to its minutes and rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from itertools import groupby
from operator import itemgetter
from typing import Any

from slackwater.assessment.assessment import Assessment
from slackwater.assessment.document import rows_of
from slackwater.protocol.evaluation import Judged, Span
from slackwater.protocol.status import Status
from slackwater.report.sentences import GUARD_WORDS, rule_words, run_words, shown_status, value_words
from slackwater.report.times import between, shown

MOST_SPANS = 6  # of one clause's evidence; more are counted


@dataclass(frozen=True)
class Evidence:
    """A stretch that a status rests on: where it lies, and which rows of which file."""

    from_ms: int
    to_ms: int
    when: str
    why: str
    rows: str


@dataclass(frozen=True)
class RunBar:
    """How far the run has come."""

    percent: int
    words: str


@dataclass(frozen=True)
class Part:
    """One clause or guard in words."""

    id: str
    name: str
    shape: str
    status: str
    tone: str
    asks: str
    found: str
    run: RunBar | None
    needs: tuple[str, ...]
    note: str
    evidence: tuple[Evidence, ...]
    more: int  # stretches that are not listed
    source: str


@dataclass(frozen=True)
class Block:
    """A titled group of parts."""

    id: str
    title: str
    says: str
    parts: tuple[Part, ...]
    quiet: tuple[Part, ...] = ()  # items that nothing has fired: there for who looks
    quiet_says: str = ""


def blocks(found: Assessment, zone: tzinfo) -> tuple[Block, ...]:
    """Every group that the rule has, guards apart from clauses."""
    judged = found.evaluation
    if judged is None:
        return ()
    waived = "None: waived by the rule. Nothing here asks whether the tube was open."
    guards = waived if judged.protocol.guards_waived and judged.protocol.removal else (
        "Not clauses: they ask whether a low flow can be believed at all."
    )  # fmt: skip

    def told(group: tuple[Judged, ...]) -> tuple[Part, ...]:
        return tuple(part(one, found, zone) for one in group)

    fired = tuple(one for one in judged.escalation if one.status in (Status.MET, Status.CANNOT_TELL))
    rest = tuple(one for one in judged.escalation if one not in fired)
    items = "Recorded values that ask to be looked at; so does what cannot be told." if fired else (
        f"Nothing that was recorded asks for any of the {len(rest)}."
    )  # fmt: skip
    folded = f"{len(rest)} items, and why none is asked for"
    groups = (
        Block("clauses", "Clauses of the rule", "", told(judged.criteria)),
        Block("guards", "Guards", guards, told(judged.guards)),
        Block("step-down", "Clauses for stepping suction down", "", told(judged.step_down)),
        Block("items", "Items the rule wants looked at", items, told(fired), told(rest), folded),
    )
    return tuple(
        block for block in groups if block.parts or block.quiet or (block.id == "guards" and judged.protocol.removal)
    )


def part(judged: Judged, found: Assessment, zone: tzinfo) -> Part:
    """One of them."""
    clause = judged.clause
    since = ""
    if judged.status in (Status.MET, Status.MET_WITH_GAPS) and judged.since_ms is not None:
        since = f"since {shown(judged.since_ms, zone)}"
    if clause is None and judged.evidence:
        last = judged.evidence[0]
        since = f"last {shown(last.to_ms, zone)}" + (f" ({last.why})" if last.why else "")
    name = GUARD_WORDS.get(judged.id, judged.id.replace("_", " "))
    assert found.evaluation is not None
    looks = shown_status(judged, found.evaluation)
    return Part(
        judged.id, name, looks.shape, looks.word, looks.tone, rule_words(judged),
        "; ".join(text for text in (value_words(judged), since) if text), _bar(judged, zone),
        tuple(
            need.what + (f" (at the earliest {shown(need.by_ms, zone)})" if need.by_ms is not None else "")
            for need in judged.needs
        ),
        ". ".join(text for text in (judged.note, looks.note, clause.say if clause is not None else "") if text),
        tuple(_evidence(span, found, zone) for span in judged.evidence[:MOST_SPANS]),
        max(0, len(judged.evidence) - MOST_SPANS),
        f"Source: {clause.source}" if clause is not None and clause.source else "",
    )  # fmt: skip


def _bar(judged: Judged, zone: tzinfo) -> RunBar | None:
    run = judged.run
    if run is None or not run.needed_seconds:
        return None
    return RunBar(min(100, int(100 * run.seconds / run.needed_seconds)), run_words(run, zone))


def _evidence(span: Span, found: Assessment, zone: tzinfo) -> Evidence:
    rows = rows_said(rows_of(span, found))
    return Evidence(span.from_ms, span.to_ms, between(span.from_ms, span.to_ms, zone), span.why, rows)


def rows_said(rows: Sequence[Mapping[str, Any]]) -> str:
    """Rows behind a stretch, each file named once: 'chart.csv lines 4, 9 to 12; log.csv line 3'."""
    said = []
    for file, some in groupby(rows, key=itemgetter("file")):
        spans = [(row["from_line"], row["to_line"]) for row in some]
        numbers = ", ".join(f"{first}" if first == last else f"{first} to {last}" for first, last in spans)
        one = len(spans) == 1 and spans[0][0] == spans[0][1]
        said.append(f"{file} {'line' if one else 'lines'} {numbers}")
    return "; ".join(said)
