"""What a picture covers: which minutes, and whether their air is judged."""

from __future__ import annotations

from slackwater.assessment.assessment import Assessment
from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.words import amount


def minutes_shown(found: Assessment) -> tuple[int, int]:
    """The first minute, and how many: whole ones up to the moment asked about, recorded or not."""
    leak = found.leak_trace
    if leak is None:
        return found.facts.grid_start_ms, found.facts.length
    start = leak.minutes.start_ms
    whole = max((found.as_of_ms - start) // MINUTE_MS, found.facts.length)
    return start, min(len(leak.minutes), whole)


def not_judged(found: Assessment) -> str | None:
    """Why no minute carries a state, if none does."""
    if found.leak_trace is None:
        return "No log of air flow: what came between the charted entries is not known."
    if found.episode.operation_kind == "pneumonectomy":
        return "After pneumonectomy air is shown as recorded and not judged."
    return None


def limit_words(found: Assessment, limit_ml_per_min: float | None) -> str:
    """What below and leaking were told by: the rule's limit, or, where none limits air, a step of the display."""
    ours = found.evaluation is None or found.evaluation.protocol.air_clause is None
    return f"{amount(limit_ml_per_min)} mL/min" + (" (one step of the display, no clinical limit)" if ours else "")
