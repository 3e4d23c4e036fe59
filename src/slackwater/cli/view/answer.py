"""The terminal answer: one line first, with doubts, missing and guards beside it."""

from __future__ import annotations

import shutil
import textwrap
from datetime import tzinfo

from slackwater.assessment.assessment import Assessment
from slackwater.assessment.cautions import FORECAST
from slackwater.cli.view.lanes import lanes
from slackwater.protocol.evaluation import Evaluation, Judged
from slackwater.protocol.status import Status
from slackwater.report.sentences import (
    GUARD_WORDS,
    drain_line,
    leak_sentence,
    rule_sentence,
    rule_words,
    run_words,
    shown_status,
    value_words,
)
from slackwater.report.times import offset, shown

BOLD, DIM, PLAIN = "\x1b[1m", "\x1b[2m", "\x1b[0m"
WIDE = max(60, min(92, shutil.get_terminal_size((92, 24)).columns))
_ABOVE = ("cau-C9", "cau-C4")  # the two that stand right above the answer


def answer_text(found: Assessment, zone: tzinfo, *, colour: bool) -> str:
    """Everything a terminal shows, as one text without a closing line break."""
    warned = [textwrap.wrap(f"! {warning}", WIDE, subsequent_indent="  ") for warning in found.warnings]
    lines = [line for wrapped in warned for line in wrapped]
    lines += [drain_line(found), *_cautions_above(found), ""]
    for sentence in (leak_sentence(found, zone), rule_sentence(found, zone)):
        wrapped = textwrap.wrap(sentence, WIDE, subsequent_indent="  ")
        lines += [f"{BOLD}{line}{PLAIN}" if colour else line for line in wrapped]
    lines += _beside(found, zone)
    picture = lanes(found, zone)
    lines += ["", *picture] if picture else []
    if found.evaluation is not None:
        lines += _clauses(found.evaluation, zone)
    lines += ["", *_ledger(found)]
    below = [*_footer(found, zone)]
    lines += ["", *(f"{DIM}{line}{PLAIN}" if colour else line for line in below)]
    return "\n".join(lines)


def _cautions_above(found: Assessment) -> list[str]:
    return [line for caution in found.cautions if caution.id in _ABOVE for line in textwrap.wrap(caution.text, WIDE)]


def _beside(found: Assessment, zone: tzinfo) -> list[str]:
    """What it waits for, and every standing doubt, right under the answer."""
    lines = []
    for number, wanted in enumerate(found.waiting_for):
        lead = "  waiting for  " if not number else "               "
        lines += textwrap.wrap(wanted, WIDE, initial_indent=lead, subsequent_indent=" " * 15)
    if found.in_doubt:
        text = "; ".join(found.in_doubt)
        lines += textwrap.wrap(text, WIDE, initial_indent="  in doubt     ", subsequent_indent=" " * 15)
    if found.evaluation is not None:
        for part in found.evaluation.escalation:
            if part.status is Status.MET:
                lines.append(f"  ! {part.id}: {value_words(part)} {part.clause.say if part.clause else ''}".rstrip())
            elif part.status is Status.CANNOT_TELL:
                lines.append(f"  ▨ {part.id}: cannot tell, to be looked at")
    lines += _estimate(found)
    for note in (*found.notes, *found.chart.notes):
        lines += textwrap.wrap(note, WIDE, initial_indent="  ! ", subsequent_indent="    ")
    for due in found.schedule:
        if due.overdue:
            lines.append(f"  overdue      {due.item} ({due.often}; last {shown(due.last_ms, zone)})")
    return lines


def _estimate(found: Assessment) -> list[str]:
    """When the clauses that can be forecast are likely to hold, as a range; nothing once they do."""
    estimate = found.forecast
    if estimate is None or found.overall in (Status.MET, Status.MET_WITH_GAPS, Status.NOT_APPLICABLE):
        return []
    whole = estimate.whole
    if whole.quantiles is None:
        text = f"withheld: {whole.withheld_because}."
    else:
        low, middle, high = (_hours(whole.quantiles[name], estimate.horizon_h) for name in ("q10", "q50", "q90"))
        text = f"the recorded clauses hold in {low} to {high} from the last reading (middle {middle}). {FORECAST.text}"
    return textwrap.wrap(text, WIDE, initial_indent="  estimate     ", subsequent_indent=" " * 15)


def _hours(value: float | None, horizon_h: float) -> str:
    return f"over {horizon_h:.0f} h" if value is None else f"{value:.0f} h"


def _clauses(judged: Evaluation, zone: tzinfo) -> list[str]:
    lines: list[str] = []
    blocks = (("clauses", judged.criteria), ("guards", judged.guards), ("step-down clauses", judged.step_down))
    for title, parts in blocks:
        if parts:
            lines += ["", f"{title}"]
            for part in parts:
                lines += _clause_lines(part, judged, zone)
    if judged.protocol.guards_waived and judged.protocol.removal:
        lines += ["", "guards: none, waived by the rule. Nothing here asks whether the tube was open."]
    return lines


def _clause_lines(part: Judged, judged: Evaluation, zone: tzinfo) -> list[str]:
    name = GUARD_WORDS.get(part.id, part.id.replace("_", " "))
    detail = [rule_words(part), value_words(part), run_words(part.run, zone)]
    if part.status in (Status.MET, Status.MET_WITH_GAPS) and part.since_ms is not None:
        detail.append(f"since {shown(part.since_ms, zone)}")
    if part.clause is None and part.evidence:
        span = part.evidence[0]
        detail.append(f"last {shown(span.to_ms, zone)}" + (f" ({span.why})" if span.why else ""))
    looks = shown_status(part, judged)
    detail += [note for note in (part.note, looks.note) if note]
    text = "; ".join(piece for piece in detail if piece)
    lines = textwrap.wrap(text, WIDE - 36) or [""]
    head = f"  {name:<16} {f'{looks.shape} {looks.word}':<17}"
    out = [f"{head}{lines[0]}".rstrip(), *(f"{'':<36}{line}" for line in lines[1:])]
    for need in part.needs:
        by = f" (at the earliest {shown(need.by_ms, zone)})" if need.by_ms is not None else ""
        out += textwrap.wrap(f"→ {need.what}{by}", WIDE, initial_indent=" " * 36, subsequent_indent=" " * 38)
    return out


def _ledger(found: Assessment) -> list[str]:
    ledger = found.ledger
    lines = []
    if found.trace is not None:
        lines.append(
            f"log rows  {ledger.read} read = {ledger.used} used + {ledger.refused} refused "
            f"+ {ledger.duplicate} duplicate + {ledger.conflicting} conflicting"
        )
        lines += [f"          line {row.line}, {row.column}: {row.why}" for row in ledger.first_refused[:3]]
        for log in found.trace.logs:
            lines += textwrap.wrap(
                "; ".join(f"{log.name}: {note}" for note in log.notes),
                WIDE,
                initial_indent="          ",
                subsequent_indent="          ",
            )
    if found.chart.read:
        chart = found.chart
        lines.append(
            f"chart     {chart.read} rows read = {chart.used} used + {chart.duplicate} duplicate "
            f"+ {chart.conflicting} conflicting"
        )
    return lines


def _footer(found: Assessment, zone: tzinfo) -> list[str]:
    ms = found.as_of_ms
    as_of = f"As of {shown(ms, zone)} {offset(ms, zone)}" + (", the last reading." if found.as_of_last_reading else ".")
    texts = [as_of, *(caution.text for caution in found.cautions if caution.id not in _ABOVE)]
    return [line for text in texts for line in textwrap.wrap(text, WIDE)]
