"""The trace as a drawing for paper: lines, shapes and hatching, so that black and white is enough.

No text of a record is in it: what was done and seen is numbered, and listed under it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.leak.state import LeakTrace
from slackwater.leak.stretches import stretches
from slackwater.leak.words import CANNOT_TELL, LEAKING
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS
from slackwater.report.extent import minutes_shown, not_judged
from slackwater.report.fluid import fluid_record, fluid_steps
from slackwater.report.pack import ordered
from slackwater.report.plots import ticks
from slackwater.report.told import picture_sentence
from slackwater.report.trend import KNEE
from slackwater.report.words import amount

WIDE, LEFT, RIGHT = 760.0, 64.0, 14.0
STEPS = 360  # columns of the drawing; each shows the mean and the largest of its minutes
TICKS = (0.0, 10.0, 50.0, 100.0, 500.0, 1000.0, 4000.0)
FONT = 'font-family="DejaVu Sans, sans-serif" font-size="10"'


@dataclass(frozen=True)
class Lane:
    """A strip of the drawing: values from `low` to `high` between y `bottom` and y `top`."""

    top: float
    bottom: float
    low: float
    high: float
    log_like: bool = False

    def y(self, value: float) -> float:
        low, high, value = (self._scaled(one) for one in (self.low, self.high, min(max(value, self.low), self.high)))
        return self.bottom - (self.bottom - self.top) * (value - low) / ((high - low) or 1.0)

    def _scaled(self, value: float) -> float:
        return math.log1p(value / KNEE) if self.log_like else value


@dataclass(frozen=True)
class Axis:
    """The time from left to right. [UTC ms]"""

    from_ms: int
    until_ms: int

    def x(self, ms: float) -> float:
        share = (ms - self.from_ms) / max(1, self.until_ms - self.from_ms)
        return LEFT + (WIDE - LEFT - RIGHT) * min(1.0, max(0.0, share))


def drawing(
    found: Assessment, zone: tzinfo, from_ms: int, until_ms: int, numbered: Sequence[int] = (),
    about_ms: int | None = None,
) -> str:  # fmt: skip
    """SVG of these hours; '' where nothing was recorded in them. `numbered`: moments marked 1, 2, 3 ...

    about_ms: the one moment that it is all about, marked from top to bottom.
    """
    start, count = minutes_shown(found)
    first = max(0, (from_ms - start) // MINUTE_MS)
    last = min(count, -((start - until_ms) // MINUTE_MS))
    axis = Axis(from_ms, until_ms)
    fluid = list(_fluid(found, axis, Lane(222.0, 268.0, 0.0, 1.0)))
    leak = found.leak_trace
    if (leak is None or last <= first) and not fluid:
        return ""
    out = [*_hours(axis, zone)]
    if leak is not None and last > first:
        edges = np.unique(np.linspace(first, last, min(STEPS, last - first) + 1).astype(np.int64)).tolist()
        out += _air(found, leak, edges, axis)
        out += _states(found, leak, edges, axis)
        out += _pressure(found, leak, edges, axis)
    else:
        out.append(_text(LEFT + 6, 90, "no log of air flow in these hours"))
    out += fluid
    out += _numbers(axis, numbered)
    if about_ms is not None:
        out += _about(axis, about_ms)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:.0f} 318" {FONT} fill="#000">'
        '<defs><pattern id="doubt" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect width="6" height="6" fill="#fff"/><path d="M0 0V6" stroke="#333" stroke-width="2.4"/></pattern></defs>'
        f"{''.join(out)}</svg>"
    )


def says(found: Assessment, zone: tzinfo) -> str:
    """The whole course in one sentence, as beside the picture on the screen."""
    return picture_sentence(found, zone)


# --- parts ----------------------------------------------------------------------------------------


def _text(x: float, y: float, words: str, anchor: str = "start", weight: str = "") -> str:
    bold = ' font-weight="700"' if weight else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{bold}>{words}</text>'


def _path(d: str, wide: float, tone: str = "#000", dash: str = "") -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{d}" fill="none" stroke="{tone}" stroke-width="{wide:g}"{dashed}/>'


def _hours(axis: Axis, zone: tzinfo) -> Iterator[str]:
    """A line at whole hours of the ward's clock, so many apart that their names do not touch."""
    hours = (axis.until_ms - axis.from_ms) / HOUR_MS
    apart = next(
        (step for step in (0.5, 1, 2, 3, 6, 12, 24, 48, 96) if hours / step <= 10), 24 * math.ceil(hours / 240)
    )
    step = round(apart * HOUR_MS)
    ahead = datetime.fromtimestamp(axis.from_ms / 1000, zone).utcoffset()
    offset = 0 if ahead is None else round(ahead.total_seconds() * 1000)
    at = -((-(axis.from_ms + offset)) // step) * step - offset
    while at <= axis.until_ms:
        x, moment = axis.x(at), datetime.fromtimestamp(at / 1000, zone)
        yield _path(f"M{x:.1f} 14V284", 0.5, "#bbb")
        words = moment.strftime("%a %d %b") if moment.hour == moment.minute == 0 else moment.strftime("%H:%M")
        if LEFT + 8 < x < WIDE - RIGHT - 12:
            yield _text(x, 314, words, "middle", "b" if moment.hour == moment.minute == 0 else "")
        at += step


def _frame_of(lane: Lane, axis: Axis, name: str, unit: str, marks: Sequence[float]) -> Iterator[str]:
    right = axis.x(axis.until_ms)
    yield _path(f"M{LEFT:.1f} {lane.top:.1f}V{lane.bottom:.1f}H{right:.1f}", 0.8)
    yield _text(4, lane.top + 4, name, weight="b")
    yield _text(4, lane.top + 16, unit)
    taken: list[float] = []
    for mark in sorted(marks, key=lambda value: (value not in (0.0, max(marks)), value)):
        y = lane.y(mark)
        if lane.top + 22 > y > lane.top - 1 and lane.bottom - lane.top < 70 and mark != max(marks):
            continue
        if all(abs(y - other) > 10 for other in taken):
            taken.append(y)
            yield _text(LEFT - 4, y + 3.5, amount(mark).replace("-", "−"), "end")


def _air(found: Assessment, leak: LeakTrace, edges: list[int], axis: Axis) -> Iterator[str]:
    """Mean of each column thick, its largest reading thin; the rule's limit dashed. No line crosses a gap."""
    flow, most = leak.minutes.flow, leak.minutes.flow_max
    peaks = [_known(most[a:b], np.max) for a, b in pairwise(edges)]
    high = max([leak.limit_ml_per_min * 1.6, 20.0, *(one for one in peaks if math.isfinite(one))])
    lane = Lane(20.0, 138.0, 0.0, high, log_like=True)
    marks = [tick for tick in TICKS if tick <= high and abs(lane.y(tick) - lane.y(leak.limit_ml_per_min)) > 10]
    yield from _frame_of(lane, axis, "Air leak", "mL/min", [*marks, *([high] if not marks else [])])
    if found.evaluation is not None and found.evaluation.protocol.air_clause is not None:
        y = lane.y(leak.limit_ml_per_min)
        yield _path(f"M{LEFT:.1f} {y:.1f}H{axis.x(axis.until_ms):.1f}", 1.0, "#000", "6 4")
        yield _text(LEFT - 4, y + 3.5, amount(leak.limit_ml_per_min), "end", "b")
    x = _middles(leak, edges, axis)
    yield _path(_line(x, [lane.y(one) if math.isfinite(one) else one for one in peaks]), 0.5, "#555")
    means = [_known(flow[a:b], np.mean) for a, b in pairwise(edges)]
    yield _path(_line(x, [lane.y(one) if math.isfinite(one) else one for one in means]), 1.5)


def _states(found: Assessment, leak: LeakTrace, edges: list[int], axis: Axis) -> Iterator[str]:
    """Leaking: solid; below limit: empty; cannot tell: hatched. A column shows the gravest of its minutes."""
    yield _text(4, 157, "State", weight="b")
    if not_judged(found) is not None:
        yield _text(LEFT + 6, 157, "shown and not judged")
        return
    right = axis.x(axis.until_ms)
    yield f'<rect x="{LEFT:.1f}" y="148" width="{right - LEFT:.1f}" height="12" fill="none" stroke="#000"/>'
    columns = [leak.state[a:b] for a, b in pairwise(edges)]
    leaking = np.array([bool((one == LEAKING).any()) for one in columns])
    unsure = np.array([bool((one == CANNOT_TELL).any()) for one in columns]) & ~leaking
    x = [axis.x(leak.minutes.start_ms + edge * MINUTE_MS) for edge in edges]
    for flags, fill in ((leaking, "#2b1740"), (unsure, "url(#doubt)")):
        for a, b in stretches(flags):
            yield f'<rect x="{x[a]:.1f}" y="148" width="{x[b] - x[a]:.1f}" height="12" fill="{fill}" stroke="none"/>'


def _pressure(found: Assessment, leak: LeakTrace, edges: list[int], axis: Axis) -> Iterator[str]:
    """Smallest to largest measured pressure as a grey band, its mean as a line; what was ordered, dashed."""
    lowest, highest, mean = leak.minutes.pressure_min, leak.minutes.pressure_max, leak.minutes.pressure
    lows = [_known(lowest[a:b], np.min) for a, b in pairwise(edges)]
    highs = [_known(highest[a:b], np.max) for a, b in pairwise(edges)]
    orders = [(at, level) for at, level, _ in ordered(found) if at < axis.until_ms]
    known = [one for one in (*lows, *highs) if math.isfinite(one)]
    levels = [level for _, level in orders if level is not None]
    low, high = min([*known, *levels, -1.0]) * 1.1, max([*known, *levels, 0.0])
    lane = Lane(170.0, 210.0, low, high)
    yield from _frame_of(lane, axis, "Suction", "cmH2O", ticks(low, high, 3))
    x = _middles(leak, edges, axis)
    for a, b in stretches(np.array([math.isfinite(one) for one in lows])):
        up = " ".join(f"{x[k]:.1f},{lane.y(highs[k]):.1f}" for k in range(a, b))
        down = " ".join(f"{x[k]:.1f},{lane.y(lows[k]):.1f}" for k in reversed(range(a, b)))
        yield f'<polygon points="{up} {down}" fill="#ccc"/>'
    means = [_known(mean[a:b], np.mean) for a, b in pairwise(edges)]
    yield _path(_line(x, [lane.y(one) if math.isfinite(one) else one for one in means]), 1.0)
    for (at, level), (until, _) in pairwise([*orders, (axis.until_ms, None)]):
        if level is not None and until > axis.from_ms:
            yield _path(f"M{axis.x(at):.1f} {lane.y(level):.1f}H{axis.x(until):.1f}", 1.2, "#000", "2 3")


def _fluid(found: Assessment, axis: Axis, lane: Lane) -> Iterator[str]:
    """What was told so far, stepped; a stretch that nobody told of is left open."""
    steps = [one for one in fluid_steps(fluid_record(found)) if one.at_ms <= axis.until_ms]
    told = [one.ml for one in steps if one.ml is not None]
    if not told:
        return
    lane = Lane(lane.top, lane.bottom, 0.0, max(*told, 10.0) if len(told) > 1 else max(told[0], 10.0))
    yield from _frame_of(lane, axis, "Fluid", "mL", ticks(0.0, lane.high, 3))
    d, before = "", None
    for step, following in zip(steps, [*(one.at_ms for one in steps[1:]), axis.until_ms], strict=True):
        if step.ml is None:
            before = None
            continue
        if following >= axis.from_ms:
            d += f"{'M' if before is None else 'L'}{axis.x(step.at_ms):.1f} {lane.y(step.ml):.1f}"
            d += f"H{axis.x(following):.1f}"
            before = step.ml
    yield _path(d, 1.3)


def _numbers(axis: Axis, moments: Sequence[int]) -> Iterator[str]:
    """1, 2, 3 under the lanes; those that would touch are moved to the right, joined to their moment."""
    yield _text(4, 297, "Events", weight="b")
    free = LEFT
    for number, at in enumerate(moments, 1):
        x = axis.x(at)
        place = max(x, free)
        free = place + (14 if number < 10 else 18)
        if place > WIDE - 8:
            break
        yield _path(f"M{x:.1f} 276V283L{place:.1f} 287", 0.7)
        yield _text(place, 297, str(number), "middle")


def _about(axis: Axis, at_ms: int) -> Iterator[str]:
    """A line through all lanes, with a head and a word: no tone is needed to find it."""
    x = axis.x(at_ms)
    yield _path(f"M{x:.1f} 12V284", 1.6, "#000", "8 3")
    yield f'<path d="M{x - 5:.1f} 5h10l-5 8z" fill="#000"/>'
    left = x > WIDE / 2
    yield _text(x - 9 if left else x + 9, 12, "the moment", "end" if left else "start", "b")


def _middles(leak: LeakTrace, edges: list[int], axis: Axis) -> list[float]:
    return [axis.x(leak.minutes.start_ms + (a + b) / 2 * MINUTE_MS) for a, b in pairwise(edges)]


def _known(values: NDArray[np.float64], how: object) -> float:
    known = values[np.isfinite(values)]
    return float(how(known)) if len(known) else math.nan  # type: ignore[operator]


def _line(x: Sequence[float], y: Sequence[float]) -> str:
    """A path through what is known; a lone point is a short dash."""
    out = []
    for a, b in stretches(np.array([math.isfinite(one) for one in y], dtype=np.bool_)):
        out.append(f"M{x[a]:.1f} {y[a]:.1f}")
        out += [f"L{x[k]:.1f} {y[k]:.1f}" for k in range(a + 1, b)] if b - a > 1 else ["h1.5"]
    return "".join(out)
