"""Ordered, set and delivered suction over the whole stay as one SVG: one axis of time, nothing smoothed away."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.suction import Fidelity
from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.plots import BOTTOM, TOP, Frame, grid_line, svg, ticks

COLUMNS = 600  # of the picture: each shows the least and the most of its minutes
LANE = 28.0  # how tall the lane of stretches is
ROOM = 1.15  # above the strongest suction shown
STEPS_H = (1, 2, 3, 6, 12, 24, 48, 96, 168, 336, 720, 2160)
MOST_TICKS = 8
Floats = NDArray[np.float64]


def suction_picture(found: Fidelity, zone: tzinfo, said: str) -> str:
    """The picture, its sentence as its name. Suction grows downwards."""
    known = [values[np.isfinite(values)] for values in (found.delivered, found.ordered, found.set)]
    least = min((float(np.percentile(values, 0.5)) for values in known if len(values)), default=-20.0)
    frame = Frame(min(least * ROOM, -5.0), 2.0, 0.0, float(len(found.codes)), tall=290.0)
    parts = [*_hatch(), *_levels(frame), *_times(frame, found, zone), *_kept(frame, found)]
    parts += _untold(frame, found)
    parts += _columns(frame, found.delivered)
    parts += [_steps(frame, found.set, "limit inner"), _steps(frame, found.ordered, "centre ordered")]
    parts += _lane(frame, found)
    return svg(replace(frame, tall=frame.tall + LANE - 24), said, parts, "suction")


def _floor(frame: Frame) -> float:
    """Where the picture of levels ends and the lane begins."""
    return frame.tall - BOTTOM


def _hatch() -> Iterator[str]:
    yield (
        '<defs><pattern id="untold" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<path class="hatching" d="M0 0V7"/></pattern></defs>'
    )


def _levels(frame: Frame) -> Iterator[str]:
    for tick in ticks(frame.low, 0.0):
        yield from grid_line(frame, tick, f"{tick:g}".replace("-", "−"))
    yield '<text class="soft" x="4" y="11">cmH2O, suction downwards</text>'


def _times(frame: Frame, found: Fidelity, zone: tzinfo) -> Iterator[str]:
    """Ticks at whole hours of the ward's clock."""
    minutes = len(found.codes)
    step = next((one for one in STEPS_H if minutes / 60 / one <= MOST_TICKS), STEPS_H[-1])
    first = datetime.fromtimestamp(found.start_ms / 1000, UTC).astimezone(zone)
    at = first.replace(hour=0, minute=0, second=0, microsecond=0)
    while (k := (int(at.timestamp() * 1000) - found.start_ms) / MINUTE_MS) <= minutes:
        if k >= 0:
            words = at.strftime("%a %d") if step >= 24 or not at.hour else at.strftime("%H:%M")
            x, y = frame.x(k), _floor(frame) + LANE
            yield f'<path class="grid" d="M{x:.1f} {TOP:.0f}V{y:.1f}"/>'
            yield f'<text x="{x:.1f}" y="{y + 15:.1f}" text-anchor="middle">{words}</text>'
        at += timedelta(hours=step)


def _kept(frame: Frame, found: Fidelity) -> Iterator[str]:
    """What counts as kept, round the order; nothing where no distance is named."""
    if not np.isfinite(found.within_cmh2o):
        return
    asked = np.where(np.nan_to_num(found.ordered) < 0, found.ordered, np.nan)
    for first, last, level in _runs(asked):
        top, floor = frame.y(level + found.within_cmh2o), frame.y(level - found.within_cmh2o)
        yield (
            f'<rect class="band" x="{frame.x(first):.1f}" y="{top:.1f}" width="{frame.x(last) - frame.x(first):.1f}" '
            f'height="{floor - top:.1f}"/>'
        )


def _untold(frame: Frame, found: Fidelity) -> Iterator[str]:
    for one in found.stretches:
        if one.kind == "cannot_tell":
            x, wide = _span(frame, found, one.from_ms, one.to_ms)
            tall = _floor(frame) - TOP
            yield f'<rect class="untold" x="{x:.1f}" y="{TOP:.0f}" width="{wide:.1f}" height="{tall:.1f}"/>'


def _columns(frame: Frame, delivered: Floats) -> Iterator[str]:
    """From the least to the most of the minutes in each column; nothing where nothing was recorded."""
    each = max(1, -(-len(delivered) // COLUMNS))
    path = []
    for first in range(0, len(delivered), each):
        here = delivered[first : first + each]
        here = here[np.isfinite(here)]
        if len(here):
            x, top, floor = frame.x(first + each / 2), frame.y(float(here.max())), frame.y(float(here.min()))
            path.append(f"M{x:.1f} {top - 0.8:.1f}V{floor + 0.8:.1f}")
    yield f'<path class="delivered" d="{"".join(path)}"/>'


def _steps(frame: Frame, level: Floats, kind: str) -> str:
    path = "".join(f"M{frame.x(a):.1f} {frame.y(value):.1f}H{frame.x(b):.1f}" for a, b, value in _runs(level))
    return f'<path class="{kind}" d="{path}"/>'


def _runs(level: Floats) -> Iterator[tuple[int, int, float]]:
    """First, end and value of each run of one known value."""
    if not len(level):
        return
    shown = np.where(np.isfinite(level), level, 1e9)
    edges = [0, *(np.flatnonzero(np.diff(shown)) + 1).tolist(), len(level)]
    for first, last in pairwise(edges):
        if np.isfinite(level[first]):
            yield first, last, float(level[first])


def _lane(frame: Frame, found: Fidelity) -> Iterator[str]:
    """Below the levels: every listed stretch by its number in the table; numbers that would cover each other are left
    out."""
    y, taken = _floor(frame) + 14, -100.0
    for number, one in enumerate(found.stretches, start=1):
        x, wide = _span(frame, found, one.from_ms, one.to_ms)
        yield f'<rect class="stretch {one.kind}" x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{LANE - 16:.0f}"/>'
        middle = x + wide / 2
        if middle - taken >= 16:
            yield f'<text class="number" x="{middle:.1f}" y="{y - 2:.1f}" text-anchor="middle">{number}</text>'
            taken = middle
    yield f'<text class="soft" x="4" y="{y + 10:.1f}">apart</text>'


def _span(frame: Frame, found: Fidelity, from_ms: int, to_ms: int) -> tuple[float, float]:
    first, last = ((at - found.start_ms) / MINUTE_MS for at in (from_ms, to_ms))
    return frame.x(first), max(frame.x(last) - frame.x(first), 2.5)
