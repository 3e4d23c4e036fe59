"""The terminal answer: one line first, with doubts, missing and guards beside it."""

from __future__ import annotations

import shutil
import textwrap
from datetime import tzinfo

from slackwater.assessment.assessment import Assessment
from slackwater.assessment.cautions import FORECAST
from slackwater.cli.instants import offset, shown
from slackwater.cli.view.lanes import lanes
from slackwater.cli.view.words import (
    BOLD,
    DIM,
    PLAIN,
    REASON_WORDS,
    WORDS,
    amount,
    bounds,
    likelihood,
    status_text,
)
from slackwater.protocol.evaluation import Evaluation, Judged, Run
from slackwater.protocol.status import Status
from slackwater.quantities.spans import format_span

WIDE = max(60, min(92, shutil.get_terminal_size((92, 24)).columns))
_ABOVE = ("cau-C9", "cau-C4")  # the two that stand right above the answer
_GUARD_WORDS = {"tube_open": "tube shown open", "effort_seen": "effort tried"}


def answer_text(found: Assessment, zone: tzinfo, *, colour: bool) -> str:
    """Everything a terminal shows, as one text without a closing line break."""
    warned = [textwrap.wrap(f"! {warning}", WIDE, subsequent_indent="  ") for warning in found.warnings]
    lines = [line for wrapped in warned for line in wrapped]
    lines += [_drain_line(found), *_cautions_above(found), ""]
    for sentence in (_leak_sentence(found, zone), _rule_sentence(found, zone)):
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


def _drain_line(found: Assessment) -> str:
    episode = found.episode
    parts = [
        f"Patient {episode.patient_id}" if episode.patient_id else "Patient not named",
        f"drain {episode.drain_number}" if episode.drain_number else "drain not numbered",
        episode.side or "side not recorded",
        episode.space or "space not recorded",
        *([episode.site] if episode.site else []),
    ]
    return " · ".join(parts)


def _cautions_above(found: Assessment) -> list[str]:
    return [line for caution in found.cautions if caution.id in _ABOVE for line in textwrap.wrap(caution.text, WIDE)]


def _leak_sentence(found: Assessment, zone: tzinfo) -> str:
    leak = found.leak
    if leak.at_ms is None:
        return "Air leak: cannot tell; no log, or nothing recorded in it."
    if leak.state == "leaking":
        return f"Air leak: leaking, {bounds(leak.low, leak.high, 'mL/min')} at {shown(leak.at_ms, zone)}."
    limit = f"{amount(leak.limit)} mL/min"
    if found.evaluation is None:
        limit += " (one step of the display, no clinical limit)"
    if leak.state == "quiet":
        return (
            f"Air leak: below limit, recorded flow {bounds(leak.low, leak.high, 'mL/min')} against {limit} "
            f"at {shown(leak.at_ms, zone)}; {likelihood(leak.p)}."
        )
    why = REASON_WORDS[leak.reason] or f"a reading of {bounds(leak.low, leak.high, 'mL/min')} straddles {limit}"
    return f"Air leak: cannot tell at {shown(leak.at_ms, zone)}; {why}."


def _rule_sentence(found: Assessment, zone: tzinfo) -> str:
    judged = found.evaluation
    if judged is None:
        return "Rule: none was asked for."
    rule = judged.protocol
    label = f"{rule.name}" + ("" if rule.status == "approved" else f" ({rule.status}, NOT APPROVED)")
    if not rule.removal:
        return f"Rule: {label} has no removal clauses."
    if judged.overall is Status.NOT_APPLICABLE:
        return f"Rule: {label} does not apply: {'; '.join(judged.population.reasons)}."
    if judged.overall in (Status.MET, Status.MET_WITH_GAPS):
        since = shown(judged.met_since_ms, zone)
        return f"Rule: criteria of {label} {WORDS[judged.overall]} on recorded data since {since}."
    return f"Rule: criteria of {label}: {WORDS[judged.overall]}."


def _beside(found: Assessment, zone: tzinfo) -> list[str]:
    """What it waits for, and every standing doubt, right under the answer."""
    lines = []
    for number, wanted in enumerate(found.waiting_for):
        lead = "  waiting for  " if not number else "               "
        lines += textwrap.wrap(wanted, WIDE, initial_indent=lead, subsequent_indent=" " * 15)
    if found.evaluation is not None:
        for part in found.evaluation.escalation:
            if part.status is Status.MET:
                lines.append(f"  ! {part.id}: {_value(part)} {part.clause.say if part.clause else ''}".rstrip())
            elif part.status is Status.CANNOT_TELL:
                lines.append(f"  ▨ {part.id}: cannot tell, to be looked at")
    lines += _estimate(found)
    for note in (*found.notes, *found.chart.notes):
        lines += textwrap.wrap(note, WIDE, initial_indent="  ! ", subsequent_indent="    ")
    for due in found.schedule:
        if due.overdue:
            lines.append(
                f"  overdue      {due.item} (every {format_span(due.every_s)}; last {shown(due.last_ms, zone)})"
            )
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
                lines += _clause_lines(part, zone)
    if judged.protocol.guards_waived and judged.protocol.removal:
        lines += ["", "guards: none, waived by the rule. Nothing here asks whether the tube was open."]
    return lines


def _clause_lines(part: Judged, zone: tzinfo) -> list[str]:
    name = _GUARD_WORDS.get(part.id, part.id.replace("_", " "))
    detail = [_rule_words(part), _value(part), _run_words(part.run, zone)]
    if part.status in (Status.MET, Status.MET_WITH_GAPS) and part.since_ms is not None:
        detail.append(f"since {shown(part.since_ms, zone)}")
    if part.clause is None and part.evidence:
        span = part.evidence[0]
        detail.append(f"last {shown(span.to_ms, zone)}" + (f" ({span.why})" if span.why else ""))
    if part.note:
        detail.append(part.note)
    text = "; ".join(piece for piece in detail if piece)
    lines = textwrap.wrap(text, WIDE - 36) or [""]
    head = f"  {name:<16} {status_text(part.status):<17}"
    out = [f"{head}{lines[0]}".rstrip(), *(f"{'':<36}{line}" for line in lines[1:])]
    for need in part.needs:
        by = f" (at the earliest {shown(need.by_ms, zone)})" if need.by_ms is not None else ""
        out += textwrap.wrap(f"→ {need.what}{by}", WIDE, initial_indent=" " * 36, subsequent_indent=" " * 38)
    return out


def _rule_words(part: Judged) -> str:
    clause = part.clause
    if clause is None:
        return ""
    text = f"{clause.measure_name.replace('_', ' ')} {clause.comparison.replace('_', ' ')} {clause.limit_text}".rstrip()
    if clause.bin_min:
        text += f" ({clause.bin_min}-min mean)"
    if clause.lasting_s:
        text += f" for {format_span(clause.lasting_s)}"
    if clause.within_s:
        text += f" within {format_span(clause.within_s)}"
    return text


def _value(part: Judged) -> str:
    value = part.value
    if value is None:
        return ""
    if value.word is not None:
        return f"charted {value.word.replace('_', ' ')}"
    if value.unit == "s":
        return f"{format_span(value.low or 0)}" if value.high is not None else "not known"
    if value.low is None or value.low != value.low:
        return ""
    lead = "largest " if part.run is not None else ""
    return f"{lead}{bounds(value.low, value.high, value.unit)}"


def _run_words(run: Run | None, zone: tzinfo) -> str:
    if run is None:
        return ""
    text = f"run {format_span(run.seconds)} of {format_span(run.needed_seconds)}"
    if run.seconds > 0:
        text += f" from {shown(run.since_ms, zone)}"
    if run.missing_minutes:
        text += f", {run.missing_minutes} min unknown in the span needed"
    return text


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
