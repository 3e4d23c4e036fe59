"""Two pictures as plain SVG text: how often what was forecast came, and how often an interval held the truth.

Ink and paper are stated for light and for dark; every line has a mark and a dash of its own, so that it can be told
without colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

SIDE, LEFT, TOP, APART, LEGEND = 270, 64, 66, 84, 76
WIDTH = LEFT + 2 * SIDE + APART + 18
STYLE = """
  .paper { fill: #ffffff } .ink { fill: #1b1f24 } .soft { fill: #57606a }
  .frame { stroke: #8c959f; fill: none } .grid { stroke: #d8dee4 }
  .even { stroke: #57606a; stroke-width: 1.5; stroke-dasharray: 2 3 }
  text { font: 13px system-ui, sans-serif } .head { font-weight: 600; font-size: 14px }
  .line { fill: none; stroke-width: 2 } .mark { stroke-width: 2 }
  .c0 { stroke: #0b3d91 } .c1 { stroke: #b3500b } .c2 { stroke: #1a7f5a } .c3 { stroke: #6b2fa0 }
  .mark { fill: #ffffff }
  @media (prefers-color-scheme: dark) {
    .paper { fill: #0d1117 } .ink { fill: #f0f3f6 } .soft { fill: #b1bac4 }
    .frame { stroke: #8c959f } .grid { stroke: #30363d } .even { stroke: #b1bac4 }
    .c0 { stroke: #7cb7ff } .c1 { stroke: #ffa657 } .c2 { stroke: #6fdd9b } .c3 { stroke: #d2a8ff }
    .mark { fill: #0d1117 }
  }
"""
DASHES = ("", "9 4", "3 3", "12 3 3 3")


@dataclass(frozen=True)
class Line:
    """One series: points are (x, y), both 0 to 1."""

    name: str
    points: Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Panel:
    head: str
    lines: Sequence[Line]


def picture(title: str, says: str, across: str, up: str, panels: Sequence[Panel]) -> str:
    """Two square panels side by side, 0 to 100 % on both axes, with one legend below."""
    names = [line.name for line in panels[0].lines]
    height = TOP + SIDE + 58 + LEGEND
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}" '
        'role="img" aria-labelledby="title desc">',
        f'<title id="title">{escape(title)}</title>',
        f'<desc id="desc">{escape(says)}</desc>',
        f"<style>{STYLE}</style>",
        f'<rect class="paper" width="{WIDTH}" height="{height}"/>',
        f'<text class="ink head" x="{LEFT}" y="24">{escape(title)}</text>',
    ]
    for k, panel in enumerate(panels):
        out += _panel(panel, LEFT + k * (SIDE + APART), across, up if k == 0 else "")
    for k, name in enumerate(names):
        x, y = LEFT + (k % 2) * (SIDE + APART), TOP + SIDE + 76 + 28 * (k // 2)
        out.append(f'<path class="line c{k}" stroke-dasharray="{DASHES[k]}" d="M{x} {y}h46"/>')
        out.append(_mark(k, x + 23, y))
        out.append(f'<text class="ink" x="{x + 56}" y="{y + 4}">{escape(name)}</text>')
    return "\n".join([*out, "</svg>"]) + "\n"


def _panel(panel: Panel, left: int, across: str, up: str) -> list[str]:
    foot = TOP + SIDE
    out = [f'<text class="ink" x="{left}" y="{TOP - 14}">{escape(panel.head)}</text>']
    for share in (0, 25, 50, 75, 100):
        x, y = left + share * SIDE / 100, foot - share * SIDE / 100
        out.append(f'<path class="grid" d="M{x:g} {TOP}V{foot}M{left} {y:g}h{SIDE}"/>')
        out.append(f'<text class="soft" text-anchor="middle" x="{x:g}" y="{foot + 18}">{share}</text>')
        out.append(f'<text class="soft" text-anchor="end" x="{left - 7}" y="{y + 4:g}">{share}</text>')
    out.append(f'<rect class="frame" x="{left}" y="{TOP}" width="{SIDE}" height="{SIDE}"/>')
    out.append(f'<path class="even" d="M{left} {foot}L{left + SIDE} {TOP}"/>')
    out.append(
        f'<text class="soft" text-anchor="middle" x="{left + SIDE / 2:g}" y="{foot + 40}">{escape(across)}</text>'
    )
    if up:
        middle = TOP + SIDE / 2
        out.append(
            f'<text class="soft" text-anchor="middle" transform="rotate(-90 18 {middle:g})" x="18" y="{middle:g}">'
            f"{escape(up)}</text>"
        )
    for k, line in enumerate(panel.lines):
        at = [(left + x * SIDE, foot - y * SIDE) for x, y in line.points]
        if at:
            path = "L".join(f"{x:.1f} {y:.1f}" for x, y in at)
            out.append(f'<path class="line c{k}" stroke-dasharray="{DASHES[k]}" d="M{path}"/>')
        out += [_mark(k, x, y) for x, y in at]
    return out


def _mark(k: int, x: float, y: float) -> str:
    shape = (
        f'<circle class="mark c{k}" cx="{x:.1f}" cy="{y:.1f}" r="4.5"/>',
        f'<rect class="mark c{k}" x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8"/>',
        f'<path class="mark c{k}" d="M{x:.1f} {y - 5.5:.1f}l5.5 9.5h-11z"/>',
        f'<path class="mark c{k}" d="M{x:.1f} {y - 6:.1f}l6 6-6 6-6-6z"/>',
    )
    return shape[k]
