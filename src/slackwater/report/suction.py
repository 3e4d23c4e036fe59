"""Suction as ordered, set and delivered: the figures in words, and one picture on one time axis."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.suction import Fidelity, Stretch
from slackwater.errors import UsageError
from slackwater.quantities.spans import MINUTE_MS
from slackwater.quantities.units import format_quantity
from slackwater.report.suction_picture import suction_picture
from slackwater.report.times import between, shown
from slackwater.report.words import NOT_RECORDED

KINDS = {
    "off": "off suction",
    "clamped": "clamped",
    "weaker": "too little",
    "stronger": "too much",
    "cannot_tell": "cannot tell",
}
NOBODY_WROTE = "not known: nothing is charted near it"
MODEL = (
    "A column of fluid a centimetre high is worth a centimetre of water. At the flows at which a rule on air is met, "
    "two metres of 6 mm tube cost about 0.01 cmH2O, so a standing gap along the line means fluid or a blockage: trace "
    "the tube. This is a model of a smooth tube; drains have side holes, bends and joints."
)


@dataclass(frozen=True)
class ShareRow:
    """One stretch of the clock: how its minutes with suction ordered divide. share: in words.

    ordered_at, set_at, delivered: levels, as recorded. [cmH2O]
    """

    name: str
    ordered: int
    share: str
    off: int
    apart: int
    untold: int
    ordered_at: str = NOT_RECORDED
    set_at: str = NOT_RECORDED
    delivered: str = NOT_RECORDED


@dataclass(frozen=True)
class StretchRow:
    """One stretch apart from the order."""

    number: int
    what: str
    when: str
    minutes: int
    level: str
    may: str
    over: bool
    why: str


@dataclass(frozen=True)
class SuctionTold:
    """Everything that a page or a terminal says of it."""

    summary: str
    within: str  # of the order; empty where no distance is named
    set_against: str
    rows: tuple[ShareRow, ...]
    stretches: tuple[StretchRow, ...]
    set_rows: tuple[tuple[str, str, str], ...]  # when, minutes, levels
    picture: str


def starts_of(text: str) -> tuple[int, ...]:
    """When shifts begin, as minutes of the ward's day. Raises UsageError naming what is no time.

    >>> starts_of("07:00 15:00, 23:00")
    (420, 900, 1380)
    """
    found = set()
    for word in text.replace(",", " ").split():
        told = re.fullmatch(r"([01]?[0-9]|2[0-3]):([0-5][0-9])", word)
        if told is None:
            raise UsageError(
                f"{word[:20]!r} is no time of a day", mend="Write when shifts begin, e.g. 07:00 15:00 23:00."
            )
        found.add(int(told[1]) * 60 + int(told[2]))
    return tuple(sorted(found))


def suction_told(found: Fidelity, zone: tzinfo, starts: Sequence[int] = ()) -> SuctionTold:
    """`starts`: minutes of the ward's day at which its shifts begin; none: whole days."""
    rows = tuple(
        _share_row(found, _shift_name(first, last, zone, bool(starts)), first, last)
        for first, last in shifts(found, zone, starts)
    )
    summary = summary_of(found)
    named = math.isfinite(found.within_cmh2o)
    return SuctionTold(
        summary, f"{cmh2o(found.within_cmh2o)} of the order" if named else "", set_sentence(found),
        tuple(row for row in rows if row.ordered), tuple(_stretch_rows(found, zone)),
        tuple(
            (between(one.from_ms, one.to_ms, zone), str(one.minutes), _levels(one.set, one.ordered))
            for one in found.set_apart
        ),
        suction_picture(found, zone, summary),
    )  # fmt: skip


def summary_of(found: Fidelity) -> str:
    """One sentence for the whole stay."""
    share, off = found.share, [one for one in found.stretches if one.kind == "off"]
    if not share.ordered:
        return "No order of suction is known for the time of this log, so there is nothing to hold it against."
    said = (
        f"Cannot tell how well the order was kept: none of {share.ordered} minutes with suction ordered can be told"
        if share.share is None
        else f"No distance from the order is named, so none of the {share.told} minutes that can be told is called too "
        "little or too much"
        if math.isinf(found.within_cmh2o)
        else f"Within {cmh2o(found.within_cmh2o)} of the order for {percent(share.share)} of the {share.told} minutes "
        "that can be told"
    )  # fmt: skip
    over = [one for one in off if one.over_min]
    unsaid = sum(one.may_be_off_min is None for one in off)
    times = f"{len(off)} time{'s' if len(off) != 1 else ''}, {sum(one.minutes for one in off)} min in all"
    said += f"; off suction {times}" if off else "; never off suction in them"
    if math.isinf(found.within_cmh2o):
        said += ", as far as the unit's own states and the chart tell"
    if over:
        said += f", {len(over)} of them longer than the order allows"
    if unsaid:
        said += f", {unsaid} under an order that does not say how long it may be off"
    blind = share.untold + share.clamped
    return f"{said}; {blind} minutes cannot be told." if blind else f"{said}; every minute can be told."


def set_sentence(found: Fidelity) -> str:
    """What the unit was set to, against the order."""
    if not found.set_known:
        return "This log does not record what the unit was set to: set against ordered cannot be told."
    if math.isinf(found.within_cmh2o):
        return f"What it was set to is recorded in {found.set_known} minutes with suction ordered: see the table."
    apart = sum(one.minutes for one in found.set_apart)
    if not apart:
        return f"The unit was set as ordered in all {found.set_known} minutes in which both are known."
    both = f"{apart} of {found.set_known} minutes in which both are known"
    return f"The unit was set to something else than was ordered for {both}."


def shifts(found: Fidelity, zone: tzinfo, starts: Sequence[int]) -> Iterator[tuple[int, int]]:
    """(from, to) of each shift of the ward's clock that the grid touches, UTC ms; a clock change makes one longer."""
    marks = sorted(set(starts)) or [0]
    end = found.start_ms + len(found.codes) * MINUTE_MS
    day = datetime.fromtimestamp(found.start_ms / 1000, UTC).astimezone(zone).date() - timedelta(days=1)
    edges: list[int] = []
    while not edges or edges[-1] < end:
        for mark in marks:
            local = datetime(day.year, day.month, day.day, mark // 60, mark % 60, tzinfo=zone)
            edges.append(int(local.timestamp()) * 1000)
        day += timedelta(days=1)
    for first, last in pairwise(edges):
        if last > found.start_ms and first < end:
            yield first, last


def cmh2o(value: float) -> str:
    """A level as people read it; a minus, not a hyphen."""
    return format_quantity(value, "cmH2O", 0 if abs(value - round(value)) < 0.05 else 1).replace("-", "−")


def percent(share: float) -> str:
    """A share of one in whole per cent; never 100 for less than all, nor 0 for more than none."""
    if 0 < share < 0.005:
        return "under 1 %"
    return "over 99 %" if 0.995 <= share < 1 else f"{100 * share:.0f} %"


def _shift_name(first: int, last: int, zone: tzinfo, timed: bool) -> str:
    return between(first, last, zone) if timed else shown(first, zone)[:-6]


def _share_row(found: Fidelity, name: str, from_ms: int, to_ms: int) -> ShareRow:
    share = found.between(from_ms, to_ms)
    said = "cannot tell" if share.share is None else f"{percent(share.share)} of {share.told} min"
    first, last = (max(0, -(-(at - found.start_ms) // MINUTE_MS)) for at in (from_ms, to_ms))
    levels = (_range(values[first:last]) for values in (found.ordered, found.set, found.delivered))
    return ShareRow(
        name, share.ordered, said, share.off, share.weaker + share.stronger, share.untold + share.clamped, *levels
    )


def _range(values: NDArray[np.float64]) -> str:
    """The middle of the minute means, and from the most suction to the least."""
    known = values[np.isfinite(values)]
    if not len(known):
        return NOT_RECORDED
    low, middle, high = (
        cmh2o(float(one)).partition(" ")[0] for one in (known.min(), np.median(known), known.max())
    )  # fmt: skip
    return middle if low == high else f"{middle} ({low} to {high})"


def _stretch_rows(found: Fidelity, zone: tzinfo) -> Iterator[StretchRow]:
    for number, one in enumerate(found.stretches, start=1):
        levels = f"{cmh2o(one.ordered)} ordered, "
        levels += f"{cmh2o(one.set)} set, " if one.set is not None and abs(one.set - one.ordered) > 0.5 else ""
        levels += "nothing recorded" if one.delivered is None else f"{cmh2o(one.delivered)} at the unit"
        yield StretchRow(
            number, KINDS[one.kind], between(one.from_ms, one.to_ms, zone), one.minutes, levels, _may(one),
            bool(one.over_min), "; ".join(one.why) or NOBODY_WROTE,
        )  # fmt: skip


def _levels(set_to: float, ordered: float) -> str:
    return f"{cmh2o(set_to)} set, {cmh2o(ordered)} ordered"


def _may(one: Stretch) -> str:
    if one.kind != "off":
        return ""
    if one.may_be_off_min is None:
        return "the order does not say"
    allowed = f"{one.may_be_off_min} min allowed"
    return f"{one.over_min} min more than the {allowed}" if one.over_min else f"within the {allowed}"
