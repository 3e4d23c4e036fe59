"""Draw docs/pictures/doubt-*.svg: what a zero, or a number, can hide; and write what the tool said into docs/doubts.md.

    python docs/pictures/draw_doubts.py

Every stay is simulated: the dashed line is the leak that truly flowed, which no log shows.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

import slackwater
from slackwater.assessment.assessment import Assessment
from slackwater.leak.stretches import stretches
from slackwater.leak.words import CANNOT_TELL, LEAKING, QUIET
from slackwater.report.doubts import doubt_lines
from slackwater.report.sentences import leak_sentence, rule_sentence
from slackwater.report.times import UTC
from slackwater.simulate import scenario, simulate
from slackwater.simulate.unit_types import BREAKWATER

Floats = NDArray[np.float64]
HERE = Path(__file__).resolve().parent
PAGE = HERE.parent / "doubts.md"
RULE = "air-20-8h"
WIDE, LEFT, RIGHT = 720, 96, 14
FLOW_TOP, FLOW_TALL, PRESSURE_TOP, PRESSURE_TALL, STATE_TOP, STATE_TALL = 40, 130, 190, 70, 278, 22
COLUMNS = 300
LIMIT, TOP_FLOW = 20.0, 1000.0
STYLE = """
  .paper { fill: #ffffff } .ink { fill: #1f2328 } .soft { fill: #545b64 } .frame { stroke: #8c959f; fill: none }
  .band { fill: #c9bddc } .mean { stroke: #4a1d78; fill: none; stroke-width: 1.6 }
  .truth { stroke: #1f2328; fill: none; stroke-width: 1.6; stroke-dasharray: 5 4 }
  .limit { stroke: #2b4f73; stroke-width: 1.2; stroke-dasharray: 10 3 2 3 }
  .leaking { fill: #4a1d78 } .quiet { fill: #dbe7f3; stroke: #2b4f73 } .doubt { fill: url(#hatch); stroke: #33383f; stroke-width: 2 }
  .line { stroke: #33383f; stroke-width: 2 } .back { fill: #e4e4e2 }
  text { font: 13px system-ui, sans-serif } .head { font-weight: 600 }
  @media (prefers-color-scheme: dark) {
    .paper { fill: #15171b } .ink { fill: #e9e7e2 } .soft { fill: #a9afb8 } .band { fill: #4d3f66 }
    .mean { stroke: #c3a2ee } .truth { stroke: #e9e7e2 } .limit { stroke: #9fc2e6 } .leaking { fill: #c3a2ee }
    .quiet { fill: #24384d; stroke: #9fc2e6 } .doubt { stroke: #c9ced6 } .line { stroke: #c9ced6 } .back { fill: #30343b }
  }
"""


@dataclass(frozen=True)
class Trap:
    """One way in which a record misleads. `at_h`: judged so long after connection; None: at the end."""

    name: str
    stay: str
    title: str
    coarse: bool = False


TRAPS = (
    Trap("blocked", "blocked", "The tube blocks overnight while the lung leaks"),
    Trap("zeros-while-off", "off_zeros", "The unit is off and goes on writing rows of zeros"),
    Trap("capped", "capped", "The tube came apart, and was capped"),
    Trap("stuck-at-zero", "stuck_flow", "The flow sensor sticks"),
    Trap("zero-while-leaking", "zero_shift", "The sensor takes its zero while air flows"),
    Trap("too-coarse", "near_limit", "The display counts in steps as large as the limit", coarse=True),
    Trap("clock", "clock_forward", "The clock jumps forward"),
    Trap("clamp-overnight", "clamped_unseen", "A clamp overnight that nobody charted"),
    Trap("sleeper", "effort_only", "A leak that shows only with effort, and nobody tried it"),
    Trap("pump-for-breathing", "blocked_to_the_end", "The pump's own ripple in a shut tube"),
    Trap("one-limb", "limb_blocked", "One limb of two is blocked"),
    Trap("tissues", "tissue", "Air goes into the tissues instead of the tube"),
    Trap("ignores-breathing", "connector_leak", "A flow that ignores breathing"),
)


def judged(trap: Trap) -> tuple[Assessment, Floats]:
    """The tool's answer, and the leak that truly flowed in each minute, mL/min."""
    plan = scenario(trap.stay)
    made = simulate(replace(plan, unit=BREAKWATER) if trap.coarse else plan, 7)
    layout = slackwater.Layout.from_toml(made.layout_toml, "layout.toml")
    found = slackwater.assess(
        [slackwater.read_log(log, layout, f"log-{k}.csv") for k, log in enumerate(made.logs)],
        chart=slackwater.read_chart(made.chart_csv.encode(), "chart.csv", None),
        episode=slackwater.read_episode(made.episode_toml.encode(), "episode.toml"),
        protocol=slackwater.shipped_protocol(RULE),
    )
    return found, made.truth.leak_rest_ml_per_min


def x(minute: float, n: int) -> float:
    return LEFT + (WIDE - LEFT - RIGHT) * minute / n


def height(flow: float) -> float:
    """Even near nothing, logarithmic above: a leak of 20 and one of 500 both show."""
    return FLOW_TOP + FLOW_TALL * (1 - math.asinh(min(max(flow, 0.0), TOP_FLOW) / 8.0) / math.asinh(TOP_FLOW / 8.0))


def columns(low: Floats, high: Floats, n: int) -> list[tuple[float, float, float]]:
    """(minute, smallest, largest) a column, those with nothing recorded left out."""
    edges = np.linspace(0, n, min(COLUMNS, n) + 1).astype(int)
    out = []
    for a, b in pairwise(edges):
        if np.isfinite(low[a:b]).any() and np.isfinite(high[a:b]).any():
            out.append((0.5 * (a + b), float(np.nanmin(low[a:b])), float(np.nanmax(high[a:b]))))
    return out


def lines(points: Sequence[tuple[float, float]], apart: float) -> str:
    """A path that is broken wherever two points lie further apart than `apart`: nothing is drawn over a gap."""
    parts, last = [], -math.inf
    for at, y in points:
        parts.append(f"{'L' if at - last <= apart else 'M'}{at:.1f} {y:.1f}")
        last = at
    return "".join(parts)


def drawn(trap: Trap, found: Assessment, truth: Floats) -> str:
    leak = found.leak_trace
    assert leak is not None
    minutes = leak.minutes
    n = len(minutes)
    apart = 1.6 * (WIDE - LEFT - RIGHT) / min(COLUMNS, n)
    says = f"{trap.title}. {leak_sentence(found, UTC)} {rule_sentence(found, UTC)}"
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} 340" width="{WIDE}" height="340" role="img" '
        f'aria-labelledby="t d"><title id="t">{escape(trap.title)}</title><desc id="d">{escape(says)}</desc>',
        f"<style>{STYLE}</style>",
        '<defs><pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect class="back" width="7" height="7"/><path class="line" d="M0 0v7"/></pattern></defs>',
        f'<rect class="paper" width="{WIDE}" height="340"/><text class="ink head" x="{LEFT}" y="22">{escape(trap.title)}</text>',
    ]
    for flow in (0, 20, 100, 500):
        out.append(f'<text class="soft" text-anchor="end" x="{LEFT - 8}" y="{height(flow) + 4:.0f}">{flow}</text>')
    out.append(
        f'<text class="soft" x="4" y="{FLOW_TOP + 14}">flow</text><text class="soft" x="4" y="{FLOW_TOP + 30}">mL/min</text>'
    )
    span = columns(minutes.flow_min, minutes.flow_max, n)
    wide = (WIDE - LEFT - RIGHT) / min(COLUMNS, n) + 0.3
    for at, low, high in span:
        top, foot = height(high), height(low)
        out.append(
            f'<rect class="band" x="{x(at, n) - wide / 2:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{max(foot - top, 1):.1f}"/>'
        )
    mean = [(x(at, n), height(0.5 * (a + b))) for at, a, b in columns(minutes.flow, minutes.flow, n)]
    out.append(f'<path class="mean" d="{lines(mean, apart)}"/>')
    true = [(x(at, n), height(0.5 * (a + b))) for at, a, b in columns(truth[:n], truth[:n], min(n, len(truth)))]
    out.append(f'<path class="truth" d="{lines(true, apart)}"/>')
    out.append(f'<path class="limit" d="M{LEFT} {height(LIMIT):.1f}H{WIDE - RIGHT}"/>')
    out.append(f'<rect class="frame" x="{LEFT}" y="{FLOW_TOP}" width="{WIDE - LEFT - RIGHT}" height="{FLOW_TALL}"/>')
    out += _pressure(minutes.pressure_p05, minutes.pressure_p95, minutes.pressure, n, wide)
    out += _states(leak.state, n)
    for hour in range(0, n // 60 + 1, 12 if n > 2000 else 6):
        out.append(
            f'<text class="soft" text-anchor="middle" x="{x(hour * 60, n):.0f}" y="{STATE_TOP + STATE_TALL + 18}">{hour} h</text>'
        )
    return "\n".join([*out, "</svg>"]) + "\n"


def _pressure(p05: Floats, p95: Floats, mean: Floats, n: int, wide: float) -> list[str]:
    low, high = np.where(np.isfinite(p05), p05, mean), np.where(np.isfinite(p95), p95, mean)
    span = columns(low, high, n)
    if not span:
        return []
    deepest, highest = min(-25.0, min(a for _, a, _ in span)), max(2.0, max(b for _, _, b in span))

    def y(value: float) -> float:
        return PRESSURE_TOP + PRESSURE_TALL * (highest - value) / (highest - deepest)

    out = [
        f'<text class="soft" x="4" y="{PRESSURE_TOP + 14}">pressure</text><text class="soft" x="4" y="{PRESSURE_TOP + 30}">cmH2O</text>'
    ]
    for at, a, b in span:
        out.append(
            f'<rect class="band" x="{x(at, n) - wide / 2:.1f}" y="{y(b):.1f}" width="{wide:.1f}" height="{max(y(a) - y(b), 1):.1f}"/>'
        )
    for value in (0, -20):
        out.append(f'<text class="soft" text-anchor="end" x="{LEFT - 8}" y="{y(value) + 4:.0f}">{value}</text>')
    return [
        *out,
        f'<rect class="frame" x="{LEFT}" y="{PRESSURE_TOP}" width="{WIDE - LEFT - RIGHT}" height="{PRESSURE_TALL}"/>',
    ]


def _states(state: NDArray[np.int8], n: int) -> list[str]:
    out = [f'<text class="soft" x="4" y="{STATE_TOP + 16}">state</text>']
    for code, word in ((QUIET, "quiet"), (LEAKING, "leaking"), (CANNOT_TELL, "doubt")):  # doubt is drawn over the rest
        for a, b in stretches(state == code):
            left, right = x(a, n), x(b, n)
            out.append(
                f'<rect class="{word}" x="{left:.1f}" y="{STATE_TOP}" width="{max(right - left, 1.2):.1f}" height="{STATE_TALL}"/>'
            )
    return out


def told(found: Assessment) -> list[str]:
    """What the tool answers, as a list for the page."""
    doubts = [f"{line.minutes}: {line.says}" for line in doubt_lines(found, UTC)]
    waits = [f"waits for: {text}" for text in found.waiting_for[:3]]
    return [leak_sentence(found, UTC), rule_sentence(found, UTC), *doubts, *waits, *found.warnings]


def main() -> None:
    page = PAGE.read_text("utf-8")
    for trap in TRAPS:
        found, truth = judged(trap)
        (HERE / f"doubt-{trap.name}.svg").write_text(drawn(trap, found, truth), "utf-8")
        answer = "\n".join(f"- {text}" for text in told(found))
        page, times = re.subn(
            rf"(<!-- told: {trap.name} -->\n).*?(<!-- end -->)",
            lambda m, a=answer: f"{m[1]}{a}\n{m[2]}",
            page,
            flags=re.DOTALL,
        )
        print(
            f"{trap.name}: {found.overall.word if found.overall is not None else '-'}"
            + ("" if times == 1 else "; NOT IN THE PAGE")
        )
    PAGE.write_text(page, "utf-8")


if __name__ == "__main__":
    main()
