"""Why minutes were distrusted, in sentences a nurse can read, with where they lie."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.leak.stretches import stretches
from slackwater.leak.words import CANNOT_TELL, NO_REASON, REASONS
from slackwater.quantities.spans import MINUTE_MS, format_span
from slackwater.report.extent import minutes_shown, not_judged
from slackwater.report.times import between
from slackwater.report.words import REASON_SENTENCES

MOST_SPANS = 5  # the longest of each reason are listed (ours)
LATE_H = 8  # what is late in a stay (ours)


@dataclass(frozen=True)
class Stretch:
    """Where one doubt lies."""

    from_ms: int
    to_ms: int
    when: str


@dataclass(frozen=True)
class DoubtLine:
    """One reason: how long in all, what it means, and its longest stretches."""

    reason: str
    minutes: str
    says: str
    spans: tuple[Stretch, ...]
    others: int


def doubt_lines(found: Assessment, zone: tzinfo) -> tuple[DoubtLine, ...]:
    """One line a reason, the longest first; minutes whose cell straddles the limit are told apart."""
    leak = found.leak_trace
    if leak is None:
        return ()
    lines = []
    for code, word in enumerate(REASONS):
        flags = leak.doubt.reason == code if code != NO_REASON else (leak.state == CANNOT_TELL) & (leak.reason == code)
        total = int(flags.sum())
        if not total:
            continue
        spans = sorted(stretches(flags), key=lambda span: span[0] - span[1])
        start = leak.minutes.start_ms
        shown_ = tuple(
            Stretch(a, b, between(a, b, zone))
            for a, b in sorted((start + i * MINUTE_MS, start + j * MINUTE_MS) for i, j in spans[:MOST_SPANS])
        )
        says, others = REASON_SENTENCES[word], len(spans) - len(shown_)
        lines.append((total, DoubtLine(word, format_span(60.0 * total), says, shown_, others)))
    return tuple(line for _, line in sorted(lines, key=lambda pair: -pair[0]))


def unsure_sentence(found: Assessment) -> str:
    """How much of the stay, and of its last hours, could not be told; '' where no minute was judged or doubted."""
    leak = found.leak_trace
    if leak is None or not_judged(found) is not None:
        return ""
    _, count = minutes_shown(found)
    unsure = leak.state[:count] == CANNOT_TELL
    if not unsure.any():
        return ""
    whole = f"{_hours(unsure)} of {format_span(60.0 * count)} cannot be told"
    if count <= 60 * LATE_H:
        return f"{whole}."
    late = unsure[-60 * LATE_H :]
    return f"{whole}, {_hours(late) if late.any() else 'none'} of it in the last {LATE_H} h."


def _hours(flags: NDArray[np.bool_]) -> str:
    return format_span(60.0 * int(flags.sum()))


def no_doubts(found: Assessment) -> str:
    """What is said where no minute was distrusted."""
    leak = found.leak_trace
    if leak is None:
        return "No log was read."
    n = len(leak.minutes)
    return f"None of {n} minutes was distrusted or missing." if n and not np.any(leak.state == CANNOT_TELL) else ""
