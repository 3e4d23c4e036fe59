"""The picture on a terminal: flow on a log-like scale in braille, with doubt and the run below it.

One continuous time axis for the whole stay. A column that holds any doubtful or missing minute shows
doubt first, then leak: nothing hides behind an average.
"""

from __future__ import annotations

import math
from datetime import tzinfo

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.leak.words import CANNOT_TELL, LEAKING, MISSING
from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.times import shown

ROWS = 4  # text rows of braille: 16 dots high
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))


def lanes(found: Assessment, zone: tzinfo, width: int = 64, *, judged: bool = True) -> list[str]:
    """Lines of the picture; empty without a log. `judged`: with the state and the run; else as recorded alone."""
    leak = found.leak_trace
    if leak is None or not len(leak.minutes):
        return []
    minutes = leak.minutes
    n = len(minutes)
    width = min(width, max(8, math.ceil(n / 2)))
    edges = np.linspace(0, n, 2 * width + 1).astype(int)
    peak = np.array(
        [
            _largest(minutes.flow_max[a:b])
            for a, b in zip(edges[:-1], np.maximum(edges[1:], edges[:-1] + 1), strict=True)
        ]
    )
    mean = np.array(
        [_largest(minutes.flow[a:b]) for a, b in zip(edges[:-1], np.maximum(edges[1:], edges[:-1] + 1), strict=True)]
    )
    top = max(2.0 * leak.limit_ml_per_min, float(np.nanmax(peak)) if np.isfinite(peak).any() else 0.0)
    scale = leak.limit_ml_per_min / 4
    rows = _braille(mean, peak, top, scale, width)
    limit_row = ROWS - 1 - min(ROWS - 1, int(_height(leak.limit_ml_per_min, top, scale) * ROWS))
    labels = [""] * ROWS
    labels[0] = f"{top:.0f}"
    labels[-1] = "0"
    if not labels[limit_row]:
        rule = None if found.evaluation is None else found.evaluation.protocol.air_clause
        labels[limit_row] = f"{'step' if rule is None else 'limit'} {leak.limit_ml_per_min:g}"
    out = [f"{label:>10} ┤{row}" for label, row in zip(labels, rows, strict=True)]
    column = np.linspace(0, n, width + 1).astype(int)
    spans = list(zip(column[:-1], np.maximum(column[1:], column[:-1] + 1), strict=True))
    if judged:
        out.append(f"{'state':>10} ┤" + "".join(_state(leak.state[a:b], leak.reason[a:b]) for a, b in spans))
    run = _run(found) if judged else None
    if run is not None:
        out.append(
            f"{'run':>10} ┤" + "".join("━" if run <= a and b <= found.facts.length + 1 else " " for a, b in spans)
        )
    start, end = minutes.start_ms, minutes.start_ms + n * MINUTE_MS
    left, right = shown(start, zone), shown(end, zone)
    out.append(f"{'':>11} └{left}{'─' * max(1, width - len(left) - len(right))}{right}")
    out.append(f"{'':>12}air flow, mL/min: mean (solid to) and peak of each stretch, log-like scale")
    if not judged:
        return out
    out.append(
        f"{'':>12}█ leaking   · below limit   ▨ cannot tell   (blank) nothing recorded"
        + ("   ━ run" if run is not None else "")
    )
    return out


def _largest(values: NDArray[np.float64]) -> float:
    known = values[np.isfinite(values)]
    return float(known.max()) if len(known) else float("nan")


def _height(value: float, top: float, scale: float) -> float:
    """0..1 on an asinh scale: near zero it is even, above the limit it is logarithmic."""
    return math.asinh(max(value, 0.0) / scale) / math.asinh(top / scale) if top > 0 else 0.0


def _braille(mean: NDArray[np.float64], peak: NDArray[np.float64], top: float, scale: float, width: int) -> list[str]:
    cells = [[0] * width for _ in range(ROWS)]
    for x in range(2 * width):
        if not np.isfinite(mean[x]):
            continue
        high = 4 * ROWS - 1
        solid = round(_height(mean[x], top, scale) * high)
        dot = round(_height(peak[x], top, scale) * high) if np.isfinite(peak[x]) else solid
        for y in {*range(solid + 1), dot}:
            row, part = divmod(high - y, 4)
            cells[row][x // 2] |= _DOTS[part][x % 2]
    return ["".join(chr(0x2800 + cell) for cell in row) for row in cells]


def _state(states: NDArray[np.int8], reasons: NDArray[np.int8]) -> str:
    if (states == CANNOT_TELL).any():
        return " " if (reasons == MISSING).all() else "▨"
    return "█" if (states == LEAKING).any() else "·"


def _run(found: Assessment) -> int | None:
    """First minute of the run below the limit, if the rule has a lasting air clause and one is under way."""
    if found.evaluation is None or found.leak_trace is None:
        return None
    for part in found.evaluation.criteria:
        if part.run is not None and part.run.seconds > 0:
            return (part.run.since_ms - found.leak_trace.minutes.start_ms) // MINUTE_MS
    return None
