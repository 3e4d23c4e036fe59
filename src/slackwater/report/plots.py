"""Small pictures of an audit, as SVG text: shapes and words before tone, no red, no green, no script.

Every picture has its sentence (aria-label) and stands above a table that says the same.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import cycle, pairwise
from typing import Any

WIDE, TALL = 720.0, 260.0
STUB = 0.3  # of a step, drawn behind the last that was read
LEFT, RIGHT, TOP, BOTTOM = 58.0, 16.0, 18.0, 44.0
Known = float | None
UNTIL_HELD = "hours from connection until the rule held, median"
POINTS, CHANCE = "points in order; what each is stands in the table", "chance told, %"


@dataclass(frozen=True)
class Frame:
    """Where values lie on the picture."""

    low: float
    high: float
    first: float
    last: float
    wide: float = WIDE
    tall: float = TALL
    left: float = LEFT
    right: float = RIGHT

    def x(self, value: float) -> float:
        span = self.last - self.first or 1.0
        return self.left + (self.wide - self.left - self.right) * (value - self.first) / span

    def y(self, value: float) -> float:
        span = self.high - self.low or 1.0
        share = (min(max(value, self.low), self.high) - self.low) / span
        return self.tall - BOTTOM - (self.tall - TOP - BOTTOM) * share


def ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round numbers from low to high.

    >>> ticks(0.0, 47.0)
    [0.0, 10.0, 20.0, 30.0, 40.0]
    """
    if not high > low:
        return [low]
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= raw)
    first = math.ceil(low / step - 1e-9)
    found = [round((first + k) * step, 10) for k in range(about * 3)]
    return [tick for tick in found if tick <= high * (1 + 1e-9) + 1e-12]


def process_chart(chart: dict[str, Any], said: str, unit: str, times: float = 1.0) -> str:
    """Points in order, centre and limits stepped, a mark where a rule of the named set marks."""
    columns = {name: [_by(one, times) for one in chart[name]] for name in ("values", "centre", "low", "high")}
    n = len(columns["values"])
    top = max((one for column in columns.values() for one in column if one is not None), default=1.0)
    frame = Frame(0.0, top * 1.08 or 1.0, -0.5, n - 0.5)
    marked = {k for mark in chart["marks"] for k in range(mark["first"], mark["last"] + 1)}
    out = [*_y_axis(frame, unit), *_limits(frame, columns, chart["phase"])]
    out += [_line(frame, enumerate(columns["values"]), "path")]
    for k, value in enumerate(columns["values"]):
        if value is None:
            out.append(_text(frame.x(k), frame.tall - BOTTOM - 4, "?", "soft"))
        else:
            out.append(_point(frame.x(k), frame.y(value), "marked" if k in marked else "point"))
    step = max(1, math.ceil(n / 14))
    for k in range(0, n, step):
        place = f'x="{frame.x(k):.1f}" y="{frame.tall - BOTTOM + 16:.1f}"'
        out.append(f'<text class="tick" {place} text-anchor="middle">{k + 1}</text>')
    out.append(_under(frame, POINTS))
    return svg(frame, said, out, "fits")


def curves(lines: Sequence[dict[str, Any]], said: str, unit: str) -> str:
    """Shares in per cent over time as steps: each stands until the next that was read. With bands and names."""
    last = max((line["at"][-1] for line in lines), default=1.0)
    stub = (
        STUB * last / max(max((len(line["at"]) for line in lines), default=2) - 1, 1)
    )  # so that the last step is seen
    frame = Frame(0.0, 100.0, 0.0, last + stub, right=150.0)
    out = [*_y_axis(frame, "%"), *_x_axis(frame)]
    ends: list[tuple[float, str]] = []
    for number, line in enumerate(lines):
        whole = zip(line["at"], line["low"], line["high"], strict=True)
        band = [(at, low, high) for at, low, high in whole if low is not None and high is not None]
        band += [(at + stub, low, high) for at, low, high in band[-1:]]
        if band:
            up = _stepped([(at, high) for at, _, high in band])
            down = _stepped([(at, low) for at, low, _ in band])[::-1]
            edge = " ".join(f"{frame.x(at):.1f},{frame.y(value):.1f}" for at, value in (*up, *down))
            out.append(f'<polygon class="band" points="{edge}"/>')
        points = list(zip(line["at"], line["value"], strict=True))
        points += [(at + stub, value) for at, value in points[-1:]]
        out.append(_line(frame, _stepped(points), f"path dash{number % 3}"))
        ends.append((frame.y(points[-1][1]), line["name"]))
    out += _names(frame, ends)
    out.append(_under(frame, unit))
    return svg(frame, said, out, "fits")


@dataclass(frozen=True)
class Words:
    """What stands at the axes: the unit of the values, and what lies below."""

    unit: str
    under: str


def funnel(
    points: Sequence[tuple[str, float, Known]], at: Sequence[float], lines: Sequence[Sequence[Known]], target: float,
    said: str, words: Words,
) -> str:  # fmt: skip
    """Units by size (name, size, value), the target, and lines `at` sizes: inner low and high, outer low and high."""
    seen = [value for _, _, value in points if value is not None]
    near = [one for line in lines for k, one in enumerate(line) if one is not None and at[k] >= 0.25 * at[-1]]
    frame = Frame(0.0, max([*seen, *near, target]) * 1.08 or 1.0, 0.0, at[-1])
    out = [*_y_axis(frame, words.unit), *_x_axis(frame), _rule(frame, target, "centre")]
    for number, line in enumerate(lines):
        inside = [
            (size, one if one is not None and one <= frame.high else None) for size, one in zip(at, line, strict=True)
        ]
        out.append(_line(frame, inside, "limit inner" if number < 2 else "limit"))
    taken: list[tuple[float, float]] = []
    for name, size, value in sorted((one for one in points if one[2] is not None), key=lambda one: one[1]):
        x, y = frame.x(size), frame.y(value or 0.0)
        out.append(_point(x, y, "point"))
        place = _free(x, y, taken, 75)
        taken.append((x, place))
        out.append(_text(x, place, name))
    out.append(_under(frame, words.under))
    return svg(frame, said, out)


SHAPES: tuple[Callable[[float, float], str], ...] = (
    lambda x, y: f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5"/>',
    lambda x, y: f'<rect x="{x - 4.5:.1f}" y="{y - 4.5:.1f}" width="9" height="9"/>',
    lambda x, y: f'<path d="M{x:.1f} {y - 6:.1f}l6 11h-12z"/>',
    lambda x, y: f'<path d="M{x:.1f} {y - 6.5:.1f}l6.5 6.5l-6.5 6.5l-6.5 -6.5z"/>',
    lambda x, y: f'<path d="M{x:.1f} {y + 6:.1f}l6 -11h-12z"/>',
    lambda x, y: f'<path class="cross" d="M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10"/>',
)


def trade_off(rows: Sequence[dict[str, Any]], said: str) -> str:
    """One mark a rule: hours until it held against the share with air again; a line joins lengths of one limit.

    rows: hours, share (per cent), limit, length, known (the published rule). Limits are told by shape and name.
    """
    shown = [row for row in rows if row["hours"] is not None and row["share"] is not None]
    first = min((row["hours"] for row in shown), default=0.0)
    last = max((row["hours"] for row in shown), default=1.0)
    room = (last - first or 1.0) * 0.06
    top = max([row["share"] for row in shown] + [5.0])
    frame = Frame(0.0, top * 1.12, max(first - room, 0.0), last + room, tall=380.0, right=120.0)
    out = [*_y_axis(frame, "% of all, with air again"), *_x_axis(frame)]
    taken = [(frame.x(row["hours"]), frame.y(row["share"]) + 4) for row in shown]  # no label on a mark
    taken += [(frame.x(tick), frame.tall - BOTTOM + 16) for tick in ticks(frame.first, frame.last, 8)]  # or on a tick's
    for number, limit in enumerate(dict.fromkeys(row["limit"] for row in shown)):
        shape = SHAPES[number % len(SHAPES)]
        line = sorted((row for row in shown if row["limit"] == limit), key=lambda row: row["length"])
        out.append(_line(frame, [(row["hours"], row["share"]) for row in line], "path thin"))
        spots: dict[tuple[float, float], list[dict[str, Any]]] = {}
        for row in line:
            spots.setdefault((frame.x(row["hours"]), frame.y(row["share"])), []).append(row)
        for (x, y), here in spots.items():  # lengths that fall on one mark share its label
            known = any(row["known"] for row in here)
            out.append(f'<g class="rule{" filled" if known else ""}">{shape(x, y)}</g>')
            lengths = ", ".join(f"{row['length']:g}" for row in here)
            place = _free(x, y - 6 if known else y, taken, 28 + 7 * (len(lengths) - 1))
            taken.append((x, place))
            out.append(_text(x, place, f"{lengths} h", "soft"))
            if known:
                out.append(f'<circle class="ring" cx="{x:.1f}" cy="{y:.1f}" r="11"/>')
        beside, down = frame.wide - frame.right + 14, TOP + 14 + 20 * number
        name = _text(beside + 12, down + 4, f"{limit:g} mL/min", "name", "start")
        out.append(f'<g class="rule">{shape(beside, down)}</g>{name}')
    out.append(_under(frame, UNTIL_HELD))
    return svg(frame, said, out)


def told_and_came(marks: Sequence[dict[str, Any]], said: str, *, named: bool = True) -> str:
    """Chances told against what came, per cent: a shape for each number of hours, right ones lie on the diagonal.

    marks: hours, told, came, low, high. Hours are told by shape and name, and stand a little apart; not named: there
    is one kind of mark alone.
    """
    frame = Frame(0.0, 100.0, -4.0, 104.0, wide=560.0, tall=440.0, right=120.0)
    out = [*_y_axis(frame, "came, %"), *_x_axis(frame)]
    out.append(f'<path class="limit" d="M{frame.x(0):.1f} {frame.y(0):.1f}L{frame.x(100):.1f} {frame.y(100):.1f}"/>')
    for number, hours in enumerate(dict.fromkeys(mark["hours"] for mark in marks)):
        shape = SHAPES[number % len(SHAPES)]
        for mark in (one for one in marks if one["hours"] == hours):
            x, y = frame.x(mark["told"]) + 3.0 * number - 4.5, frame.y(mark["came"])
            if mark["low"] is not None and mark["high"] is not None:
                out.append(
                    f'<path class="path thin" d="M{x:.1f} {frame.y(mark["low"]):.1f}V{frame.y(mark["high"]):.1f}"/>'
                )
            out.append(f'<g class="rule">{shape(x, y)}</g>')
        if not named:
            continue
        beside, down = frame.wide - frame.right + 20, TOP + 14 + 20 * number
        out.append(f'<g class="rule edge">{shape(beside, down)}</g>')
        out.append(_text(beside + 12, down + 4, f"within {hours} h", "name edge", "start"))
    out.append(_under(frame, CHANCE))
    return svg(frame, said, out, "fits square")


# --- parts -----------------------------------------------------------------------------------------


def _by(value: Known, times: float) -> Known:
    return None if value is None else value * times


def svg(frame: Frame, said: str, parts: Iterable[str], kind: str = "") -> str:
    """kind "fits": on a narrow screen it is drawn smaller, with the words at its edges below it instead."""
    box = f'viewBox="0 0 {frame.wide:.0f} {frame.tall:.0f}"'
    told = f'role="img" class="{f"plot {kind}".strip()}" aria-label="{escape(said, quote=True)}"'
    return f"<svg {box} {told}>{''.join(parts)}</svg>"


def grid_line(frame: Frame, value: float, words: str) -> Iterator[str]:
    """A line of the grid at a value, and the words at its end."""
    y = frame.y(value)
    yield f'<path class="grid" d="M{frame.left:.0f} {y:.1f}H{frame.wide - frame.right:.0f}"/>'
    yield f'<text x="{frame.left - 8:.0f}" y="{y + 4:.1f}" text-anchor="end">{words}</text>'


def _y_axis(frame: Frame, unit: str) -> list[str]:
    out: list[str] = []
    for tick in ticks(frame.low, frame.high):
        out += grid_line(frame, tick, f"{tick:g}")
    return [*out, f'<text class="soft edge" x="4" y="11">{escape(unit)}</text>']


def _x_axis(frame: Frame) -> list[str]:
    down = frame.tall - BOTTOM + 16
    return [
        f'<text class="tick" x="{frame.x(tick):.1f}" y="{down:.1f}" text-anchor="middle">{tick:g}</text>'
        for tick in ticks(frame.first, frame.last, 8)
    ]


def _text(x: float, y: float, words: str, kind: str = "", anchor: str = "middle") -> str:
    return f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def _free(x: float, y: float, taken: Sequence[tuple[float, float]], wide: float) -> float:
    """How high a label may stand at a mark without covering another: above it, below it, or further off."""
    places = (y - 10, y + 19, y - 23, y + 32)
    free = (one for one in places if all(abs(one - b) >= 13 or abs(x - a) >= wide for a, b in taken))
    return next(free, places[0])


def _under(frame: Frame, words: str) -> str:
    middle = (frame.left + frame.wide - frame.right) / 2
    place = f'x="{middle:.0f}" y="{frame.tall - 8:.0f}" text-anchor="middle"'
    return f'<text class="soft edge" {place}>{escape(words)}</text>'


def _rule(frame: Frame, value: float, kind: str) -> str:
    return f'<path class="{kind}" d="M{frame.left:.0f} {frame.y(value):.1f}H{frame.wide - frame.right:.0f}"/>'


def _stepped(points: Sequence[tuple[float, Any]]) -> list[tuple[float, Any]]:
    """Each value stands up to the next, then jumps."""
    out = list(points[:1])
    for (_, before), (at, value) in pairwise(points):
        out += [(at, before), (at, value)]
    return out


def below(across: str, up: str, lines: Sequence[str] = (), shapes: Sequence[str] = ()) -> str:
    """The words at a picture's edges as a sentence, for a screen on which they would not be read."""
    told = [f"{kind} line: {name}" for kind, name in zip(LINES, lines, strict=False)] if len(lines) > 1 else []
    told += [f"{shape}: {name}" for shape, name in zip(cycle(SHAPE_NAMES), shapes, strict=False)]
    return f"Across: {across}. Up: {up}." + (f" {told[0][0].upper()}{'; '.join(told)[1:]}." if told else "")


LINES = ("solid", "dashed", "dotted")
SHAPE_NAMES = ("circle", "square", "triangle", "diamond", "triangle on its point", "cross")


def _line(frame: Frame, points: Iterable[tuple[float, Known]], kind: str) -> str:
    """A line through what is known; it breaks where something is not."""
    out, down = [], False
    for at, value in points:
        if value is None:
            down = False
            continue
        out.append(f"{'L' if down else 'M'}{frame.x(at):.1f} {frame.y(value):.1f}")
        down = True
    return f'<path class="{kind}" d="{"".join(out)}"/>' if out else ""


def _limits(frame: Frame, columns: dict[str, list[Known]], phases: Sequence[int]) -> list[str]:
    """Centre and limits as steps, and a line where a new phase begins."""
    out = []
    for name, kind in (("centre", "centre"), ("low", "limit"), ("high", "limit")):
        for k, value in enumerate(columns[name]):
            if value is not None:
                out.append(
                    f'<path class="{kind}" d="M{frame.x(k - 0.5):.1f} {frame.y(value):.1f}H{frame.x(k + 0.5):.1f}"/>'
                )
    for k in range(1, len(phases)):
        if phases[k] != phases[k - 1]:
            x = frame.x(k - 0.5)
            out.append(f'<path class="phase" d="M{x:.1f} {TOP:.0f}V{frame.tall - BOTTOM:.0f}"/>')
            out.append(f'<text class="soft" x="{x + 5:.1f}" y="{TOP + 10:.0f}">after the change</text>')
    return out


def _point(x: float, y: float, kind: str) -> str:
    if kind == "marked":
        return f'<path class="marked" d="M{x:.1f} {y - 6.5:.1f}l6.5 6.5l-6.5 6.5l-6.5 -6.5z"/>'
    return f'<circle class="{kind}" cx="{x:.1f}" cy="{y:.1f}" r="4"/>'


def _names(frame: Frame, ends: Sequence[tuple[float, str]], apart: float = 15.0) -> list[str]:
    """Names at the ends of lines, moved apart where they would cover each other."""
    out, last = [], -math.inf
    for y, name in sorted(ends):
        last = max(y, last + apart)
        out.append(
            f'<text class="name edge" x="{frame.wide - frame.right + 8:.0f}" y="{last + 4:.1f}">{escape(name)}</text>'
        )
    return out
