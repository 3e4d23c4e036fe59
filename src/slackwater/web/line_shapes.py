"""The round as programs are given it: the board's own lines, with what is too old gone as on the page."""

from __future__ import annotations

from pydantic import Field

from slackwater.assessment.document import stamp
from slackwater.report.line import RoundLine, Said
from slackwater.web.shapes import CautionShape, RuleName, Shape, Stamp, Status


class SaidShape(Shape):
    """In words: the status, and what there is to add."""

    word: str
    detail: str


class BelowShape(Shape):
    """The run below the limit, and how far it has come of what the rule asks."""

    percent: int
    words: str


class SuctionShape(Shape):
    ordered: str
    delivered: str | None
    note: str


class LineShape(Shape):
    """One drain of the round. What rests on data that are too old for the rule is null, and the status cannot_tell."""

    drain: str
    patient: str
    number: str
    side: str | None
    space: str | None
    site: str | None
    ward: str | None
    bed: str | None
    initials: str | None
    as_of: Stamp | None = Field(description="When it was worked out; null: not yet.")
    data_until: Stamp | None
    age_s: int | None
    protocol: RuleName | None
    status: Status | None
    old: bool = Field(description="The data are older than the rule takes, or the line was not worked out again.")
    failed: bool
    statuses: list[str] = Field(description="What the round filters by.")
    to_act_on: list[str]
    never_told: list[str]
    overdue: list[str]
    open: list[str]
    held: list[str]
    notes: list[str]
    leak: SaidShape | None
    rule: SaidShape | None
    rule_name: str
    below: BelowShape | None
    waiting_for: list[str]
    estimate: str
    fluid: list[str]
    suction: SuctionShape
    may_be_off: str
    canister: str
    charge: str
    last_day: str = Field(description="The last 24 h in a sentence.")
    charted_at: Stamp | None
    removed: str


class RoundShape(Shape):
    """The round of whoever asks. `trouble`: why no line of it may be believed."""

    now: Stamp
    trouble: str
    order: str
    cautions: list[CautionShape]
    lines: list[LineShape]


OF_THE_ANSWER = frozenset({"waiting", "leaking", "below"})  # what an answer that is too old no longer says


def line_shape(line: RoundLine, now_ms: int, believed: bool) -> LineShape:
    tube, until = line.tube, line.data_until_ms
    stale = line.live_until_ms is not None and now_ms >= line.live_until_ms
    late = line.stands_until_ms is not None and now_ms > line.stands_until_ms
    old = stale or late or not believed
    none = "cannot_tell" if line.failed or (old and line.judged_by is not None) else None
    status = none if old or line.failed else line.overall
    return LineShape.model_validate({
        "drain": tube.drain, "patient": tube.patient, "number": tube.number, "side": tube.side, "space": tube.space,
        "site": tube.site, "ward": tube.ward, "bed": tube.bed, "initials": tube.initials,
        "as_of": stamp(line.as_of_ms), "data_until": stamp(until),
        "age_s": None if until is None else max(0, now_ms - until) // 1000,
        "protocol": None if line.judged_by is None
        else RuleName(name=line.judged_by[0], version=line.judged_by[1], sha256=line.judged_by[2]),
        "status": status, "old": old, "failed": line.failed,
        "statuses": sorted(line.statuses - OF_THE_ANSWER | {"cannot_tell"} if old else line.statuses),
        "to_act_on": [*line.items, *([line.ahead] if line.ahead else [])], "never_told": list(line.unseen),
        "overdue": list(line.overdue), "open": list(line.tasks), "held": list(line.holds), "notes": list(line.notes),
        "leak": None if old or line.failed else _said(line.leak),
        "rule": None if old or line.failed else _said(line.rule),
        "rule_name": line.rule_name,
        "below": None if old or line.below is None
        else BelowShape(percent=line.below.percent, words=line.below.words),
        "waiting_for": [] if old else list(line.waiting), "estimate": "" if old else line.estimate,
        "fluid": list(line.fluid),
        "suction": SuctionShape(
            ordered=line.suction.ordered, delivered=None if old else line.suction.delivered, note=line.suction.note
        ),
        "may_be_off": line.may_be_off, "canister": line.canister, "charge": line.charge,
        "last_day": line.trend.sentence, "charted_at": stamp(line.charted_ms), "removed": line.removed,
    })  # fmt: skip


def _said(said: Said) -> SaidShape:
    return SaidShape(word=said.word, detail=said.detail)
