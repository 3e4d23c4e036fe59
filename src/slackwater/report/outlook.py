"""The forecast as a range: a small picture, a table, and what it does not say."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from slackwater.assessment.assessment import Assessment
from slackwater.assessment.cautions import FORECAST, Caution
from slackwater.forecast.whole import BY_HOURS, Hours
from slackwater.protocol.status import Status
from slackwater.report.sentences import GUARD_WORDS
from slackwater.report.words import chance_words


@dataclass(frozen=True)
class Row:
    """One clause, or all of them together."""

    name: str
    range: str
    middle: str
    by: tuple[str, ...]


@dataclass(frozen=True)
class Outlook:
    """What the page shows of a forecast; svg is '' where there is no range to draw."""

    says: str
    caution: Caution | None
    rows: tuple[Row, ...]
    svg: str
    more: tuple[str, ...]
    source: str = ""
    by_hours: tuple[int, ...] = BY_HOURS


def outlook(found: Assessment) -> Outlook:
    """In words and ranges; a forecast never counts as a clause."""
    estimate = found.forecast
    if estimate is None:
        return Outlook("Without a removal rule and a log there is nothing to forecast.", None, (), "", ())
    named = [(id_.replace("_", " "), hours) for id_, hours in estimate.clauses.items()]
    holds = [name for name, hours in named if hours.quantiles is not None and hours.quantiles["q95"] == 0]
    drawn = [(name, hours) for name, hours in named if hours.quantiles is not None and name not in holds]
    if len(drawn) > 1 and estimate.whole.quantiles is not None:
        drawn.append(("all of these", estimate.whole))
    horizon = estimate.horizon_h
    whole_because = estimate.whole.withheld_because
    more = [
        f"{name}: withheld, {hours.withheld_because}."
        for name, hours in named
        if hours.withheld_because and hours.withheld_because != whole_because
    ]
    if holds and drawn:
        more.append(f"Held when the record ends: {', '.join(holds)}.")
    if estimate.waiting_on_person:
        waits = ", ".join(GUARD_WORDS.get(id_, id_.replace("_", " ")) for id_ in estimate.waiting_on_person)
        more.append(f"Waits on a person, and is never forecast: {waits}.")
    late = estimate.outlasts_day_5
    clock = "the end of the operation" if late.clock == "operation.end" else "connection"
    if late.chance is not None:
        more.append(f"That the leak outlasts day 5, counted from {clock}: {chance_words(late.chance)}.")
    whole = estimate.whole
    if found.overall in (Status.MET, Status.MET_WITH_GAPS):
        says = "All clauses hold on recorded data: nothing is left to forecast."
    elif whole.quantiles is None:
        says = f"Withheld: {whole.withheld_because}."
    elif whole.quantiles["q10"] is None:
        says = f"The recorded clauses are not likely to hold within {horizon:.0f} h of the last reading."
    else:
        says = f"The recorded clauses are likely to hold in {_range(whole, horizon)} from the last reading."
    return Outlook(
        says, FORECAST, tuple(_row(name, hours, horizon) for name, hours in drawn), _svg(drawn, horizon),
        tuple(more), f"Tried up to {horizon:.0f} h ahead. Numbers: {estimate.provenance}.",
    )  # fmt: skip


def _row(name: str, hours: Hours, horizon: float) -> Row:
    chances = hours.probability_by_hours or {}
    assert hours.quantiles is not None
    middle = _hour(hours.quantiles["q50"], horizon)
    by = tuple(chance_words(chances[hour]) if hour in chances else "not tried" for hour in BY_HOURS)
    return Row(name, _range(hours, horizon), middle, by)


def _range(hours: Hours, horizon: float) -> str:
    assert hours.quantiles is not None
    first, last = (_hour(hours.quantiles[name], horizon) for name in ("q10", "q90"))
    return first if first == last else f"{first} to {last}"


def _hour(value: float | None, horizon: float) -> str:
    if value is None:
        return f"over {horizon:.0f} h"
    return "now" if value <= 0 else "under 1 h" if value < 1 else f"{value:.0f} h"


WIDE, LEFT, TOP, TALL = 640.0, 120.0, 24.0, 34.0


def _svg(drawn: list[tuple[str, Hours]], horizon: float) -> str:
    """Ranges on one axis of hours: 5 to 95 % open, 25 to 75 % filled, the middle a line."""
    if not drawn:
        return ""
    height = TOP + TALL * len(drawn) + 26.0
    right = WIDE - 16.0

    def x(hour: float | None) -> float:
        return LEFT + (right - LEFT) * min(horizon if hour is None else hour, horizon) / horizon

    said = escape("; ".join(f"{name} {_range(hours, horizon)}" for name, hours in drawn))
    box = f'viewBox="0 0 {WIDE:.0f} {height:.0f}"'
    out = [f'<svg {box} role="img" class="outlook" aria-label="Hours until a clause may hold: {said}">']
    ticks = [hour for hour in (0, 6, 12, 24, 36, 48, 72, 96, 120, 144, 168) if hour <= horizon]
    for hour in ticks:
        at = x(float(hour))
        out.append(f'<line class="grid" x1="{at:.1f}" x2="{at:.1f}" y1="{TOP - 6:.0f}" y2="{height - 22:.0f}"/>')
        out.append(f'<text x="{at:.1f}" y="{height - 6:.0f}" text-anchor="middle">{hour} h</text>')
    for number, (name, hours) in enumerate(drawn):
        q = hours.quantiles
        assert q is not None
        y = TOP + TALL * number
        out.append(f'<text x="{LEFT - 10:.0f}" y="{y + 14:.0f}" text-anchor="end">{escape(name)}</text>')
        out.append(_box("outer", x(q["q05"]), x(q["q95"]), y + 2, 16))
        out.append(_box("inner", x(q["q25"]), x(q["q75"]), y + 2, 16))
        out.append(
            f'<line class="middle" x1="{x(q["q50"]):.1f}" x2="{x(q["q50"]):.1f}" y1="{y - 2:.0f}" y2="{y + 22:.0f}"/>'
        )
        if q["q95"] is None:
            out.append(f'<text class="beyond" x="{right:.0f}" y="{y - 3:.0f}" text-anchor="end">and beyond →</text>')
    out.append("</svg>")
    return "".join(out)


def _box(kind: str, left: float, right: float, y: float, tall: float) -> str:
    return f'<rect class="{kind}" x="{left:.1f}" y="{y:.0f}" width="{max(right - left, 1.5):.1f}" height="{tall:.0f}"/>'
