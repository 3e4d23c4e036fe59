"""Counts over the 24 hours of the ward's clock, as one SVG."""

from __future__ import annotations

from collections.abc import Sequence

from slackwater.report.plots import BOTTOM, TOP, Frame, grid_line, svg, ticks


def hours_picture(counts: Sequence[int], said: str) -> str:
    """24 bars, each with its count; the hour is that in which they began."""
    frame = Frame(0.0, max(*counts, 1) * 1.15, 0.0, 24.0, tall=200.0)
    floor = frame.tall - BOTTOM
    parts: list[str] = []
    for tick in ticks(0.0, frame.high):
        if tick == int(tick):
            parts += grid_line(frame, tick, f"{tick:.0f}")
    for hour, count in enumerate(counts):
        x, wide = frame.x(hour + 0.15), frame.x(0.7) - frame.x(0.0)
        if count:
            top = frame.y(count)
            at, high = f'x="{x:.1f}" y="{top:.1f}"', max(top - 4, TOP - 4)
            parts.append(f'<rect class="bar-of" {at} width="{wide:.1f}" height="{floor - top:.1f}"/>')
            parts.append(f'<text x="{x + wide / 2:.1f}" y="{high:.1f}" text-anchor="middle">{count}</text>')
        if hour % 3 == 0:
            parts.append(f'<text x="{frame.x(hour):.1f}" y="{floor + 16:.1f}" text-anchor="middle">{hour:02}:00</text>')
    return svg(frame, said, parts)
