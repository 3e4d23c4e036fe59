"""Steps of suction as rows of a table."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from slackwater.assessment.assessment import Assessment
from slackwater.assessment.suction_steps import Side
from slackwater.report.times import shown


@dataclass(frozen=True)
class StepRow:
    """Before → after, in words."""

    from_ms: int
    to_ms: int
    when: str
    minutes: str
    pressure: str
    flow: str
    largest: str
    conductance: str


def step_rows(found: Assessment, zone: tzinfo) -> tuple[StepRow, ...]:
    """One row a step."""
    rows = []
    for step in found.suction_steps:
        before, after = step.before, step.after
        if before is None or after is None:
            few = f"cannot tell: {step.minutes} assessable minutes"
            around = (step.at_ms - 7_200_000, step.at_ms + 7_200_000)
            rows.append(StepRow(*around, shown(step.at_ms, zone), few, "", "", "", ""))
            continue
        rows.append(
            StepRow(
                before.from_ms,
                after.to_ms,
                shown(step.at_ms, zone),
                str(step.minutes),
                _both(before, after, "pressure", 1),
                _both(before, after, "flow", 0),
                _both(before, after, "largest", 0),
                _both(before, after, "conductance", 2),
            )
        )
    return tuple(rows)


def _both(before: Side, after: Side, name: str, digits: int) -> str:
    def text(value: float | None) -> str:
        return "not recorded" if value is None else f"{value:.{digits}f}".replace("-", "−")

    return f"{text(getattr(before, name))} → {text(getattr(after, name))}"
