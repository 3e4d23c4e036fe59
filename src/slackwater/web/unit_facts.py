"""What the pages say of units and their batteries, from the record; read in the server, quickly."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import tzinfo

from slackwater.equipment.charge import MONTH_MS, RunTime, Spell
from slackwater.equipment.shortage import Shortage, shortage, why_no_forecast
from slackwater.quantities.spans import DAY_MS, MINUTE_MS
from slackwater.report.times import shown
from slackwater.store.charges import NOTHING, Battery, batteries, fade_told, span_told, spent_batteries
from slackwater.store.recalls import Pull, meets_nothing, open_recalls_now, to_pull
from slackwater.store.record import Record
from slackwater.store.register import Due, Used, demand, dues, fleet_use, utilisation
from slackwater.store.rows import Thing
from slackwater.store.units import UnitNow, units_now

SHORTAGE_DAYS = 7


@dataclass(frozen=True)
class UnitTold:
    """One unit in words beside what the record has of it. from_full: minutes, for the order of the list."""

    now: UnitNow
    dues: tuple[Due, ...]
    used: Used
    charge: str
    runs: str
    fades: str
    from_full: float
    falls: int


@dataclass(frozen=True)
class Fleet:
    units: tuple[UnitTold, ...]
    pulls: tuple[Pull, ...]
    recalls: tuple[Thing, ...]
    nowhere: tuple[str, ...]  # recalls that meet nothing that is written down, in words
    used: Used
    short: str

    @property
    def ranked(self) -> tuple[UnitTold, ...]:
        """The shortest run-time first; those of which nobody can tell last."""
        return tuple(sorted(self.units, key=lambda one: (one.from_full, one.now.serial)))


def fleet_of(record: Record, now_ms: int, zone: tzinfo) -> Fleet:
    """Everything of the page of units."""
    known, used = batteries(record, now_ms), utilisation(record, now_ms)
    units = tuple(
        unit_told(one, known.get(one.key, NOTHING), used.get(one.key, Used(0.0, 0.0)), now_ms, zone)
        for one in units_now(record, now_ms)
    )
    past, recalls = demand(record, now_ms), open_recalls_now(record)
    why = why_no_forecast(past)
    return Fleet(
        units, to_pull(record, now_ms, spent_batteries(record, now_ms, known)), recalls,
        tuple(said for one in recalls if (said := meets_nothing(record, one["what"], one["lot"]))),
        fleet_use(used), short_told(None if why is not None else shortage(past, SHORTAGE_DAYS), why),
    )  # fmt: skip


def unit_told(one: UnitNow, battery: Battery, used: Used, now_ms: int, zone: tzinfo) -> UnitTold:
    runs = battery.runs(now_ms)
    why = battery.why_not(now_ms)
    return UnitTold(
        one, dues(one.facts, now_ms), used, charge_told(battery, now_ms, zone), runs_told(runs, why),
        fade_told(runs, one.facts["must_run_min"]), math.inf if runs is None else runs.usual_full.mid,
        sum(not spell.charging for spell in battery.spells),
    )  # fmt: skip


def charge_told(battery: Battery, now_ms: int, zone: tzinfo) -> str:
    """The charge as last logged, with its moment; old is said to be old."""
    last = battery.last
    if last is None:
        return "charge: not in any log"
    plugged = {True: ", on the mains", False: ", off the mains", None: ""}[last.on_mains]
    if battery.now(now_ms) is None:
        return f"charge now: cannot tell; {last.percent} %{plugged} at {shown(last.at_ms, zone)}"
    return f"charge {last.percent} %{plugged}, {shown(last.at_ms, zone, day=False)}"


def first_up(text: str) -> str:
    """As a sentence begins; what follows stays as it is written."""
    return text[:1].upper() + text[1:]


def runs_told(runs: RunTime | None, why: str | None) -> str:
    if runs is None:
        return f"run-time: cannot tell, {why}"
    by_load = ", by the leak and suction of the last hour where known" if runs.load is not None else ""
    down = f"from full to {runs.lowest} % about {span_told(runs.minutes_from(100.0))}"
    return f"{down}, from {runs.count} of its own discharges{by_load}; cannot tell below {runs.lowest} %"


def short_told(found: Shortage | None, why: str | None) -> str:
    if found is None:
        return f"Whether the shelf runs out: cannot tell, {why}."
    return (
        f"Within {found.days} days somebody needs one unit more than there are: about {100 * found.chance:.0f} in 100 "
        f"(90 % interval {100 * found.low:.0f} to {100 * found.high:.0f}), were the days to come like the past ones."
    )


# --- a picture of a unit's discharges -------------------------------------------------------------

WIDE, HIGH, LEFT, RIGHT, TOP, BOTTOM = 760, 260, 54, 16, 14, 34


@dataclass(frozen=True)
class Dot:
    """One discharge: where it stands, the bar that its whole cells leave open, and what it says."""

    x: float
    y: float
    low_y: float
    high_y: float
    says: str


@dataclass(frozen=True)
class Discharges:
    """A picture on one time axis: minutes from full, by each discharge; with the line through them and the limit."""

    summary: str
    dots: tuple[Dot, ...]
    line: tuple[float, float, float, float] | None
    limit_y: float | None
    ticks_x: tuple[tuple[float, str], ...]
    ticks_y: tuple[tuple[float, str], ...]
    rows: tuple[tuple[str, ...], ...]


def discharges(battery: Battery, limit_min: int | None, now_ms: int, zone: tzinfo) -> Discharges | None:
    """None where no discharge is recorded."""
    falls = [one for one in battery.spells if not one.charging and one.end_ms <= now_ms]
    if not falls:
        return None
    minutes = [100.0 / one.per_min for one in falls]
    top = max([*(min(100.0 / one.low, 2.0 * m) for one, m in zip(falls, minutes, strict=True)), limit_min or 0]) * 1.08
    first, last = falls[0].start_ms, max(now_ms, falls[0].start_ms + DAY_MS)

    def x(ms: float) -> float:
        return round(LEFT + (ms - first) / (last - first) * (WIDE - LEFT - RIGHT), 1)

    def y(value: float) -> float:
        return round(TOP + (1.0 - min(max(value, 0.0), top) / top) * (HIGH - TOP - BOTTOM), 1)

    runs = battery.runs(now_ms)
    fade = None if runs is None else runs.fade
    line = None
    if fade is not None:
        line = (x(first), y(fade.at((first - now_ms) / MONTH_MS)), x(now_ms), y(fade.at(0.0)))
    words = slice(4, 10) if last - first > 8 * DAY_MS else slice(4, None)  # with the hour where days would repeat
    step = next(step for step in (30, 60, 120, 240, 480, 960, 10_000) if top / step <= 6)
    return Discharges(
        f"{len(falls)} discharge{'s' if len(falls) > 1 else ''}, each as the minutes that a full battery would have "
        f"lasted: from {min(minutes):.0f} to {max(minutes):.0f} min. {first_up(fade_told(runs, limit_min))}.",
        tuple(
            Dot(x(one.end_ms), y(m), y(100.0 / one.high), y(100.0 / one.low), _fall_told(one, m, zone))
            for one, m in zip(falls, minutes, strict=True)
        ),
        line, None if limit_min is None else y(limit_min),
        tuple((x(at), shown(round(at), zone)[words]) for at in (first + (last - first) * k / 4 for k in range(5))),
        tuple((y(value), f"{value}") for value in range(0, int(top) + 1, step)),
        tuple(_row(one, m, zone) for one, m in zip(reversed(falls), reversed(minutes), strict=True)),
    )  # fmt: skip


def _fall_told(one: Spell, minutes: float, zone: tzinfo) -> str:
    return f"{shown(one.start_ms, zone)}: {one.first_percent} to {one.last_percent} %, {minutes:.0f} min from full"


def _row(one: Spell, minutes: float, zone: tzinfo) -> tuple[str, ...]:
    return (
        shown(one.start_ms, zone), f"{(one.end_ms - one.start_ms) / MINUTE_MS:.0f} min",
        f"{one.first_percent} to {one.last_percent} %",
        f"{minutes:.0f} ({100.0 / one.high:.0f} to {100.0 / one.low:.0f})",
        "not recorded" if math.isnan(one.flow) else f"{one.flow:.0f} mL/min",
        "not recorded" if math.isnan(one.suction) else f"{one.suction:.0f} cmH2O",
    )  # fmt: skip
