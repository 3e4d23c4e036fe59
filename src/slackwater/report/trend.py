"""The last day of the leak as a picture the size of a line, and the same in a sentence.

Flow on a log-like scale that is the same on every drain, so that shapes can be compared; the rule's limit as a line.
What was not recorded is hatched, and no line crosses it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import tzinfo
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.leak.state import LeakTrace
from slackwater.leak.stretches import stretches
from slackwater.leak.words import CANNOT_TELL, LEAKING, QUIET
from slackwater.quantities.spans import MINUTE_MS, format_span
from slackwater.report.extent import not_judged
from slackwater.report.times import shown
from slackwater.report.words import amount

SPAN_MIN, STEP_MIN = 24 * 60, 15  # steps lie on the clock's quarters, so that the picture stands still
WIDE, TALL, EDGE = 960.0, 200.0, 10.0  # units of the picture: whole numbers keep it small
KNEE, TOP = 5.0, 4000.0  # mL/min: below the knee the scale is even, above it as a logarithm; more is drawn at the top
_STATES = ((LEAKING, "leaking"), (QUIET, "below limit"), (CANNOT_TELL, "cannot tell"))
HATCH = "round-hatch"  # the page holds the pattern of this name once


@dataclass(frozen=True)
class Trend:
    """`svg` is hidden from who reads by ear, for `sentence` says the same; without a log it is ''."""

    svg: str
    sentence: str


def trend(found: Assessment, zone: tzinfo) -> Trend:
    """The last 24 h up to the moment asked about."""
    leak, why_not = found.leak_trace, not_judged(found)
    if leak is None:
        return Trend("", str(why_not))
    end = (found.as_of_ms - leak.minutes.start_ms) // MINUTE_MS
    last = min(len(leak.minutes), max(0, end))
    first = max(0, last - SPAN_MIN)
    sentence = _sentence(leak, slice(first, last), why_not, zone)
    return Trend(_svg(leak, first, last), sentence)


def spent(leak: LeakTrace, part: slice) -> list[str]:
    """How long the air was in which state."""
    minutes = ((word, int((leak.state[part] == code).sum())) for code, word in _STATES)
    return [f"{word} {format_span(60.0 * count)}" for word, count in minutes if count]


def _sentence(leak: LeakTrace, part: slice, why_not: str | None, zone: tzinfo) -> str:
    count = part.stop - part.start
    largest = leak.minutes.flow_max[part]
    said = []
    if why_not is not None:
        said.append("air is shown and not judged")
    else:
        said += spent(leak, part)
    if np.isfinite(largest).any():
        at = int(np.nanargmax(largest))
        moment = shown(leak.minutes.start_ms + (part.start + at) * MINUTE_MS, zone, day=False)
        said.append(f"largest {amount(float(largest[at]))} mL/min at {moment}")
    else:
        said.append("no air flow was recorded, which is not a flow of zero")
    return f"Last {format_span(60.0 * count)}: {', '.join(said)}."


def _svg(leak: LeakTrace, first: int, last: int) -> str:
    """Mean and largest flow of each quarter of an hour; hatching where nothing was recorded or it cannot be told."""
    if last <= first:
        return ""
    start = leak.minutes.start_ms // MINUTE_MS
    quarter = (start + np.arange(first, last)) // STEP_MIN
    edges = [0, *(np.flatnonzero(np.diff(quarter)) + 1).tolist(), last - first]
    means, peaks, unsure = [], [], []
    for a, b in pairwise(edges):
        part = slice(first + a, first + b)
        flow = leak.minutes.flow[part]
        known = np.isfinite(flow)
        means.append(float(flow[known].mean()) if known.any() else math.nan)
        peaks.append(float(leak.minutes.flow_max[part][known].max()) if known.any() else math.nan)
        unsure.append(bool((leak.state[part] == CANNOT_TELL).mean() >= 0.5))
    # x of each step's middle, now at the right edge
    x = [WIDE * (1 - (last - first - (a + b) / 2) / SPAN_MIN) for a, b in pairwise(edges)]
    left = [WIDE * (1 - (last - first - edge) / SPAN_MIN) for edge in edges]
    y, top = [_y(value) for value in means], [_y(value) for value in peaks]
    known_steps = np.array([math.isfinite(value) for value in means], dtype=np.bool_)
    limit = _y(leak.limit_ml_per_min)
    return (
        f'<svg class="trend" viewBox="0 0 {WIDE:.0f} {TALL:.0f}" aria-hidden="true">'
        f'<path class="ground" d="M0 {TALL - EDGE:.0f}H{WIDE:.0f}"/>'
        f"{_hatched(np.array(unsure, dtype=np.bool_) | ~known_steps, left)}"
        f'<path class="limit" d="M0 {limit:.0f}H{WIDE:.0f}"/>'
        f'<path class="most" d="{_line(known_steps, x, top)}"/>'
        f'<path class="mean" d="{_line(known_steps, x, y)}"/></svg>'
    )


def _y(flow: float) -> float:
    """Height of a flow [mL/min]; NaN stays NaN."""
    if math.isnan(flow):
        return flow
    share = math.log1p(min(max(flow, 0.0), TOP) / KNEE) / math.log1p(TOP / KNEE)
    return TALL - EDGE - (TALL - 2 * EDGE) * share


def _line(known: NDArray[np.bool_], x: list[float], y: list[float]) -> str:
    """A path for each stretch that was recorded: none crosses what was not. A lone step is a short dash."""
    out = []
    for a, b in stretches(known):
        points = [(round(x[i]), round(y[i])) for i in range(a, b)]
        out.append(f"M{points[0][0]} {points[0][1]}")
        out += [f"l{to[0] - at[0]} {to[1] - at[1]}" for at, to in pairwise(points)] if b - a > 1 else ["h8"]
    return "".join(out).replace(" -", "-")


def _hatched(flags: NDArray[np.bool_], left: list[float]) -> str:
    return "".join(
        f'<rect class="unsure" fill="url(#{HATCH})" x="{left[a]:.0f}" y="0" width="{left[b] - left[a]:.0f}" '
        f'height="{TALL:.0f}"/>'
        for a, b in stretches(flags)
    )
