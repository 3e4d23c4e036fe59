"""What was typed, held against what was measured or charted about that moment: questions in words, never a refusal.

Either may be wrong. The numbers below decide what is asked; they are ours, argued in docs/definitions.md.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.episode.fluid.counter import fluid_from_counter
from slackwater.episode.fluid.totals import total
from slackwater.episode.instants import read_zone
from slackwater.episode.space import entries_for
from slackwater.episode.types import Chart, Entry
from slackwater.leak.handling import handling
from slackwater.leak.state import LeakTrace
from slackwater.leak.words import BLOCKED, BY_SWING, CLAMPED
from slackwater.quantities.spans import MINUTE_MS
from slackwater.quantities.units import format_quantity, unit

ABOUT_MIN = 5  # minutes before and after a moment that are looked at
FLOW_ASKED_ML_PER_MIN = 20.0  # recorded all that time beside 'none seen', or never beside bubbling
DELIVERED_APART_CMH2O = 2.0  # between what was read off, to its last digit, and what was recorded
FLUID_APART_ML = 20.0  # between what was charted and what the unit counted,
FLUID_APART_SHARE = 0.1  # and so much of the larger
LENGTH_APART_CM = 1.0  # the tube has moved
SHUT_SHARE = 0.5  # of the minutes looked at
# Beyond these another unit was written, or the pen slipped; no limits of health. In the chart's own units.
MEANT = {
    "spo2": (40.0, 100.0, "%"), "resp_rate": (3.0, 80.0, "/min"), "heart_rate": (20.0, 250.0, "/min"),
    "systolic": (40.0 * 1.35951, 300.0 * 1.35951, "mmHg"), "temperature": (30.0, 43.0, "Cel"),
    "length_at_skin": (1.0, 60.0, "cm"),
}  # fmt: skip
WEIGHT_TIMES = 1.5  # times the weight known: pounds are 2.2 times kilograms


@dataclass(frozen=True)
class Contradiction:
    """One question: what was typed, what speaks against it, and when each was so (UTC ms)."""

    id: str
    item: str
    text: str
    typed_ms: int
    against_ms: int


Clock = Callable[[int], str]


def contradictions(typed: Sequence[Entry], found: Assessment) -> tuple[Contradiction, ...]:
    """Ask about what was typed (`episode.typed.entry_of`), by all that was known when `found` was concluded.

    In the order typed. Nothing is asked where nothing was recorded about that moment: missing is no contradiction.
    """
    clock = _clock(read_zone(found.zone))
    own = entries_for(found.chart, "drain", found.episode)
    asked: list[Contradiction] = []
    for entry in typed:
        if entry.value is None:
            continue
        if found.leak_trace is not None:
            asked += _against_trace(entry, found.leak_trace, clock)
            asked += _fluid(entry, own, found, clock)
        asked += _against_chart(entry, own, found, clock)
        asked += _beyond_meaning(entry, found)
    return tuple(asked)


def _against_trace(entry: Entry, leak: LeakTrace, clock: Clock) -> Iterator[Contradiction]:
    about = _about(entry.time, leak)
    if about is None:
        return
    if entry.item in ("bubbling", "cough", "walk"):
        yield from _flow(entry, leak, about, clock)
    elif entry.item == "suction_delivered":
        yield from _delivered(entry, leak, about, clock)
    elif entry.item in ("swing", "tube_open"):
        yield from _open(entry, leak, about, clock)


def _flow(entry: Entry, leak: LeakTrace, about: slice, clock: Clock) -> Iterator[Contradiction]:
    low, high = _told(leak.minutes.flow_low[about]), _told(leak.minutes.peak_high[about])
    if not len(low):
        return
    none_seen = entry.value in ("none", "no_leak")
    if none_seen and float(low.min()) >= FLOW_ASKED_ML_PER_MIN:
        shown = _range(_told(leak.minutes.flow[about]), "mL/min")
        yield _asked(
            "air", entry, about, leak,
            f"{_name(entry)}: none seen at {clock(entry.time)}, while {shown} flowed {_when(about, leak, clock)}. "
            "Was it looked for on this drain, and where does that air come from?",
        )  # fmt: skip
    bubbling = entry.item == "bubbling" and str(entry.value)[0] in "EIC"
    if bubbling and len(high) and float(high.max()) < FLOW_ASKED_ML_PER_MIN:
        yield _asked(
            "air", entry, about, leak,
            f"Bubbling {entry.value} was seen at {clock(entry.time)}, while at most "
            f"{float(high.max()):.0f} mL/min flowed {_when(about, leak, clock)}. Is it this drain, and is air leaving "
            "or coming in before the unit?",
        )  # fmt: skip


def _delivered(entry: Entry, leak: LeakTrace, about: slice, clock: Clock) -> Iterator[Contradiction]:
    measured = _told(leak.minutes.pressure[about])
    if not len(measured):
        return
    low, high = float(measured.min()), float(measured.max())
    none_added = entry.value == "none_added"
    value = 0.0 if none_added else float(entry.value) if isinstance(entry.value, float) else None
    if value is None:
        return
    half = 0.0 if none_added else _half_digit(entry.text)
    apart = max(low - (value + half), (value - half) - high)
    # a seal is a few centimetres of water deep, so no suction added is not nothing measured
    if apart <= (2 * DELIVERED_APART_CMH2O if none_added else DELIVERED_APART_CMH2O):
        return
    shown = _range(measured, "cmH2O")
    said = "none added" if none_added else entry.text
    yield _asked(
        "delivered", entry, about, leak,
        f"Suction delivered was written as {said} for {clock(entry.time)}; {shown} was recorded "
        f"{_when(about, leak, clock)}.{_unit_hint(value, float(np.median(measured)))} Which of the two is right?",
    )  # fmt: skip


def _unit_hint(value: float, measured: float) -> str:
    """Names the slip that their ratio looks like."""
    if abs(value) < 1 or abs(measured) < 1:
        return ""
    ratio = max(value / measured, measured / value)
    if abs(ratio / float(unit("mmHg").factor) - 1) <= 0.06:
        return " One is 1.36 times the other, as mmHg and cmH2O are."
    return " One is about ten times the other, as kPa and cmH2O are." if 8 <= ratio <= 12.5 else ""


def _open(entry: Entry, leak: LeakTrace, about: slice, clock: Clock) -> Iterator[Contradiction]:
    reason = leak.doubt.reason[about]
    seen_open = entry.value in ("present", "reduced", "yes")
    for code, words in ((BLOCKED, "shut"), (CLAMPED, "clamped")):
        if seen_open and float((reason == code).mean()) >= SHUT_SHARE:
            yield _asked(
                "open", entry, about, leak,
                f"{_name(entry)} was written as {entry.value} for {clock(entry.time)}; the record looks {words} "
                f"{_when(about, leak, clock)}. Look again at tube and clamp.",
            )  # fmt: skip
    swung = leak.open_shown[about] == BY_SWING
    if entry.value in ("absent", "no") and float(swung.mean()) >= SHUT_SHARE:
        size = float(np.median(_told(leak.breath.swing[about]))) if len(_told(leak.breath.swing[about])) else 0.0
        yield _asked(
            "open", entry, about, leak,
            f"{_name(entry)} was written as {entry.value} for {clock(entry.time)}; a swing of "
            f"{format_quantity(size, 'cmH2O', places=1)} was recorded {_when(about, leak, clock)}. Is it this drain?",
        )  # fmt: skip


def _fluid(entry: Entry, own: Chart, found: Assessment, clock: Clock) -> Iterator[Contradiction]:
    """What was charted for an interval, against what the unit's counter rose in it."""
    if entry.item != "fluid_output" or not isinstance(entry.value, float) or found.leak_trace is None:
        return
    minutes = found.leak_trace.minutes
    before = [one.time for one in own.of("fluid_output") if one.time < entry.time]
    start = before[-1] if before else found.episode.connected_at
    ends = minutes.start_ms + MINUTE_MS * np.arange(1, len(minutes) + 1, dtype=np.int64)
    counted = np.isfinite(minutes.fluid_ml)
    if start is None or counted.sum() < 2 or start >= entry.time:
        return
    record = fluid_from_counter(ends, minutes.fluid_ml, MINUTE_MS)
    if not len(record) or entry.time > int(record.end_ms[-1]) + 2 * ABOUT_MIN * MINUTE_MS:
        return
    bounds = total(record, start // MINUTE_MS * MINUTE_MS, min(entry.time, int(record.end_ms[-1])))
    slack = max(FLUID_APART_ML, FLUID_APART_SHARE * max(entry.value, bounds.low_ml))
    if bounds.low_ml - slack <= entry.value <= bounds.high_ml + slack:
        return
    some = f"at least {bounds.low_ml:.0f}" if bounds.high_ml > bounds.low_ml else f"{bounds.low_ml:.0f}"
    text = (
        f"{entry.text} of fluid were written for {clock(start)} to {clock(entry.time)}; the unit counted {some} mL in "
        "that time. Is it the amount since the last entry, and of this drain?"
    )
    yield Contradiction("fluid", entry.item, text, entry.time, start)


def _against_chart(entry: Entry, own: Chart, found: Assessment, clock: Clock) -> Iterator[Contradiction]:
    if entry.item in ("swing", "tube_open", "cough", "bubbling") and entry.value not in ("absent", "no", "not_looked"):
        clamped = [one for one in handling(own).clamped if one.start_ms <= entry.time < one.end_ms]
        if clamped and (found.leak_trace is None or entry.item not in ("swing", "tube_open")):
            text = (
                f"{_name(entry)} was written as {entry.value} for {clock(entry.time)}; the drain is charted clamped "
                f"since {clock(clamped[-1].start_ms)}. Is the clamp off?"
            )
            yield Contradiction("clamped", entry.item, text, entry.time, clamped[-1].start_ms)
    if entry.item == "length_at_skin" and isinstance(entry.value, float):
        before = [e for e in own.of("length_at_skin") if e.time < entry.time and isinstance(e.value, float)]
        if before and abs(float(before[-1].value or entry.value) - entry.value) >= LENGTH_APART_CM:
            text = (
                f"Length at skin was {before[-1].text} at {clock(before[-1].time)} and is {entry.text} at "
                f"{clock(entry.time)}: has the tube moved? If so, look at its side holes and fixing, and tell someone."
            )
            yield Contradiction("length", entry.item, text, entry.time, before[-1].time)
    yield from _other_side(entry, found)


def _other_side(entry: Entry, found: Assessment) -> Iterator[Contradiction]:
    """A note or site that names the other side, or another drain's number."""
    told = f"{entry.value if entry.item in ('site', 'note') else ''} {entry.note}".lower()
    side = found.episode.side
    other = {"left": "right", "right": "left"}.get(side or "")
    if other and re.search(rf"\b{other}\b", told) and not re.search(rf"\b{side}\b", told):
        text = f"{_name(entry)} speaks of the {other} side; this drain is on the {side}. Is it this drain?"
        yield Contradiction("side", entry.item, text, entry.time, entry.time)
    if entry.drain is not None and found.episode.drain_number is not None and entry.drain != found.episode.drain_number:
        text = f"{_name(entry)} is for drain {entry.drain}; this is drain {found.episode.drain_number}."
        yield Contradiction("drain", entry.item, text, entry.time, entry.time)


def _beyond_meaning(entry: Entry, found: Assessment) -> Iterator[Contradiction]:
    value = entry.value
    if not isinstance(value, float):
        return
    if entry.item in MEANT:
        lowest, highest, symbol = MEANT[entry.item]
        if not lowest <= value <= highest:
            ends = format_quantity(lowest, symbol, places=0), format_quantity(highest, symbol, places=0)
            text = f"{_name(entry)} {entry.text} is outside {ends[0]} to {ends[1]}: is the unit right, and the number?"
            yield Contradiction("meaning", entry.item, text, entry.time, entry.time)
    known = found.episode.weight_kg
    if entry.item == "weight" and known and not 1 / WEIGHT_TIMES < value / known < WEIGHT_TIMES:
        text = f"Weight {entry.text}; {known:g} kg is recorded. Pounds are 2.2 times kilograms: is the unit right?"
        yield Contradiction("meaning", entry.item, text, entry.time, entry.time)


def _about(time_ms: int, leak: LeakTrace) -> slice | None:
    """The recorded minutes about a moment; None where nothing was recorded there."""
    k = (time_ms - leak.minutes.start_ms) // MINUTE_MS
    first, end = max(k - ABOUT_MIN, 0), min(k + ABOUT_MIN + 1, len(leak.minutes))
    if first >= end or not (leak.minutes.covered[first:end] > 0).any():
        return None
    return slice(first, end)


def _asked(id_: str, entry: Entry, about: slice, leak: LeakTrace, text: str) -> Contradiction:
    return Contradiction(id_, entry.item, text, entry.time, leak.minutes.start_ms + about.start * MINUTE_MS)


def _told(values: NDArray[np.float64]) -> NDArray[np.float64]:
    return values[np.isfinite(values)]


def _range(values: NDArray[np.float64], symbol: str) -> str:
    places = 1 if symbol == "cmH2O" else 0
    low, high = f"{float(values.min()):.{places}f}", f"{float(values.max()):.{places}f}"
    return f"{low} {symbol}" if low == high else f"{low} to {high} {symbol}"


def _when(about: slice, leak: LeakTrace, clock: Clock) -> str:
    start = leak.minutes.start_ms
    return f"from {clock(start + about.start * MINUTE_MS)} to {clock(start + about.stop * MINUTE_MS)}"


def _half_digit(text: str) -> float:
    """Half of the last digit that was written, in cmH2O: '-2.0 kPa' stands for 1.95 to 2.05 kPa."""
    number, _, symbol = text.partition(" ")
    places = len(number.partition(".")[2])
    return 0.5 * 10.0**-places * float(unit(symbol, "pressure").factor) if symbol else 0.0


def _name(entry: Entry) -> str:
    return entry.item.replace("_", " ").capitalize()


def _clock(zone: tzinfo) -> Clock:
    return lambda ms: datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone).strftime("%H:%M")
