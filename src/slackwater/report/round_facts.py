"""What a line of the round says beside leak and rule: fluid, suction ordered and delivered, canister, charge, pain."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import tzinfo

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment, last_minute
from slackwater.episode.space import drains_of_space, entries_for
from slackwater.episode.types import Entry
from slackwater.leak.stretches import stretches
from slackwater.quantities.spans import DAY_MS, HOUR_MS, MINUTE_MS, format_span
from slackwater.reading.log import NONE
from slackwater.report.fluid import fluid_record
from slackwater.report.times import shown
from slackwater.report.words import amount

DELIVERED_MIN = 10  # the delivered suction is the mean of so many minutes (ours): one breath is not the pump
SET_APART_CMH2O = 1.0  # the unit's setting and the order differ by more than a display's step (ours)
SOURCES = {"charted": "charted amounts", "levels": "canister levels", "counter": "the unit's counter"}


@dataclass(frozen=True)
class Suction:
    """`ordered` stands until another order; `delivered` is as old as the log, and vanishes with it."""

    ordered: str
    delivered: str
    note: str = ""
    none_ordered: bool = False  # water seal or gravity


def when(ms: int, now_ms: int, zone: tzinfo) -> str:
    """A moment; its day only where that is not today's."""
    return shown(ms, zone, day=shown(ms, zone)[:10] != shown(now_ms, zone)[:10])


# --- fluid ----------------------------------------------------------------------------------------


def fluid_lines(found: Assessment, zone: tzinfo) -> tuple[str, ...]:
    """Last hour and last day by the space, up to the moment to which every drain of it was told."""
    several = len(drains_of_space(found.episode, found.chart)) > 1
    amounts = found.facts.amounts.get(("fluid_output", "space"))
    lines = []
    whose = "space, all drains: " if several else ""
    if amounts is None and several:
        amounts, whose = found.facts.amounts.get(("fluid_output", "drain")), "this drain: "
        lines.append("a drain of this space is not told of: the sum cannot be told")
    if amounts is None or not len(amounts.entry_ends_ms):
        return (*lines, "not recorded, which is not zero")
    end = int(amounts.entry_ends_ms[-1])
    until = when(end, found.as_of_ms, zone)
    for name, window in (("hour", HOUR_MS), ("24 h", DAY_MS)):
        begun = found.episode.connected_at
        short = begun is not None and begun < end < begun + window
        length = end - begun if short and begun is not None else window
        low, high = amounts.totals(np.array([end], dtype=np.int64), length)
        label = f"{format_span(length / 1000)} since connection" if short else f"{name} to {until}:"
        lines.append(f"{whose}{label} {_told(float(low[0]), float(high[0]), found.facts.weight_kg)}")
        if short:
            break
    told = f"told until {until}, by {SOURCES.get(fluid_record(found).source, 'the chart')}"
    silent = (found.as_of_ms - end) // MINUTE_MS
    lines.append(told + (f"; not recorded for {format_span(60.0 * silent)} since" if silent > 1 else ""))
    return tuple(lines)


def _told(low: float, high: float, weight_kg: float | None) -> str:
    """As bounds, and for each kg: the lower bound rounded down, the upper one up, so that rounding promises nothing."""
    if low <= 0 and math.isinf(high):
        return "cannot tell: not told for all of it"
    text = _range(amount(round(low, 1)), amount(round(high, 1)), low, high, "mL")
    if weight_kg is None or weight_kg <= 0:
        return f"{text}; weight not recorded"
    down = math.floor(10 * low / weight_kg + 1e-9) / 10
    up = math.ceil(10 * high / weight_kg - 1e-9) / 10 if math.isfinite(high) else high
    return f"{text} ({_range(f'{down:.1f}', f'{up:.1f}', down, up, 'mL/kg')})"


def _range(low_text: str, high_text: str, low: float, high: float, unit: str) -> str:
    if math.isinf(high):
        return f"at least {low_text} {unit}, not all recorded"
    if low_text == high_text:
        return f"{low_text} {unit}"
    return f"at most {high_text} {unit}" if low <= 0 else f"{low_text} to {high_text} {unit}"


# --- suction --------------------------------------------------------------------------------------


def suction(found: Assessment, zone: tzinfo) -> Suction:
    """What was ordered and what the unit delivers, with the difference."""
    own = entries_for(found.chart, "drain", found.episode)
    orders = own.of("suction_ordered")
    order = orders[-1] if orders else None
    level = _level(order)
    ordered = "not recorded" if order is None else _order_words(order, level, found.as_of_ms, zone)
    measured = _measured(found)
    if measured is None:
        read = own.of("suction_delivered")
        if not read or read[-1].conflict or read[-1].value is None:
            return Suction(ordered, "not recorded", none_ordered=level == 0)
        text = "none added" if read[-1].value == "none_added" else f"{signed(read[-1].value)} cmH2O"
        told = f"{text}, read at {when(read[-1].time, found.as_of_ms, zone)}"
        return Suction(ordered, told, none_ordered=level == 0)
    text = f"{signed(measured)} cmH2O"
    if level is not None and level < 0:
        apart = round(measured - level, 1)
        text += f", {abs(apart):.1f} {'less' if apart > 0 else 'more'} than ordered" if apart else ", as ordered"
    elif level == 0:
        text = f"none added; measured {text}"
    return Suction(ordered, text, _set_apart(found, level), level == 0)


def signed(value: object) -> str:
    """A pressure with its sign, to the tenth: '−18.4'."""
    return f"{value + 0.0:.1f}".replace("-", "−") if isinstance(value, float | int) else str(value)


def _level(order: Entry | None) -> float | None:
    """cmH2O, suction negative; 0 for none added; None where no order can be told."""
    if order is None or order.conflict or order.value is None:
        return None
    return order.value if isinstance(order.value, float) else 0.0


def _order_words(order: Entry, level: float | None, now_ms: int, zone: tzinfo) -> str:
    since = f"since {when(order.time, now_ms, zone)}"
    if order.conflict:
        return f"two orders disagree, {since}"
    if level is None:
        return f"left blank, {since}"
    if level == 0:
        return f"none added (water seal or gravity), {since}"
    written = order.text.replace("_", " ").replace("-", "−")
    said = f"{signed(level).removesuffix('.0')} cmH2O"
    other = "cmH2O" not in written and any(letter.isalpha() for letter in written)
    return f"{said} ({written}), {since}" if other else f"{said}, {since}"


def _measured(found: Assessment) -> float | None:
    """Mean pressure of the last minutes that were recorded. [cmH2O]"""
    leak, last = found.leak_trace, last_minute(found.leak_trace, found.facts.length)
    if leak is None or last is None:
        return None
    pressure = leak.minutes.pressure[max(0, last + 1 - DELIVERED_MIN) : last + 1]
    known = pressure[np.isfinite(pressure)]
    return float(known.mean()) if len(known) else None


def _set_apart(found: Assessment, level: float | None) -> str:
    """A word where the unit is set to something else than was ordered."""
    leak, last = found.leak_trace, last_minute(found.leak_trace, found.facts.length)
    if leak is None or last is None or level is None:
        return ""
    setting = float(leak.minutes.set_suction[last])
    if not math.isfinite(setting) or abs(setting - level) <= SET_APART_CMH2O:
        return ""
    return f"the unit is set to {signed(setting)} cmH2O, not to the order"


# --- canister and charge --------------------------------------------------------------------------


def canister(found: Assessment, zone: tzinfo) -> str:
    """Its level and when it was changed, each with its time."""
    own = entries_for(found.chart, "drain", found.episode)
    levels = [e for e in own.of("canister_level") if isinstance(e.value, float) and not e.conflict]
    changes = own.of("canister")
    parts = []
    if levels and not (changes and changes[-1].time > levels[-1].time):
        level = amount(levels[-1].value if isinstance(levels[-1].value, float) else None)
        parts.append(f"{level} mL at {when(levels[-1].time, found.as_of_ms, zone)}")
    if changes:
        parts.append(f"changed {when(changes[-1].time, found.as_of_ms, zone)}")
    return ", ".join(parts) or "not recorded"


def charge(found: Assessment, zone: tzinfo) -> str:
    """Battery and mains as last logged, each with its time."""
    trace = found.trace
    parts: list[tuple[str, str]] = []
    if trace is not None and trace.battery_percent is not None:
        rows = np.flatnonzero(trace.battery_percent != NONE)
        if len(rows):
            at = when(int(trace.end_ms[rows[-1]]), found.as_of_ms, zone)
            parts.append((f"battery {int(trace.battery_percent[rows[-1]])} %", at))
    if trace is not None and trace.mains is not None:
        rows = np.flatnonzero(trace.mains != NONE)
        if len(rows):
            at = when(int(trace.end_ms[rows[-1]]), found.as_of_ms, zone)
            parts.append(("on mains" if trace.mains[rows[-1]] else "on battery", at))
    if len({at for _, at in parts}) == 1:
        return f"{', '.join(what for what, _ in parts)} at {parts[0][1]}"
    return ", ".join(f"{what} at {at}" for what, at in parts) or "not recorded"


def off_mains(found: Assessment, zone: tzinfo) -> str:
    """What a charge was seen to last: the longest stretch that this log shows off mains. Nothing is promised by it."""
    trace = found.trace
    if trace is None or trace.mains is None or trace.battery_percent is None:
        return "cannot tell: charge or mains is not in the log"
    rows = np.flatnonzero((trace.mains != NONE) & (trace.battery_percent != NONE))
    longest = max(stretches(trace.mains[rows] == 0), key=lambda one: _lasted(trace.end_ms[rows], one), default=None)
    if longest is None or not _lasted(trace.end_ms[rows], longest):
        return "cannot tell: no stretch off mains is in the log"
    first, last = rows[longest[0]], rows[longest[1] - 1]
    span = format_span(int(trace.end_ms[last] - trace.end_ms[first]) // MINUTE_MS * 60)
    charge_ = f"{int(trace.battery_percent[first])} to {int(trace.battery_percent[last])} %"
    return f"{charge_} in {span} off mains, from {when(int(trace.end_ms[first]), found.as_of_ms, zone)}"


def _lasted(end_ms: NDArray[np.int64], stretch: tuple[int, int]) -> int:
    """Whole minutes."""
    return int(end_ms[stretch[1] - 1] - end_ms[stretch[0]]) // MINUTE_MS


# --- pain -----------------------------------------------------------------------------------------


def pain_on_cough(found: Assessment, zone: tzinfo) -> str:
    """As last charted, with its time."""
    rows = entries_for(found.chart, "patient", found.episode).of("pain_cough")
    if not rows or rows[-1].conflict or not isinstance(rows[-1].value, float):
        return "not recorded"
    return f"{amount(rows[-1].value)} of 10 at {when(rows[-1].time, found.as_of_ms, zone)}"
