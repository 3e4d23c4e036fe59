"""Units, recalls and shortage as lines for a person, and as plain values for JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import tzinfo
from typing import TYPE_CHECKING, Any

from slackwater.cli.view.record import SUPPORT
from slackwater.report.times import shown
from slackwater.store.charges import Battery, fade_told, span_told
from slackwater.store.recalls import Pull, Use, where_told
from slackwater.store.register import Used, dues
from slackwater.store.units import state_words

if TYPE_CHECKING:
    from slackwater.equipment.shortage import Demand, Shortage
    from slackwater.store.listing import Listed
    from slackwater.store.rows import Thing
    from slackwater.store.units import UnitNow

Places = Mapping[str, "Listed"]


def units_dict(units: Sequence[UnitNow], where: Places, used: Mapping[str, Used], now_ms: int) -> dict[str, Any]:
    return {
        "units": [
            {
                "serial": one.serial, "state": one.state, "since_ms": one.since_ms,
                "drain": None if one.drain is None else where_told(where.get(one.drain)),
                "last_logged_at": None if one.logged_at is None else where_told(where.get(one.logged_at)),
                "needs": list(one.needs), "bars": list(one.bars), "battery_lot": one.facts["battery_lot"],
                "due": [{"what": due.what, "at_ms": due.at_ms, "standing": due.standing}
                        for due in dues(one.facts, now_ms)],
                "share_in_use": used[one.key].share if one.key in used else None,
            }
            for one in units
        ]
    }  # fmt: skip


def units_text(
    units: Sequence[UnitNow], where: Places, used: Mapping[str, Used], now_ms: int, zone: tzinfo
) -> str:  # fmt: skip
    lines = []
    for one in units:
        at = f" at {where_told(where.get(one.drain))}" if one.drain is not None else ""
        at = f", last logged at {where_told(where.get(one.logged_at))}" if one.logged_at is not None else at
        lines.append(f"{one.serial}  {one.stands}{at}, since {shown(one.since_ms, zone)}")
        if one.by_note:
            lines.append(f"    {one.by_note}")
        if one.needs and one.at is None:
            lines.append(f"    still needs: {', '.join(map(state_words, one.needs))}")
        lines += [f"    not for a patient: {bar}" for bar in one.bars]
        due = "; ".join(due.told for due in dues(one.facts, now_ms))
        lines.append(f"    {due}; {used_text(used.get(one.key))}")
    return "\n".join([*(lines or ["no unit is known yet"]), SUPPORT])


def used_text(used: Used | None) -> str:
    if used is None or used.share is None or used.days_known < 1:
        return "use: cannot tell, known for less than a day"
    return f"in use {used.days_in_use:.0f} of {used.days_known:.0f} days known ({100 * used.share:.0f} %)"


def pulls_dict(found: Sequence[Pull], where: Places) -> dict[str, Any]:
    return {
        "to_pull": [
            {
                "serial": None if one.unit is None else one.unit.serial,
                "state": None if one.unit is None else one.unit.state,
                "at": None if one.drain is None else where_told(where.get(one.drain)),
                "bed": where[one.drain].bed if one.drain is not None and one.drain in where else None,
                "why": list(one.why),
            }
            for one in found
        ]
    }  # fmt: skip


def pulls_text(found: Sequence[Pull], where: Places) -> str:
    if not found:
        return (
            "Nothing recorded asks to be pulled: no open recall meets a unit or a drain, and no safety test is overdue."
        )
    lines = [f"{len(found)} to pull, worst first. At a patient: exchange by the ward's own steps, the patient first."]
    for number, one in enumerate(found, start=1):
        name = "no unit recorded" if one.unit is None else one.unit.serial
        at = where_told(where.get(one.drain)) if one.drain is not None else one.off_patient
        lines.append(f"{number:>3}. {name}  {'at a patient: ' if one.drain is not None else ''}{at}")
        lines += [f"       {why}" for why in one.why]
    return "\n".join([*lines, SUPPORT])


def uses_dict(found: Sequence[Use], where: Places, serials: Mapping[str, str]) -> dict[str, Any]:
    return {
        "uses": [
            {
                "what": one.what, "lot": one.lot, "drain": where_told(where.get(one.drain)),
                "unit": None if one.unit is None else serials.get(one.unit), "from_ms": one.from_ms, "to_ms": one.to_ms,
            }
            for one in found
        ]
    }  # fmt: skip


def uses_text(
    found: Sequence[Use], where: Places, serials: Mapping[str, str], zone: tzinfo, asked: str
) -> str:  # fmt: skip
    if not found:
        return f"{asked}: no use is recorded. That a lot was not written down is not that it was not used."
    return "\n".join(
        f"{one.what} lot {one.lot}: {where_told(where.get(one.drain))}, "
        f"unit {serials.get(one.unit, 'not recorded') if one.unit else 'not recorded'}, "
        f"{shown(one.from_ms, zone)} to {'now' if one.to_ms is None else shown(one.to_ms, zone)}"
        for one in found
    )


def shortage_text(past: Demand, used: Used, found: Shortage | None, why: str | None) -> str:
    lines = [f"{past.units} units could be used, {len(past.in_use_d)} are in use now; the fleet: {used_text(used)}."]
    if found is None:
        return "\n".join([*lines, f"Cannot tell whether the shelf runs out: {why}."])
    return "\n".join([
        *lines,
        f"Within {found.days} days somebody needs one unit more than there are: about {100 * found.chance:.0f} in 100 "
        f"(90 % interval {100 * found.low:.0f} to {100 * found.high:.0f}).",
        f"It rests on {past.history_d:.0f} days: {found.asked_per_day:.1f} units asked for a day, kept for "
        f"{found.mean_stay_d:.1f} days on the average. The days to come are taken to be like them.",
        f"Were it always so, about {100 * found.long_run:.0f} of 100 askers would find none (Erlang's formula).",
    ])  # fmt: skip


def charges_dict(found: Sequence[tuple[Thing, Battery]], now_ms: int) -> dict[str, Any]:
    return {"batteries": [_charge(unit, battery, now_ms) for unit, battery in _shortest_first(found, now_ms)]}


def _charge(unit: Thing, battery: Battery, now_ms: int) -> dict[str, Any]:
    runs = battery.runs(now_ms)
    full = None if runs is None else runs.minutes_from(100.0)
    fade = None if runs is None or runs.fade is None else runs.fade
    return {
        "serial": unit["serial"], "cannot_tell": battery.why_not(now_ms),
        "minutes_from_full": None if full is None else {"low": full.low, "mid": full.mid, "high": full.high},
        "down_to_percent": None if runs is None else runs.lowest,
        "discharges": 0 if runs is None else runs.count, "must_run_min": unit["must_run_min"],
        "minutes_a_month": None if fade is None else {"low": fade.low, "mid": fade.slope, "high": fade.high},
        "last_percent": None if battery.last is None else battery.last.percent,
        "last_at_ms": None if battery.last is None else battery.last.at_ms,
    }  # fmt: skip


def charges_text(found: Sequence[tuple[Thing, Battery]], now_ms: int, zone: tzinfo) -> str:
    lines = []
    for unit, battery in _shortest_first(found, now_ms):
        runs = battery.runs(now_ms)
        if runs is None:
            lines.append(f"{unit['serial']}  run-time: cannot tell, {battery.why_not(now_ms)}")
        else:
            down = f"from full to {runs.lowest} % about {span_told(runs.minutes_from(100.0))}"
            lines.append(
                f"{unit['serial']}  {down}, from {runs.count} of its own discharges; cannot tell below {runs.lowest} %"
            )
            lines.append(f"    {fade_told(runs, unit['must_run_min'])}")
        if battery.last is not None:
            lines.append(f"    last logged: {battery.last.percent} % at {shown(battery.last.at_ms, zone)}")
    return "\n".join([*(lines or ["no unit is known yet"]), SUPPORT])


def _shortest_first(found: Sequence[tuple[Thing, Battery]], now_ms: int) -> list[tuple[Thing, Battery]]:
    def minutes(battery: Battery) -> float:
        runs = battery.runs(now_ms)
        return math.inf if runs is None else runs.usual_full.mid

    return sorted(found, key=lambda one: (minutes(one[1]), one[0]["serial"]))
