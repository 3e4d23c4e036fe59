"""Charts over the drains in their order, or by week where dates were kept; and units side by side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.audit.charting import Kept
from slackwater.audit.figures import PER_DAYS, Counts, Rules, too_few_make_it_up
from slackwater.audit.lasting import NO, YES
from slackwater.audit.measures import Measured, blocked_in, days_in
from slackwater.audit.statistics.funnel import Funnel, funnel_of_rates, funnel_of_shares, rate_limits, share_limits
from slackwater.audit.statistics.process_charts import Chart, Phase, g_chart, p_chart, t_chart, u_chart, xmr_chart
from slackwater.audit.statistics.special import two_sided_z
from slackwater.audit.statistics.suppress import kept_back
from slackwater.protocol.status import Status

BLOCK = 10  # drains a point of a share or a rate. Ours
STEPS = 60  # sizes at which the lines of a funnel are drawn
ADDS_UP_TO = {  # the row of a table of counts that a chart's points give away together
    "not_met_at_removal": ("met",), "unplanned_between": ("unplanned",), "unplanned_days": ("unplanned",),
}  # fmt: skip
GIVEN_AWAY = "its points would give away a number that is kept back."
FEWEST_EVENTS = 5  # of fewer events there is nothing to draw over time. Ours


@dataclass(frozen=True, eq=False)
class Drawn:
    """A chart with its words; chart None: it is not drawn, and `why` says why."""

    key: str
    title: str
    unit: str
    point: str  # what a point is
    labels: tuple[str, ...]
    chart: Chart | None
    why: str = ""


@dataclass(frozen=True, eq=False)
class SideBySide:
    """A funnel of wards; funnel None: not drawn, and `why` says why."""

    key: str
    title: str
    unit: str
    wards: tuple[str, ...]
    sizes: tuple[float, ...]
    funnel: Funnel | None
    left_out: int
    why: str = ""
    lines_at: tuple[float, ...] = ()  # sizes at which the limits are drawn
    lines: tuple[tuple[float, ...], ...] = ()  # low and high of each level there


def charts_of(
    drains: Sequence[Measured], rules: Rules, zone: tzinfo, dated: bool, changed_at: int | None,
    counts: Sequence[Counts] = (),
) -> tuple[Drawn, ...]:  # fmt: skip
    """drains: in order of connection. changed_at: the place of the first drain after a named change.

    counts: tables shown beside; a chart whose points add up to what one of them keeps back is not drawn.
    """
    planned = [one for one in drains if one.planned and one.avoidable is not None]
    removed = [one for one in drains if one.at_removal is not None and one.planned]
    with_days = [one for one in drains if one.drain_days is not None and one.removed]
    charted = [one for one in drains if one.chart is not None and one.chart.kept]
    logged = [one for one in with_days if one.blocked is not None]
    found = (
        _avoidable(planned, rules, zone, dated, changed_at),
        _shares(
            "not_met_at_removal", "Planned removals at which the rule was not met, or could not be told", removed,
            [int(one.at_removal not in (Status.MET, Status.MET_WITH_GAPS)) for one in removed], rules, changed_at,
        ),
        _completeness(charted, rules, changed_at),
        _rates("blocked", "Blocked stretches", logged, [blocked_in([one]) for one in logged], rules, changed_at),
        *_rare("unplanned", "Unplanned removals", with_days, rules),
    )  # fmt: skip
    hidden = {key for key, rows in ADDS_UP_TO.items() if any(one.hides(row) for one in counts for row in rows)}
    return tuple(
        replace(one, labels=(), chart=None, why=GIVEN_AWAY) if one.key in hidden and one.chart is not None else one
        for one in found
    )


def funnels_of(drains: Sequence[Measured], rules: Rules, counts: Sequence[Counts] = ()) -> tuple[SideBySide, ...]:
    """Wards: prolonged leak (by the first definition asked for), and unplanned removals per drain-day.

    counts: how drains ended, and the leaks; where one keeps back what the wards add up to, nothing is drawn.
    """
    told = [one for one in drains if one.leaks and one.leaks[0].outcome in (YES, NO)]
    days = [one for one in drains if one.drain_days is not None and one.removed]
    found = (
        _funnel("prolonged_leak", "Prolonged leak, of those of whom it is known", "%", told,
                [one.leaks[0].outcome == YES for one in told], None, rules),
        _funnel("unplanned", "Unplanned removals", "per 100 drain-days", days,
                [one.removal == "unplanned" for one in days], [days_in([one]) for one in days], rules),
    )  # fmt: skip
    hidden = {
        "prolonged_leak": any(one.hides(word) for one in counts[1:2] for word in (YES, NO)),
        "unplanned": any(one.hides("unplanned") for one in counts[:1]),
    }
    return tuple(
        SideBySide(one.key, one.title, one.unit, (), (), None, 0, GIVEN_AWAY)
        if hidden[one.key] and one.funnel is not None
        else one
        for one in found
    )


# --- the charts ------------------------------------------------------------------------------------


def _avoidable(planned: Sequence[Measured], rules: Rules, zone: tzinfo, dated: bool, changed_at: int | None) -> Drawn:
    per = max(rules.fewest, 5)
    hours = [one.avoidable.surely_h for one in planned if one.avoidable is not None]
    if too_few_make_it_up(hours, rules):
        return Drawn("avoidable", "Avoidable hours", "h", "", (), None, f"{rules.few} drains have any: kept back.")
    groups: list[tuple[str, list[int]]]
    if dated:
        weeks: dict[datetime, list[int]] = {}
        for k, one in enumerate(planned):
            assert one.removed_ms is not None
            at = datetime.fromtimestamp(one.removed_ms / 1000, UTC).astimezone(zone)
            weeks.setdefault(datetime(at.year, at.month, at.day, tzinfo=UTC) - timedelta(days=at.weekday()), []).append(
                k
            )
        first, last = min(weeks, default=None), max(weeks, default=None)
        groups = []
        while first is not None and last is not None and first <= last:
            groups.append((f"{first:%d %b %Y}", weeks.get(first, [])))
            first += timedelta(days=7)
        words = f"mean of a week's planned removals; empty with fewer than {max(rules.fewest, 1)}"
    else:
        groups = [(_span(planned, part), part) for part in _blocks(len(planned), per)]
        words = f"mean of {per} planned removals, in order of connection"
    fewest = max(rules.fewest, 1)
    points = [float(np.mean([hours[k] for k in part])) if len(part) >= fewest else float("nan") for _, part in groups]
    if len(points) < 2:
        return Drawn("avoidable", "Avoidable hours", "h", words, (), None, f"{len(points)} points are too few.")
    phases = _phases([planned[part[0]].about.order if part else None for _, part in groups], changed_at)
    chart = xmr_chart(points, phases, least=0.0)
    return Drawn("avoidable", "Avoidable hours", "h", words, tuple(label for label, _ in groups), chart)


def _shares(
    key: str, title: str, drains: Sequence[Measured], events: Sequence[int], rules: Rules, changed_at: int | None
) -> Drawn:
    blocks = _blocks(len(drains), max(rules.fewest, BLOCK))
    words = f"share of {max(rules.fewest, BLOCK)} drains, in order of connection"
    if (why := _too_few(len(blocks), sum(events), rules)) is not None:
        return Drawn(key, title, "%", words, (), None, why)
    top = [sum(events[k] for k in block) for block in blocks]
    chart = p_chart(top, [len(block) for block in blocks], _phases_of(drains, blocks, changed_at))
    return Drawn(key, title, "%", words, tuple(_span(drains, block) for block in blocks), chart)


def _completeness(drains: Sequence[Measured], rules: Rules, changed_at: int | None) -> Drawn:
    key, title = "charted_on_time", "Observations charted on time, of those the rule's schedule asked for"
    blocks = _blocks(len(drains), max(rules.fewest, BLOCK))
    words = (
        f"share of all occasions of {max(rules.fewest, BLOCK)} drains, in order of connection. No p chart: occasions "
        "of one drain are not independent, and its limits would be too narrow"
    )
    if len(blocks) < 2:
        why = "no drain has a rule with a schedule and a chart." if not drains else "too few drains."
        return Drawn(key, title, "%", words, (), None, why)
    kept = [[kept for k in block for kept in _kept(drains[k])] for block in blocks]
    shares = [sum(one.on_time for one in part) / sum(one.due for one in part) for part in kept]
    chart = xmr_chart(shares, _phases_of(drains, blocks, changed_at), least=0.0)
    return Drawn(key, title, "%", words, tuple(_span(drains, block) for block in blocks), chart)


def _kept(one: Measured) -> tuple[Kept, ...]:
    return () if one.chart is None else tuple(one.chart.kept.values())


def _rates(
    key: str, title: str, drains: Sequence[Measured], events: Sequence[int], rules: Rules, changed_at: int | None
) -> Drawn:
    blocks = _blocks(len(drains), max(rules.fewest, BLOCK))
    words = f"per 100 drain-days of {max(rules.fewest, BLOCK)} drains, in order of connection"
    if (why := _too_few(len(blocks), sum(events), rules)) is not None:
        return Drawn(key, title, "per 100 drain-days", words, (), None, why)
    top = [sum(events[k] for k in block) for block in blocks]
    days = [days_in(drains[k] for k in block) / PER_DAYS for block in blocks]
    chart = u_chart(top, days, _phases_of(drains, blocks, changed_at))
    return Drawn(key, title, "per 100 drain-days", words, tuple(_span(drains, block) for block in blocks), chart)


def _rare(key: str, title: str, drains: Sequence[Measured], rules: Rules) -> tuple[Drawn, Drawn]:
    """Drains between two such removals, and drain-days between them."""
    at = [k for k, one in enumerate(drains) if one.removal == "unplanned"]
    between, days = f"{title}: drains between one and the next", f"{title}: drain-days between one and the next"
    point = "a point for each but the first; high is good"
    need = max(rules.fewest, FEWEST_EVENTS)
    if len(at) < need:
        why = f"fewer than {need} of them: kept back, and too few to draw."
        return (
            Drawn(f"{key}_between", between, "drains", point, (), None, why),
            Drawn(f"{key}_days", days, "drain-days", point, (), None, why),
        )
    labels = tuple(f"the {n}." for n in range(2, len(at) + 1))
    gaps = np.diff(at) - 1
    run = np.cumsum([days_in([one]) for one in drains])
    return (
        Drawn(f"{key}_between", between, "drains", point, labels, g_chart(gaps)),
        Drawn(f"{key}_days", days, "drain-days", point, labels, t_chart(np.diff(run[at]))),
    )


def _blocks(n: int, per: int) -> list[list[int]]:
    """Whole blocks alone: a last, smaller one waits until it is full."""
    return [list(range(k, k + per)) for k in range(0, n - per + 1, per)]


def _too_few(points: int, events: int, rules: Rules) -> str | None:
    if points < 2:
        return "too few drains."
    return f"{rules.few} events in all: kept back." if events < rules.fewest else None


def _phases_of(drains: Sequence[Measured], blocks: Sequence[Sequence[int]], changed_at: int | None) -> list[Phase]:
    return _phases([drains[block[0]].about.order for block in blocks], changed_at)


def _phases(orders: Sequence[int | None], changed_at: int | None) -> list[Phase]:
    """A named change begins a new phase at the first point that lies wholly after it."""
    after = [
        k for k, order in enumerate(orders) if order is not None and changed_at is not None and order >= changed_at
    ]
    return [Phase(), Phase(after[0])] if after and after[0] > 0 else [Phase()]


def _span(drains: Sequence[Measured], block: Sequence[int]) -> str:
    first, last = drains[block[0]].about.order, drains[block[-1]].about.order
    return f"drains {first} to {last}"


# --- wards side by side ----------------------------------------------------------------------------


def _funnel(
    key: str, title: str, unit: str, drains: Sequence[Measured], events: Sequence[bool], days: Sequence[float] | None,
    rules: Rules,
) -> SideBySide:  # fmt: skip
    wards = sorted({one.about.ward for one in drains if one.about.ward is not None})
    rows = [[k for k, one in enumerate(drains) if one.about.ward == ward] for ward in wards]
    top = [sum(events[k] for k in row) for row in rows]
    if len(wards) < 2:
        return SideBySide(key, title, unit, (), (), None, 0, "fewer than two wards are recorded.")
    back = kept_back([[a, len(row) - a] for a, row in zip(top, rows, strict=True)], rules.fewest)
    shown = np.flatnonzero(~np.any(back[: len(wards), :2], axis=1)).tolist()
    if len(shown) < 2:
        return SideBySide(
            key, title, unit, (), (), None, len(wards) - len(shown), "the numbers are too small: kept back."
        )
    limits: Callable[..., Any]
    if days is None:
        sizes = [float(len(rows[k])) for k in shown]
        found = funnel_of_shares([top[k] for k in shown], sizes)
        most = max(sizes) * 1.12
        at = np.unique(np.round(np.linspace(max(most / STEPS, 1.0), most, STEPS)))
        limits = share_limits
    else:
        sizes = [sum(days[j] for j in rows[k]) / PER_DAYS for k in shown]
        found = funnel_of_rates([top[k] for k in shown], sizes)
        at = np.linspace(0.0, max(sizes) * 1.12, STEPS + 1)[1:]
        limits = rate_limits
    return SideBySide(
        key, title, unit, tuple(wards[k] for k in shown), tuple(sizes), found, len(wards) - len(shown),
        lines_at=tuple(at.tolist()), lines=_lines(found, at, limits),
    )  # fmt: skip


def _lines(found: Funnel, at: NDArray[np.float64], limits: Callable[..., Any]) -> tuple[tuple[float, ...], ...]:
    """The funnel's limits at other sizes than its wards', so that they can be drawn. Widened as the funnel's are."""
    lines = []
    for level in found.levels:
        low, high = limits(at, found.target, level)
        if found.widened and found.spread is not None:
            variance = found.target * (1.0 - found.target) if limits is share_limits else found.target
            reach = two_sided_z(level) * np.sqrt(found.spread * variance / at)
            low, high = np.maximum(found.target - reach, 0.0), found.target + reach
            high = np.minimum(high, 1.0) if limits is share_limits else high
        lines += [tuple(low.tolist()), tuple(high.tolist())]
    return tuple(lines)
