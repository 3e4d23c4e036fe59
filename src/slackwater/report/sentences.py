"""What is said of one drain, in sentences: one source for every door, so that they cannot disagree."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from slackwater.assessment.assessment import Assessment, LeakNow
from slackwater.episode.types import Episode
from slackwater.protocol.evaluation import Evaluation, Judged, Run
from slackwater.protocol.status import HOLDS, Status
from slackwater.quantities.spans import format_span
from slackwater.report.extent import limit_words, not_judged
from slackwater.report.times import shown
from slackwater.report.words import REASON_WORDS, SHAPES, bounds, likelihood

GUARD_WORDS = {"tube_open": "tube shown open", "effort_seen": "effort tried"}
GOOD = (*HOLDS, Status.NOT_APPLICABLE)  # nothing is wanting
BEHIND_SHUT = "it does not count while the tube is not shown open: a cough behind a shut tube shows no air"


def drain_line(found: Assessment) -> str:
    return drain_words(found.episode)


def drain_words(episode: Episode) -> str:
    """Whose drain, and which."""
    parts = [
        f"Patient {episode.patient_id}" if episode.patient_id else "Patient not named",
        f"drain {episode.drain_number}" if episode.drain_number else "drain not numbered",
        episode.side or "side not recorded",
        episode.space or "space not recorded",
        *([episode.site] if episode.site else []),
    ]
    return " · ".join(parts)


def leak_sentence(found: Assessment, zone: tzinfo) -> str:
    leak = found.leak
    if found.leak_trace is not None and (why_not := not_judged(found)) is not None:
        return f"Air leak: not judged; {why_not[0].lower()}{why_not[1:]}"
    if leak.at_ms is None:
        return "Air leak: cannot tell; no log, or nothing recorded in it."
    if leak.state == "leaking":
        return f"Air leak: leaking, {flow_words(leak)} at {shown(leak.at_ms, zone)}."
    limit = limit_words(found, leak.limit)
    if leak.state == "quiet":
        return (
            f"Air leak: below limit, recorded flow {flow_words(leak)} against {limit} "
            f"at {shown(leak.at_ms, zone)}; {likelihood(leak.p)}."
        )
    if leak.out_of_date:
        return f"Air leak: cannot tell; nothing was recorded since {shown(leak.at_ms, zone)}."
    why = REASON_WORDS[leak.reason] or f"a reading of {flow_words(leak)} straddles {limit}"
    return f"Air leak: cannot tell at {shown(leak.at_ms, zone)}; {why}."


def flow_words(leak: LeakNow) -> str:
    """Bounds of the recorded flow: one number for every page and sheet."""
    return bounds(leak.low, leak.high, "mL/min", leak.limit)


def rule_sentence(found: Assessment, zone: tzinfo) -> str:
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
        return f"Rule: criteria of {label} {judged.overall.said} on recorded data since {since}."
    return f"Rule: criteria of {label}: {judged.overall.said}."


@dataclass(frozen=True)
class Shown:
    """How a part's status looks. `note`: why it looks otherwise than by its own status; else ''."""

    shape: str
    word: str
    tone: str
    note: str = ""


def shown_status(part: Judged, judged: Evaluation) -> Shown:
    """Shape and word of a clause or guard.

    An effort without air says nothing of a lung behind a shut tube: while the tube is not shown open it does not look
    satisfied. The verdict does not rest on this; the guard on the tube keeps it.
    """
    tube = next((one for one in judged.guards if one.id == "tube_open"), None)
    if part.id == "effort_seen" and part.status in HOLDS and tube is not None and tube.status not in GOOD:
        return Shown(SHAPES[Status.CANNOT_TELL], "not counted", Status.CANNOT_TELL.word, BEHIND_SHUT)
    return Shown(SHAPES[part.status], part.status.said, part.status.word)


def rule_words(part: Judged) -> str:
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


def value_words(part: Judged) -> str:
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
    limit = None if part.clause is None else part.clause.limit
    return f"{lead}{bounds(value.low, value.high, value.unit, limit)}"


def run_words(run: Run | None, zone: tzinfo) -> str:
    if run is None:
        return ""
    text = f"run {format_span(run.seconds)} of {format_span(run.needed_seconds)}"
    if run.seconds > 0:
        text += f" from {shown(run.since_ms, zone)}"
    if run.missing_minutes:
        text += f", {run.missing_minutes} min unknown in the span needed"
    return text


def items_to_act_on(found: Assessment) -> tuple[str, ...]:
    """Escalation clauses that a recorded value has fired, and those that cannot be told: somebody looks at both."""
    if found.evaluation is None:
        return ()
    lines = []
    for part in found.evaluation.escalation:
        name = part.id.replace("_", " ")
        if part.status is Status.MET:
            say = part.clause.say if part.clause is not None else ""
            lines.append(f"{name}: {value_words(part)} {say}".rstrip())
        elif part.status is Status.CANNOT_TELL:
            lines.append(f"{name}: cannot tell, to be looked at")
    return tuple(lines)
