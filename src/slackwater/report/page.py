"""The page: one self-contained HTML file that says what the assessment says, with the trace behind every number."""

from __future__ import annotations

import json
from datetime import tzinfo
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from slackwater.assessment.assessment import Assessment
from slackwater.errors import MissingPart
from slackwater.protocol.status import Status
from slackwater.report.clauses import blocks
from slackwater.report.doubts import doubt_lines, no_doubts, unsure_sentence
from slackwater.report.outlook import Outlook, outlook
from slackwater.report.pack import SCRIPTS, STYLES, packed
from slackwater.report.record import cleaning, record_lines
from slackwater.report.scores import SCORE_CAUTIONS, score_lines
from slackwater.report.sentences import drain_line, items_to_act_on, leak_sentence, rule_sentence
from slackwater.report.steps import step_rows
from slackwater.report.times import offset, shown
from slackwater.report.told import hourly_table, picture_sentence
from slackwater.report.words import LEAK_SHAPES, SHAPES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jinja2 import Environment

    from slackwater.risk import Score

ABOVE = ("cau-C9", "cau-C4", "cau-C1")  # right above the answer, so short that a phone shows both
BESIDE = ("cau-C6", "cau-C10", "cau-C11")  # right below it
# Would turn the words behind them around ("left", "not met"): shown by name instead of obeyed.
TURNING = {code: f"[U+{code:04X}]" for code in (*range(0x202A, 0x202F), *range(0x2066, 0x206A))}
# These too, and those that are not seen at all: what the ward's pages and paper show by number.
UNSEEN = TURNING | {code: f"[U+{code:04X}]" for code in (*range(9), 11, 12, *range(14, 32), 127)}

_LOOKED_AT = "Nothing that is recorded; a person looks and decides."
WAITS_FOR_NOTHING = {
    None: "Nothing: no rule for removal was given, so only the leak is answered.",
    Status.NOT_APPLICABLE: "Nothing: the rule is not made for this drain, and says nothing of it.",
    Status.MET: _LOOKED_AT, Status.MET_WITH_GAPS: _LOOKED_AT,
    Status.NOT_MET: "See the clauses below.", Status.CANNOT_TELL: "See the clauses below.",
}  # fmt: skip


def page(found: Assessment, zone: tzinfo, *, scores: Sequence[Score] = ()) -> str:
    """The whole file as text; `zone`: in which its times are shown."""
    try:
        import jinja2  # noqa: F401  before anything is worked out
    except ImportError as error:
        raise MissingPart("the page needs jinja2", mend="Install it: pip install 'slackwater[page]'.") from error
    data = json.dumps(packed(found, zone), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    html = (
        environment()
        .get_template("page.html")
        .render(
            p=view(found, zone, scores),
            css="\n".join(asset("assets", name) for name in ("page.css", "told.css", *STYLES)),
            script="\n".join(asset("assets", name) for name in (*SCRIPTS, "page.js")),
            data=data.replace("<", "\\u003c"),  # so that no text of the record can close the script
        )
    )
    return html.translate(TURNING)


@cache
def environment() -> Environment:
    """Everything of a record is escaped; a name that is missing is a fault. Made once: its templates take a while."""
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FunctionLoader(lambda name: asset("templates", name)), autoescape=True,
        undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True, auto_reload=False,
    )  # fmt: skip


def asset(*parts: str) -> str:
    return files("slackwater.report").joinpath(*parts).read_text("utf-8")


def view(found: Assessment, zone: tzinfo, scores: Sequence[Score] = ()) -> dict[str, Any]:
    """All that the template shows, in words."""
    head, *hours = hourly_table(found, zone)
    forecast = outlook(found)
    return {
        "drain": drain_line(found),
        "as_of": shown(found.as_of_ms, zone),
        "as_of_last_reading": found.as_of_last_reading,
        "data_until": shown(found.data_until_ms, zone),
        "zone": offset(found.as_of_ms, zone),
        "warnings": found.warnings,
        "cautions_above": [one for id_ in ABOVE for one in found.cautions if one.id == id_],
        "cautions_beside": [one for id_ in BESIDE for one in found.cautions if one.id == id_],
        "cautions_below": [one for one in found.cautions if one.id not in (*ABOVE, *BESIDE, *_told(forecast))],
        "leak_sentence": leak_sentence(found, zone),
        "leak_shape": LEAK_SHAPES[found.leak.state],
        "leak_tone": found.leak.state,
        "rule_sentence": rule_sentence(found, zone),
        "rule_shape": "" if found.overall is None else SHAPES[found.overall],
        "rule_tone": "" if found.overall is None else found.overall.word,
        "pattern": found.leak.pattern_says,
        "unsure": unsure_sentence(found),
        "notes": [*found.notes, *found.chart.notes],
        "waiting_for": found.waiting_for,
        "waits_for_nothing": WAITS_FOR_NOTHING[found.overall],
        "look_again": _look_again(found, zone),
        "to_act": items_to_act_on(found),
        "overdue": [
            f"{due.item.replace('_', ' ')}, {due.often}; last {shown(due.last_ms, zone)}"
            for due in found.schedule
            if due.overdue
        ],
        "picture_sentence": picture_sentence(found, zone),
        "hours_head": head,
        "hours": hours,
        "blocks": blocks(found, zone),
        "forecast": forecast,
        "scores": score_lines(scores),
        "score_cautions": SCORE_CAUTIONS,
        "steps": step_rows(found, zone),
        "doubts": doubt_lines(found, zone),
        "no_doubts": no_doubts(found),
        "ledger": record_lines(found),
        "history": cleaning(found),
        "version": version("slackwater"),
    }


def _told(forecast: Outlook) -> tuple[str, ...]:
    """Cautions that stand beside their number, so not below too."""
    return () if forecast.caution is None else (forecast.caution.id,)


def _look_again(found: Assessment, zone: tzinfo) -> str:
    """The earliest moment at which the clauses that are waited for could hold."""
    judged = found.evaluation
    if judged is None or judged.overall not in (Status.NOT_MET, Status.CANNOT_TELL):
        return ""
    waiting = [p for p in (*judged.criteria, *judged.guards) if p.status in (Status.NOT_MET, Status.CANNOT_TELL)]
    times = [need.by_ms for part in waiting for need in part.needs if need.by_ms is not None]
    if not times:
        return ""
    return f"at {shown(max(times), zone)} at the earliest, and whenever anything changes."
