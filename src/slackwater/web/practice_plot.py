"""Where confidence and skill part, as SVG: how often right with its interval, and how sure, kind by kind."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from slackwater.teach.score import Skill

WIDE, LEFT, RIGHT, ROW, TOP, FOOT = 720.0, 230.0, 20.0, 40.0, 10.0, 42.0


def parting(found: Sequence[Skill]) -> str:
    """A line a kind: ● right with its 95 % interval, ◇ how sure. A kind not tried has an empty line."""
    tall = TOP + ROW * len(found) + FOOT
    foot = tall - FOOT
    out = []
    for percent in (0, 25, 50, 75, 100):
        x = _x(percent)
        out.append(f'<path class="grid" d="M{x:.1f} {TOP:.0f}V{foot:.0f}"/>')
        out.append(f'<text class="soft" x="{x:.1f}" y="{foot + 17:.0f}" text-anchor="middle">{percent} %</text>')
    for number, one in enumerate(found):
        y = TOP + ROW * (number + 0.5)
        name = "All kinds" if one.kind is None else one.kind.title
        out.append(f'<text class="name" x="{LEFT - 12:.0f}" y="{y + 4:.0f}" text-anchor="end">{escape(name)}</text>')
        interval, right = one.came.interval, one.came.value
        if interval is None or right is None or one.told is None:
            continue
        low, high = (_x(100 * end) for end in interval)
        out.append(f'<path class="reach" d="M{low:.1f} {y:.0f}H{high:.1f}"/>')
        out.append(f'<circle class="came" cx="{_x(100 * right):.1f}" cy="{y:.0f}" r="6"/>')
        out.append(f'<path class="sure" d="M{_x(one.told):.1f} {y - 9:.1f}l9 9l-9 9l-9 -9z"/>')
    out.append(
        f'<text class="soft" x="{(LEFT + WIDE - RIGHT) / 2:.0f}" y="{tall - 6:.0f}" text-anchor="middle">'
        "● right, with its 95 % interval   ◇ how sure</text>"
    )
    said = "; ".join(says(one) for one in found if one.came.n) or "Nothing was tried yet."
    box = f'viewBox="0 0 {WIDE:.0f} {tall:.0f}"'
    return f'<svg {box} role="img" class="parting" aria-label="{escape(said, quote=True)}">{"".join(out)}</svg>'


def says(one: Skill) -> str:
    """One kind in words."""
    name = "all kinds" if one.kind is None else one.kind.title
    sure = "" if one.told is None else f", {one.told:.0f} % sure"
    return f"{name}: {one.came.right} of {one.came.n} right{sure}: {one.says}"


def _x(percent: float) -> float:
    return LEFT + (WIDE - LEFT - RIGHT) * percent / 100.0
