"""The day's trips: every drain that is in with its trips, what the charge says of each, and who charges when."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from slackwater.equipment.charge import charging_rate
from slackwater.equipment.plan import DayPlan, PlannedTrip, PlannedUnit, plan_day
from slackwater.equipment.trip import Answer
from slackwater.errors import SlackwaterError
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS
from slackwater.report.orders import off_words, suction_order
from slackwater.report.times import shown
from slackwater.store.charges import batteries
from slackwater.store.listing import Listed, listed
from slackwater.store.record import Record
from slackwater.store.rows import Thing
from slackwater.store.trips import AtDrain, at_drain, open_trips
from slackwater.web.unit_facts import charge_told, runs_told

MOST_SOCKETS = 40
NEVER = 2**62  # later than any trip
UNDER_WAY_MS = 12 * HOUR_MS  # a trip that nobody came back from stays listed for so long (ours)
WIDE, LEFT, RIGHT, LANE, TOP = 760, 150, 12, 48, 8
ABOVE = 21  # of a lane, for where its trips go to


@dataclass(frozen=True)
class Trip:
    thing: Thing
    said: Answer
    short: str  # by the plan: what it is short of; empty: the plan covers it, or does not speak of it


@dataclass(frozen=True)
class Walker:
    """One drain that is in, with what a physiotherapist needs of its unit at a glance."""

    drain: str
    name: str
    where: str
    serial: str | None
    charge: str
    runs: str
    off: str
    trips: tuple[Trip, ...]


@dataclass(frozen=True)
class Bar:
    x: float
    width: float
    y: float
    kind: str  # on-mains, away-now
    text: str


@dataclass(frozen=True)
class Lane:
    y: float
    text: str


@dataclass(frozen=True)
class Picture:
    high: int
    lanes: tuple[Lane, ...]
    bars: tuple[Bar, ...]
    ticks: tuple[tuple[float, str], ...]
    summary: str
    rows: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class Day:
    walkers: tuple[Walker, ...]
    sockets: int
    holds: bool | None  # None: there is nothing to plan
    says: str
    left_out: tuple[str, ...]
    picture: Picture | None
    failed: str = ""


def day_of(
    record: Record, sees: Callable[[str | None], bool], now_ms: int, hours: int, sockets: int | None, zone: tzinfo
) -> Day:  # fmt: skip
    """`sees`: whether this person sees a ward. `sockets`: None: one for every unit."""
    known = batteries(record, now_ms)
    places = [one for one in listed(record) if sees(one.ward)]
    drains = [(place, at_drain(record, place.key, now_ms, known)) for place in places]
    units, trips, left_out = _asked(drains, now_ms, hours)
    count = min(len(units) if sockets is None else sockets, MOST_SOCKETS)
    plan, failed = None, ""
    if units:
        try:
            plan = plan_day([one for one, _ in units], [one for one, _ in trips], count, hours * 60.0)
        except SlackwaterError as error:
            failed = str(error)
    short = {} if plan is None else {
        trips[one.trip][1].key: f"even by this plan {one.minutes:.0f} min of charge are short" for one in plan.short
    }  # fmt: skip
    walkers = sorted(
        (_walker(place, at, now_ms, zone, short) for place, at in drains),
        key=lambda one: (min((t.thing["from_ms"] for t in one.trips), default=NEVER), one.serial is None, one.name),
    )  # fmt: skip
    if plan is None:
        return Day(tuple(walkers), count, None, "", left_out, None, failed)
    picture = _picture(plan, units, trips, now_ms, hours, zone)
    return Day(tuple(walkers), count, plan.holds, _says(plan, units, trips, count), left_out, picture)


Units = list[tuple[PlannedUnit, str]]  # with the key of its drain
Trips = list[tuple[PlannedTrip, Thing]]


def _asked(drains: Sequence[tuple[Listed, AtDrain]], now_ms: int, hours: int) -> tuple[Units, Trips, tuple[str, ...]]:
    """What the plan can speak of, and what it cannot, with why. A unit of two drains is one unit.

    A trip under way is planned for the rest of it; of a unit that should be back and is not, nobody knows where it is.
    """
    units: Units = []
    trips: Trips = []
    left_out = []
    seen: dict[str, int] = {}
    away = {
        at.unit for _, at in drains if at.unit is not None
        for one in open_trips(at.course) if now_ms - UNDER_WAY_MS < one["from_ms"] and _due_ms(one) <= now_ms
    }  # fmt: skip
    for place, at in drains:
        wanted = [
            one for one in open_trips(at.course)
            if _due_ms(one) > now_ms and one["from_ms"] < now_ms + hours * HOUR_MS
        ]  # fmt: skip
        why = "not back yet" if at.unit in away else _why_not(at, now_ms)
        if why is not None:
            if wanted or at.unit is not None:
                left_out.append(f"{place.name}: {why}")
            continue
        assert at.unit is not None
        if at.unit not in seen:
            runs, now, rate = at.battery.runs(now_ms), at.battery.now(now_ms), charging_rate(at.battery.spells)
            assert runs is not None and now is not None and rate is not None
            seen[at.unit] = len(units)
            percent = max(now.percent - runs.cell, 0.0)
            unit = PlannedUnit(at.serial or at.unit, percent, runs.per_min.high, rate.low, runs.lowest)
            units.append((unit, place.key))
        for one in wanted:
            if at.margin is None or one["planned_min"] is None:
                left_out.append(f"{place.name}, {one['destination']}: the rule gives no margin for a trip")
                continue
            planned = float(one["planned_min"])
            start = (one["from_ms"] - now_ms) / MINUTE_MS
            gone = max(-start, 0.0)
            needed = at.margin.needed_min(planned) - gone
            trips.append((PlannedTrip(seen[at.unit], max(start, 0.0), planned - gone, needed), one))
    return units, trips, tuple(left_out)


def _due_ms(trip: Thing) -> int:
    """When it should be back."""
    return int(trip["from_ms"] + (trip["planned_min"] or 0) * MINUTE_MS)


def _why_not(at: AtDrain, now_ms: int) -> str | None:
    if at.unit is None:
        return "no unit is recorded with it"
    if at.battery.now(now_ms) is None:
        return "its charge now is not in the log"
    if (why := at.battery.why_not(now_ms)) is not None:
        return why
    return "its charging was never recorded" if charging_rate(at.battery.spells) is None else None


def _walker(place: Listed, at: AtDrain, now_ms: int, zone: tzinfo, short: dict[str, str]) -> Walker:
    trips = [one for one in open_trips(at.course) if one["from_ms"] > now_ms - UNDER_WAY_MS]
    return Walker(
        place.key, place.name, f"{place.ward or 'ward not recorded'}, bed {place.bed or 'not recorded'}", at.serial,
        charge_told(at.battery, now_ms, zone),
        runs_told(at.battery.runs(now_ms), at.battery.why_not(now_ms)) if at.unit else "no unit is recorded with it",
        off_words(suction_order(at.course, now_ms)),
        tuple(
            Trip(
                one, at.covers(float(one["planned_min"] or 0), now_ms, one["from_ms"], zone), short.get(one.key, "")
            ) for one in trips
        ),
    )  # fmt: skip


def _says(plan: DayPlan, units: Units, trips: Trips, sockets: int) -> str:
    counted = _sockets(sockets)
    if plan.holds and not trips:
        return f"No trip is planned. With {counted} no unit runs down at its bed."
    if plan.holds:
        many = "the planned trip" if len(trips) == 1 else f"all {len(trips)} planned trips"
        return f"With {counted} the charge covers {many}."
    told = [
        f"{units[trips[one.trip][0].unit][0].name} to {trips[one.trip][1]['destination']} is short of "
        f"{one.minutes:.0f} min of charge" for one in plan.short
    ]  # fmt: skip
    told += [f"{units[u][0].name} would run down at the bed" for u in plan.empty]
    mend = (
        "More sockets would not help."
        if plan.sockets_needed is None
        else f"With {_sockets(plan.sockets_needed)} nothing would be short."
    )
    return f"No plan covers everything with {counted}: {'; '.join(told)}. {mend}"


def _sockets(count: int) -> str:
    return f"{count} {'socket' if count == 1 else 'sockets'}"


def _picture(plan: DayPlan, units: Units, trips: Trips, now_ms: int, hours: int, zone: tzinfo) -> Picture:
    span = hours * 60.0

    def x(minutes: float) -> float:
        return round(LEFT + min(max(minutes, 0.0), span) / span * (WIDE - LEFT - RIGHT), 1)

    def at(minutes: float) -> str:
        return shown(now_ms + round(minutes * MINUTE_MS), zone, day=False)

    lanes, bars, rows = [], [], []
    for u, (one, _) in enumerate(units):
        y = TOP + u * LANE
        lanes.append(Lane(y + LANE - 2, f"{one.name}, ≥ {one.percent:.0f} %"))
        stretches = plan.stretches(u)
        bars += [Bar(x(a), round(x(b) - x(a), 1), y + ABOVE, "on-mains", "") for a, b in stretches]
        mine = [(trip, thing) for trip, thing in trips if trip.unit == u]
        for t, thing in mine:
            left, right = x(t.start_min), x(t.start_min + t.planned_min)
            bars.append(Bar(left, round(max(right - left, 6.0), 1), y + ABOVE, "away-now", thing["destination"]))
        away = [f"{at(t.start_min)} {thing['destination']}, {t.planned_min:.0f} min" for t, thing in mine]
        on = [f"{at(a)} to {at(b)}" for a, b in stretches]
        rows.append((one.name, "; ".join(on) or "not needed", "; ".join(away) or "none"))
    every = 60 if hours <= 8 else 120 if hours <= 12 else 240
    first = every - (now_ms // MINUTE_MS) % every
    ticks = [(x(minutes), at(minutes)) for minutes in range(int(first), int(span), every)]
    charging = sum(bool(plan.stretches(u)) for u in range(len(units)))
    return Picture(
        TOP + len(units) * LANE + 26, tuple(lanes), tuple(bars), tuple(ticks),
        f"From {at(0)} to {shown(now_ms + hours * HOUR_MS, zone)}. "
        f"On the mains at some time: {charging} of {len(units)}. Trips planned: {len(trips)}.",
        tuple(rows),
    )  # fmt: skip
