"""The record an answer rests on: rows counted, files by their hash, and how they were cleaned."""

from __future__ import annotations

from dataclasses import dataclass

from slackwater.assessment.assessment import Assessment


@dataclass(frozen=True)
class CleaningStep:
    """One step: its name, what it was told, how many rows it touched."""

    name: str
    arguments: str
    touched: str


def record_lines(found: Assessment) -> tuple[str, ...]:
    """Log and chart rows, which add up; each file with its hash."""
    lines = []
    ledger, chart = found.ledger, found.chart
    if found.trace is not None:
        lines.append(
            f"Log: {ledger.read} rows read = {ledger.used} used + {ledger.refused} refused + {ledger.duplicate} "
            f"duplicate + {ledger.conflicting} conflicting."
        )
        lines += [f"Refused: line {row.line}, {row.column}: {row.why}." for row in ledger.first_refused]
        lines += [f"{log.name}, SHA-256 {log.sha256}" for log in found.trace.logs]
        lines += [f"{log.name}: {note}" for log in found.trace.logs for note in log.notes]
    if chart.read:
        lines.append(
            f"Chart: {chart.read} rows read = {chart.used} used + {chart.refused} refused + {chart.duplicate} "
            f"duplicate + {chart.conflicting} conflicting."
        )
        lines.append(f"{chart.name}, SHA-256 {chart.sha256}")
    if found.evaluation is not None:
        rule = found.evaluation.protocol
        lines.append(f"Rule: {rule.name} {rule.version}, {rule.status}, SHA-256 {rule.sha256}")
    return tuple(lines) or ("Nothing was read.",)


def cleaning(found: Assessment) -> tuple[CleaningStep, ...]:
    """The history of every step between the file and the minutes."""
    if found.trace is None:
        return ()
    return tuple(
        CleaningStep(step.name.replace("_", " "), step.arguments, str(step.touched)) for step in found.trace.history
    )
