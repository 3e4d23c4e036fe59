"""A rule in sentences, as an approver would read it back."""

from __future__ import annotations

import textwrap
from typing import Any

from slackwater.protocol.rule import Protocol
from slackwater.protocol.sentence import sentence
from slackwater.quantities.spans import format_span
from slackwater.quantities.suction import exactly

WIDE = 92


def rule_text(rule: Protocol) -> str:
    """The whole rule: whom it is for, its evidence, its guards, its clauses with their sources."""
    lines = [
        f"{rule.name} {rule.version} · status {rule.status}"
        + (f" · approved by {rule.approved_by}" if rule.approved_by else ""),
        f"source: {rule.source}",
        f"sha256: {rule.sha256}",
        *_applies(rule),
        f"data older than {format_span(rule.data_age_s)} cannot meet anything; "
        f"gaps tolerated: {format_span(rule.gaps_s)}",
        f"a run starts anew at: {', '.join(word.replace('_', ' ') for word in rule.restart_on) or 'nothing'}",
        *_guards(rule),
    ]
    blocks = (("removal", rule.removal), ("step-down", rule.step_down), ("home with the drain", rule.home),
              ("escalation", rule.escalation))  # fmt: skip
    for title, clauses in blocks:
        if clauses:
            lines += ["", f"{title}:"]
            for clause in clauses:
                lines += textwrap.wrap(
                    f"{clause.id}: {sentence(clause)}", WIDE, initial_indent="  ", subsequent_indent="      "
                )
                if clause.source:
                    lines += textwrap.wrap(
                        f"source: {clause.source}", WIDE, initial_indent="      ", subsequent_indent="      "
                    )
    if rule.schedule:
        lines += ["", "observations:"]
        for due in rule.schedule:
            lines += textwrap.wrap(due.told, WIDE, initial_indent="  ", subsequent_indent="      ")
    if rule.suction is not None:
        kept = rule.suction.kept_within
        lines += ["", f"suction that may be ordered: {rule.suction.told}"]
        lines += [] if kept is None else [f"suction counts as kept within {exactly(kept)} of the order"]
    if rule.trip is not None:
        lines += ["", f"a trip on battery: the battery must last {rule.trip.told}"]
    if rule.notes:
        lines += ["", *textwrap.wrap(rule.notes, WIDE)]
    lines += ["", "It supports decisions; clinicians and local policy decide."]
    return "\n".join(lines)


def rule_dict(rule: Protocol) -> dict[str, Any]:
    """The rule as one object: what it is, and each clause with its sentence and source."""
    blocks = {"removal": rule.removal, "step_down": rule.step_down, "home": rule.home, "escalation": rule.escalation}
    return {
        "name": rule.name, "version": rule.version, "status": rule.status, "approved_by": rule.approved_by,
        "source": rule.source, "sha256": rule.sha256, "guards": _guards(rule),
        **{
            block: [{"id": one.id, "measure": one.measure_name, "says": sentence(one), "source": one.source}
                    for one in clauses]
            for block, clauses in blocks.items()
        },
        "schedule": [due.told for due in rule.schedule],
    }  # fmt: skip


def _applies(rule: Protocol) -> list[str]:
    applies = rule.applies
    parts = []
    if applies.indication:
        parts.append(f"after {', '.join(applies.indication)}")
    if applies.spaces:
        parts.append(f"drain in: {', '.join(applies.spaces)}")
    if applies.min_age_years is not None:
        parts.append(f"age at least {applies.min_age_years:g}")
    if applies.max_age_years is not None:
        parts.append(f"age at most {applies.max_age_years:g}")
    if applies.excludes:
        parts.append(f"not with {', '.join(applies.excludes)}")
    if applies.needs:
        parts.append(f"needs {', '.join(applies.needs)}")
    return textwrap.wrap("for: " + ("; ".join(parts) if parts else "any patient"), WIDE)


def _guards(rule: Protocol) -> list[str]:
    if rule.guards_waived:
        return ["guards: NONE, waived aloud. Nothing asks whether the tube was open or effort was tried."]
    lines = []
    if rule.tube_open is not None:
        start = ", and near the start of the run" if rule.tube_open.also_at_start else ""
        lines.append(
            f"guard: tube shown open within {format_span(rule.tube_open.within_s)}{start}, "
            f"by {', '.join(rule.tube_open.by)}"
        )
    if rule.effort_seen is not None:
        lines.append(
            f"guard: a leak once seen with effort tried again within {format_span(rule.effort_seen.within_s)} "
            "and not seen"
        )
    return lines
