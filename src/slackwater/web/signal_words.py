"""Signals of units looked back on, in words. `ward_told` runs in another process: scipy is slow to start."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo

from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.unit_calls import (
    CallFigures,
    Count,
    Stay,
    attended,
    clipped,
    figures,
    rate_ratio,
    repeats,
    within,
)
from slackwater.episode.instants import read_zone
from slackwater.quantities.spans import DAY_MS
from slackwater.report.hours_picture import hours_picture
from slackwater.report.times import shown
from slackwater.store.calls import Call
from slackwater.store.place import Place
from slackwater.store.record import opened
from slackwater.store.signals import Heard, heard

KINDS = {
    "suction_not_reached": "suction not reached", "line_blocked": "line blocked, or fluid in it",
    "large_leak": "large system leak, or apart", "container_full": "container full", "tilted": "tilted or fallen",
    "low_battery": "low battery", "internal_fault": "internal fault", "other": "something else",
}  # fmt: skip
NONE_KNOWN = "No signal is known. Quiet is not none: what was neither logged nor written down is not in here."


@dataclass(frozen=True)
class Asked:
    """Which drains with their names and stays, and the times that count (UTC ms). change_ms: before and after it."""

    place: Place
    names: dict[str, str]
    stays: tuple[Stay, ...]
    zone_name: str
    from_ms: int
    to_ms: int
    change_ms: int | None = None


@dataclass(frozen=True)
class DrainRow:
    """One drain: its key and name; counts in words."""

    drain: str
    name: str
    calls: int
    repeats: int
    days: str
    rate: str
    came: str


@dataclass(frozen=True)
class WardTold:
    """Everything that the page says. counts: (words, number, share) rows; change: rows before and after."""

    summary: str
    known: tuple[str, ...]
    kinds: tuple[tuple[str, int, float], ...]
    causes: tuple[tuple[str, int, float], ...]
    no_cause: int
    helped: tuple[tuple[str, str, int], ...]
    waited: str
    again: str
    hours: str
    hours_said: str
    rows: tuple[DrainRow, ...]
    unresolved: tuple[tuple[str, str, str], ...]  # drain, its name, what
    change: tuple[tuple[str, str, str, str], ...]
    change_said: str


def ward_told(asked: Asked) -> WardTold:
    """The figures over all the drains asked about."""
    found = heard(opened(asked.place), asked.names)
    zone = read_zone(asked.zone_name)
    stays = clipped(asked.stays, asked.from_ms, asked.to_ms)
    made = figures(found.calls, stays, zone)
    said = _hours_said(made)
    change, change_said = _change(found.calls, stays, asked, zone)
    summary = _summary(made, len({one.drain for one in stays}), bool(found.tells))
    return WardTold(
        summary, _known(found, len(asked.names)), _rows(made.kinds, KINDS), _rows(made.causes), made.no_cause,
        tuple((words(a), words(b), n) for a, b, n in made.helped), _waited(made), _again(made),
        hours_picture(made.hours, said), said, tuple(_drain_rows(found.calls, stays, asked)),
        tuple(
            (one.drain, asked.names[one.drain], f"{kind_of(one)}, {shown(one.from_ms, zone)}")
            for one in made.unresolved
        ),
        change, change_said,
    )  # fmt: skip


def kind_of(call: Call) -> str:
    return KINDS.get(call.kind, words(call.kind))


def words(text: str) -> str:
    return text.replace("_", " ")


def interval(found: Estimate, places: int = 2, unit: str = "") -> str:
    """A figure with its 95 % interval."""
    if found.value is None:
        return "cannot tell"
    low, high = ("not known" if one is None else f"{one:.{places}f}" for one in (found.low, found.high))
    return f"{found.value:.{places}f}{unit} (95 % interval {low} to {high})"


def _summary(made: CallFigures, drains: int, told_by_a_log: bool) -> str:
    if not made.drain_days:
        return "No drain was in during this time, as far as is recorded: there is nothing to count against."
    if not made.calls and not told_by_a_log:  # missing is never zero
        return "How often units signalled cannot be told: no log here tells of signals, and nobody wrote one down."
    signals = f"{made.calls} signal{'s' if made.calls != 1 else ''}"
    return f"{signals} in {made.drain_days:.1f} drain-days of {drains} drains: {interval(made.per_day)} a drain-day."


def _known(found: Heard, drains: int) -> tuple[str, ...]:
    said = [
        f"{len(found.tells)} of {drains} drains have a log that tells of signals; of the others only what staff wrote "
        "down is known. Quiet is not none."
    ]
    if found.not_read:
        said.append(f"The logs of {len(found.not_read)} drains were never looked through for signals: not in here.")
    return tuple(said)


def _waited(made: CallFigures) -> str:
    at = made.attended
    if not at.came + at.ended_alone:
        return "Cannot tell: nowhere is written when somebody came, or when it ended."
    alone = f", {at.ended_alone} ended before anybody was written to have come" if at.ended_alone else ""
    untold = f"; of {at.untold} neither is known" if at.untold else ""
    if at.median.value is None:
        return f"The median is not reached: in {at.came} of {at.came + at.ended_alone} somebody came{alone}{untold}."
    high = "not reached" if at.median.high is None else f"{at.median.high:.0f}"
    low = "not known" if at.median.low is None else f"{at.median.low:.0f}"
    return (
        f"Median {at.median.value:.0f} min until somebody came (95 % interval {low} to {high}; in {at.came} somebody "
        f"came{alone}{untold})."
    )


def _again(made: CallFigures) -> str:
    if made.repeats.value is None:
        return "Cannot tell: no signal is known."
    low, high = (100 * (one or 0.0) for one in (made.repeats.low, made.repeats.high))
    return f"{100 * made.repeats.value:.0f} % repeated one within 10 min (95 % interval {low:.0f} to {high:.0f} %)."


def _hours_said(made: CallFigures) -> str:
    if not made.calls:
        return "No signal is known, so no hour of the day stands out."
    night = sum(made.hours[22:]) + sum(made.hours[:6])
    return f"By the hour in which they began: {night} of {made.calls} between 22:00 and 06:00, a third of the day."


def _rows(counts: Sequence[Count], names: dict[str, str] | None = None) -> tuple[tuple[str, int, float], ...]:
    return tuple(((names or {}).get(one.word, words(one.word)), one.count, one.share) for one in counts)


def _drain_rows(calls: Sequence[Call], stays: Sequence[Stay], asked: Asked) -> list[DrainRow]:
    """The drains with the most signals first."""
    inside = within(calls, stays)
    again = repeats(inside)
    found = []
    for drain, number in Counter(one.drain for one in inside).most_common():
        days = sum(one.to_ms - one.from_ms for one in stays if one.drain == drain) / DAY_MS
        at = attended([one for one in inside if one.drain == drain])
        came = "not recorded" if not at.came else f"in {at.came} of {number}"
        found.append(
            DrainRow(
                drain, asked.names[drain], number, sum(n for (one, _), n in again.items() if one == drain),
                f"{days:.1f}", f"{number / days:.2f}" if days else "cannot tell", came,
            )
        )  # fmt: skip
    return found


def _change(
    calls: Sequence[Call], stays: Sequence[Stay], asked: Asked, zone: tzinfo
) -> tuple[tuple[tuple[str, str, str, str], ...], str]:  # fmt: skip
    """Before and after a moment: name, signals, drain-days, rate."""
    if asked.change_ms is None:
        return (), ""
    rows, sides = [], []
    for name, first, last in (
        ("before", asked.from_ms, asked.change_ms), ("after", asked.change_ms, asked.to_ms),
    ):  # fmt: skip
        made = figures(calls, clipped(stays, first, last), zone)
        sides.append((made.calls, made.drain_days))
        rows.append((name, str(made.calls), f"{made.drain_days:.1f}", interval(made.per_day)))
    ratio = rate_ratio(sides[0], sides[1])
    if ratio.value is None and ratio.low is not None:
        return tuple(rows), (
            f"Every signal fell after it: the rate is at least {ratio.low:.2f} times that before (the low end of the "
            "95 % interval), and no higher end can be given."
        )
    if ratio.value is None:
        return tuple(rows), "Before and after cannot be compared: one of them has no drain-days, or neither a signal."
    wide = ratio.low is None or ratio.high is None or ratio.low <= 1.0 <= ratio.high
    verdict = "that may be chance" if wide else "chance alone rarely does that; other things may have changed too"
    return tuple(rows), f"Rate after over rate before: {interval(ratio)}: {verdict}."
