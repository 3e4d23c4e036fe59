"""What the log says after a trip or a new canister, and when a canister will be full; in the judges' processes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import tzinfo

import numpy as np

from slackwater.assessment.assessment import Assessment
from slackwater.episode.fluid import total
from slackwater.episode.instants import read_zone
from slackwater.episode.space import entries_for
from slackwater.equipment.back import LATE, NOT_BACK, UNKNOWN, WAITING, Back, suction_back
from slackwater.equipment.canister import Amount, fill, why_no_fill
from slackwater.quantities.spans import DAY_MS, HOUR_MS, MINUTE_MS, format_span
from slackwater.report.fluid import fluid_record
from slackwater.report.times import shown
from slackwater.store.course import Course
from slackwater.web.judges import Asked

LOOKED_BACK_MS = DAY_MS  # an older return is no open item any more (ours)
SPARE_H = 24.0  # a canister that may be full within so long asks for a spare (ours)


@dataclass(frozen=True)
class Filling:
    """A canister's filling in words. `spare`: it asks for a spare; empty where it does not."""

    says: str
    spare: str = ""


def open_items(course: Course, found: Assessment, zone: tzinfo) -> tuple[str, ...]:
    """What the log does not show yet though the rule asks for it: suction back after a trip or a new canister."""
    rule = None if found.evaluation is None else found.evaluation.protocol
    within = None if rule is None or rule.trip is None else rule.trip.back_s
    if within is None or course.removal is not None:
        return ()
    items = []
    for what, since_ms in _returns(course, found.as_of_ms):
        how = _back(found, since_ms, within)
        says = _told(how, format_span(within), zone)
        if says:
            items.append(f"{what} {shown(since_ms, zone)}: {says}")
    return tuple(items)


def _returns(course: Course, now_ms: int) -> Iterator[tuple[str, int]]:
    """Each return that a log should show, of the last day."""
    for trip in course.trips:
        if trip["back_ms"] is not None and now_ms - LOOKED_BACK_MS < trip["back_ms"] <= now_ms:
            yield f"Back from {trip['destination']}", trip["back_ms"]
    changed = {one["from_ms"] for one in course.canisters}
    changed |= {
        one["time_ms"] for one in course.entries
        if one["item"] == "canister" and one["value"] == "changed" and one["drain"] in (course.drain["number"], None)
    }  # fmt: skip
    for at in sorted(changed):
        if now_ms - LOOKED_BACK_MS < at <= now_ms:
            yield "Canister changed", at


def _back(found: Assessment, since_ms: int, within_s: float) -> Back | None:
    """None: no suction is ordered then, so none has to come back."""
    wanted = _ordered_cmh2o(found, since_ms)
    if wanted == 0.0:
        return None
    leak = found.leak_trace
    if leak is None:
        return Back(UNKNOWN)
    minutes = leak.minutes
    ends = minutes.start_ms + MINUTE_MS * np.arange(1, len(minutes) + 1, dtype=np.int64)
    should = -minutes.set_suction
    if wanted is not None:
        should = np.full(len(minutes), wanted)
    return suction_back(ends, minutes.pressure, should, since_ms, within_s, found.as_of_ms)


def _ordered_cmh2o(found: Assessment, at_ms: int) -> float | None:
    """Suction that was ordered then, a positive number; 0: none added; None: not recorded, or two orders disagree."""
    orders = [
        one for one in entries_for(found.chart, "drain", found.episode).of("suction_ordered") if one.time <= at_ms
    ]  # fmt: skip
    if not orders or orders[-1].conflict or orders[-1].value is None:
        return None
    return abs(orders[-1].value) if isinstance(orders[-1].value, float) else 0.0


def _told(how: Back | None, span: str, zone: tzinfo) -> str:
    if how is None:
        return ""
    if how.standing == NOT_BACK:
        return f"the log shows no suction within {span}, as the rule asks. Look at the unit."
    if how.standing == LATE:
        return f"suction was back only {shown(how.at_ms, zone)}; the rule allows {span}."
    if how.standing == UNKNOWN and how.at_ms is not None:
        return f"cannot tell whether suction was back within {span}; it shows from {shown(how.at_ms, zone)} on."
    if how.standing == UNKNOWN:
        return f"cannot tell whether suction was back within {span}: not recorded. Look at the unit."
    if how.standing == WAITING:
        return f"the log does not show suction yet; the rule allows {span}."
    return ""


# --- filling --------------------------------------------------------------------------------------


def filling(course: Course, found: Assessment | None, asked: Asked) -> Filling:
    """When the canister that is in now will be full."""
    now_ms, zone = asked.now_ms, read_zone(asked.zone_name)
    canister = next((one for one in reversed(course.canisters) if one["from_ms"] <= now_ms), None)
    size = None if canister is None else canister["size_ml"]
    level, amounts, until = None, [], now_ms
    if found is not None and canister is not None:
        record = fluid_record(found)
        if len(record):
            until = min(int(record.end_ms[-1]), now_ms)
            level = _level(course, found, canister["from_ms"], until)
            if record.source == "counter":
                edges = range(until - 12 * HOUR_MS, until, HOUR_MS)
                parts = [(at, at + HOUR_MS, total(record, at, at + HOUR_MS)) for at in edges]
                amounts = [Amount((a - now_ms) / HOUR_MS, (b - now_ms) / HOUR_MS, one.low_ml, one.high_ml)
                           for a, b, one in parts if one.covered >= 0.99]  # fmt: skip
            else:
                amounts = [
                    Amount((one.start_ms - now_ms) / HOUR_MS, (one.end_ms - now_ms) / HOUR_MS, one.low_ml, one.high_ml)
                    for one in record.intervals
                    if one.start_ms is not None and one.end_ms <= now_ms and one.status == "known"
                ]
    why = why_no_fill(amounts, size, level)
    if why is not None or size is None or level is None:
        return Filling(f"Cannot tell when it is full: {why}.")
    told = fill(amounts, size, level, (now_ms - until) / HOUR_MS)
    if told.earliest_h > SPARE_H:
        return Filling(f"Not full within a day if it goes on draining as lately (about {told.ml_per_h:.0f} mL/h).")
    if told.earliest_h == 0.0:
        return Filling(f"It may be full now: look. It drains about {told.ml_per_h:.0f} mL/h.", "Take a spare now.")
    first, likely = (shown(now_ms + round(hours * HOUR_MS), zone) for hours in (told.earliest_h, told.likely_h))
    last = (
        f"{shown(now_ms + round(told.latest_h * HOUR_MS), zone)}" if told.latest_h < 72 else "later than in three days"
    )
    return Filling(
        f"Full about {likely}, between {first} and {last}, if it goes on draining as lately "
        f"(about {told.ml_per_h:.0f} mL/h).",
        f"Before {first}, take a spare now.",
    )


def _level(course: Course, found: Assessment, from_ms: int, until_ms: int) -> tuple[float, float] | None:
    """What is in the canister: a level charted since it was put in, and what drained since; else all since then."""
    levels = [
        one for one in course.entries
        if one["item"] == "canister_level" and from_ms < one["time_ms"] <= until_ms and one["value"]
        and one["drain"] in (course.drain["number"], None)
    ]  # fmt: skip
    since, base = from_ms, 0.0
    if levels:
        last = max(levels, key=lambda one: one["time_ms"])
        try:
            base, since = float(last["value"]), last["time_ms"]
        except ValueError:
            return None
    if since >= until_ms:
        return base, base
    more = total(fluid_record(found), since, until_ms)
    return base + more.low_ml, base + more.high_ml
