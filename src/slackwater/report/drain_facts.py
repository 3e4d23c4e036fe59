"""What the record holds of a drain beside its answer, in words: rule and goal, orders, holds, tasks, chart, history."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from sqlalchemy import Connection

from slackwater.episode.items import ITEMS
from slackwater.quantities.spans import MINUTE_MS, format_span
from slackwater.report.orders import SuctionOrder, standing, suction_order
from slackwater.report.times import between, shown
from slackwater.report.words import plain
from slackwater.store.course import Course
from slackwater.store.history import Line
from slackwater.store.removing import ANALGESIA
from slackwater.store.rows import Thing, things

MOST_LINES = 200  # of the history; older ones are counted (ours)
_NOT_READ = "not reviewed"


@dataclass(frozen=True)
class Fact:
    """One line of a list: what it is, more of it, and `mark` where it asks to be looked at (else '')."""

    what: str
    more: str = ""
    mark: str = ""
    key: str = ""
    version: int = 0


@dataclass(frozen=True)
class ChartRow:
    """One row of the chart as it was entered."""

    item: str
    when: str
    value: str
    note: str
    whose: str
    by: str


@dataclass(frozen=True)
class Acted:
    """One act: its number in the ledger, and what it changed."""

    number: int
    when: str
    by: str
    what: str
    why: str
    changes: tuple[str, ...]


@dataclass(frozen=True)
class DrainFacts:
    """All of it. A list that is empty is said to be empty by the page, never left out."""

    goal: str
    goal_version: int
    rule: str
    orders: tuple[Fact, ...]
    orders_before: tuple[Fact, ...]
    holds: tuple[Fact, ...]
    holds_before: tuple[Fact, ...]
    tasks: tuple[Fact, ...]
    tasks_done: tuple[Fact, ...]
    xrays: tuple[Fact, ...]
    removal: str
    decisions: tuple[Fact, ...]
    checks: tuple[Fact, ...]
    units: tuple[Fact, ...]
    chart: tuple[ChartRow, ...]
    chart_items: tuple[str, ...]


def read_beside(
    connection: Connection, course: Course, known_ms: int | None = None
) -> tuple[dict[str, str], dict[str, Thing], tuple[Thing, ...]]:  # fmt: skip
    """What `drain_facts` asks for beside a course: serials, rules, decisions."""
    pinned = [] if course.goal is None or course.goal["protocol"] is None else [course.goal["protocol"]]
    units = {one["unit"] for one in course.pairings}
    return (
        {one.key: one["serial"] for one in things(connection, "unit", keys=units)},
        {one["sha256"]: one for one in things(connection, "protocol", keys=pinned, known_ms=known_ms)},
        things(connection, "decision", {"drain": course.drain.key}, known_ms=known_ms),
    )


def drain_facts(
    course: Course, now_ms: int, zone: tzinfo, serials: Mapping[str, str], rules: Mapping[str, Thing],
    decisions: Sequence[Thing] = (),
) -> DrainFacts:  # fmt: skip
    """As of `now_ms`: what begins later is left out. `serials` by key of the unit, `rules` by hash."""
    decided = [one for one in decisions if one.happened_ms is None or one.happened_ms <= now_ms]
    orders = [one for one in course.orders if one["from_ms"] <= now_ms]
    now, sucked = standing(course, now_ms), suction_order(course, now_ms)
    if sucked is not None and sucked.charted:  # an order that the chart replaced stands no longer
        now = [one for one in now if one["kind"] != "suction"]
    holds = [one for one in course.holds if one["from_ms"] <= now_ms]
    kept = [one for one in holds if one["to_ms"] is None or one["to_ms"] > now_ms]
    done = [one for one in course.tasks if one["done_ms"] is not None and one["done_ms"] <= now_ms]
    rows = _chart(course, now_ms, zone)
    return DrainFacts(
        goal="" if course.goal is None else course.goal["text"] or "",
        goal_version=0 if course.goal is None else course.goal.version,
        rule=rule_words(course, rules),
        orders=(*_as_charted(sucked, zone), *(_order(one, now_ms, zone) for one in now)),
        orders_before=tuple(_order(one, now_ms, zone) for one in reversed(orders) if one not in now),
        holds=tuple(_hold(one, zone) for one in kept),
        holds_before=tuple(_hold(one, zone) for one in reversed(holds) if one not in kept),
        tasks=tuple(_owed(one, now_ms, zone) for one in course.tasks if one not in done),
        tasks_done=tuple(_done(one, zone) for one in reversed(done)),
        xrays=tuple(_xrays(course, now_ms, zone)),
        removal=_removal(course, now_ms, zone, decided),
        decisions=tuple(_decision(one, zone) for one in decided if one["what"] != ANALGESIA),
        checks=tuple(
            _done(one, zone) if one["done_ms"] is not None and one["done_ms"] <= now_ms else _owed(one, now_ms, zone)
            for one in course.checks
        ),
        units=tuple(_units(course, now_ms, zone, serials)),
        chart=rows,
        chart_items=tuple(sorted({row.item for row in rows})),
    )


def rule_words(course: Course, rules: Mapping[str, Thing]) -> str:
    """The rule pinned to the drain: name, version, hash, who approved it."""
    pinned = None if course.goal is None else course.goal["protocol"]
    if pinned is None:
        return "No rule is pinned to this drain."
    rule = rules.get(pinned)
    if rule is None:
        return f"Rule {pinned[:12]}; its name is not in the record."
    approved = f"approved by {rule['approved_by']}" if rule["status"] == "approved" and rule["approved_by"] else (
        f"status {rule['status'] or 'not recorded'}: not approved for use"
    )  # fmt: skip
    return f"{rule['name']} {rule['edition'] or 'without a version'}, hash {pinned[:12]}, {approved}."


def _as_charted(order: SuctionOrder | None, zone: tzinfo) -> Iterable[Fact]:
    """An order of suction that the chart alone tells of: it stands, and says less."""
    if order is not None and order.charted:
        by = order.told["written_by"]
        yield Fact(
            f"Suction {order.words}",
            f"from {shown(order.from_ms, zone)}, charted as ordered{f' by {by}' if by else ''}; how long it may be off "
            "is not ordered",
        )


def _order(one: Thing, now_ms: int, zone: tzinfo) -> Fact:
    level = one["level"]
    told = "" if level is None else f" {level.replace('_', ' ').replace('-', '−')} {one['unit'] or ''}".rstrip()
    if one["kind"] == "suction" and level is None:
        told = " without a level"
    parts = [f"from {shown(one['from_ms'], zone)}"]
    if one["until_ms"] is not None:
        parts.append(f"until {shown(one['until_ms'], zone)}")
    if one["kind"] == "suction":
        off = one["may_be_off_min"]
        parts.append("how long it may be off is not ordered" if off is None else f"may be off for {off} min")
    mark = ""
    if one["review_ms"] is not None:
        parts.append(f"review {shown(one['review_ms'], zone)}")
        mark = "review overdue" if one["review_ms"] < now_ms else ""
    if one["reason"]:
        parts.append(one["reason"])
    return Fact(f"{plain(one['kind']).capitalize()}{told}", "; ".join(parts), mark)


def _hold(one: Thing, zone: tzinfo) -> Fact:
    end = "not ended" if one["to_ms"] is None else f"until {shown(one['to_ms'], zone)}"
    note = f"; {one['note']}" if one["note"] else ""
    return Fact(plain(one["reason"]), f"since {shown(one['from_ms'], zone)}, {end}{note}", key=one.key)


def _owed(one: Thing, now_ms: int, zone: tzinfo) -> Fact:
    due = one["due_ms"]
    more = "no time set" if due is None else f"due {shown(due, zone)}"
    late = "" if due is None or due >= now_ms else f"overdue by {format_span((now_ms - due) // MINUTE_MS * 60)}"
    return Fact(plain(one["what"]), more, late, one.key, one.version)


def _done(one: Thing, zone: tzinfo) -> Fact:
    by = f" by {one['done_by']}" if one["done_by"] else ""
    result = f": {one['result']}" if one["result"] else ""
    return Fact(plain(one["what"]), f"done {shown(one['done_ms'], zone)}{by}{result}", key=one.key)


def _xrays(course: Course, now_ms: int, zone: tzinfo) -> Iterable[Fact]:
    films = [one for one in _mine(course, now_ms) if one["item"] == "chest_xray"]
    for one in sorted(films, key=lambda film: -film["time_ms"]):
        told = plain(one["value"])
        note = f"; {one['note']}" if one["note"] else ""
        owed = "not yet read" if told in (_NOT_READ, "not recorded") else ""
        yield Fact(shown(one["time_ms"], zone), told + note, owed)


def _decision(one: Thing, zone: tzinfo) -> Fact:
    at = "" if one.happened_ms is None else f" ({shown(one.happened_ms, zone)})"
    return Fact(plain(one["what"]), f"{one['because']}{at}")


def _removal(course: Course, now_ms: int, zone: tzinfo, decided: Sequence[Thing]) -> str:
    out = course.removal
    if out is None or out["time_ms"] > now_ms:
        return ""
    without = next((one["because"] for one in decided if one["what"] == ANALGESIA), "not recorded")
    parts = [
        f"Out since {shown(out['time_ms'], zone)}, {plain(out['kind'])}",
        f"removed by {out['removed_by'] or 'whom is not recorded'}",
        f"second person {out['second_person'] or 'not recorded'}",
        f"breath phase {plain(out['breath_phase'])}",
        f"analgesia {shown(out['analgesia_ms'], zone) if out['analgesia_ms'] is not None else without}",
        "tip intact" if out["tip_intact"] else "tip not intact" if out["tip_intact"] is False else "tip not recorded",
        f"suture out {'not recorded' if out['suture_out_ms'] is None else shown(out['suture_out_ms'], zone)}",
    ]
    if out["against_rule_because"]:
        parts.append(f"otherwise than the rule, because: {out['against_rule_because']}")
    return "; ".join(parts) + "."


def _units(course: Course, now_ms: int, zone: tzinfo, serials: Mapping[str, str]) -> Iterable[Fact]:
    mine = [one for one in course.pairings if one["drain"] == course.drain.key and one["from_ms"] <= now_ms]
    for one in reversed(mine):
        end = one["to_ms"]
        span = f"since {shown(one['from_ms'], zone)}" if end is None else between(one["from_ms"], end, zone)
        checked = f"checked by {one['checked_by']}" if one["checked_by"] else "second check not recorded"
        arrived = one["arrived_with"]
        yield Fact(
            f"Unit {serials.get(one['unit'], 'without a serial number')}", f"{span}; {checked}",
            f"arrived with: {arrived}" if arrived else "",
        )  # fmt: skip


def _mine(course: Course, now_ms: int) -> list[Thing]:
    """The patient's rows and this drain's, as staff had written them by then."""
    return [
        one
        for one in course.entries
        if one["drain"] in (None, course.drain["number"])
        and one["time_ms"] <= now_ms
        and (one["written_ms"] is None or one["written_ms"] <= now_ms)
    ]


def _chart(course: Course, now_ms: int, zone: tzinfo) -> tuple[ChartRow, ...]:
    """The latest first. With several drains a row that names none is shown and said not to count."""
    several = bool(course.other_drains)
    rows = []
    for one in sorted(_mine(course, now_ms), key=lambda row: (-row["time_ms"], row["item"], row.key)):
        item = ITEMS.get(one["item"])
        patients = item is not None and item.subject == "patient"
        whose = f"drain {one['drain']}" if one["drain"] else "patient" if patients or not several else (
            "which drain is not told: not counted"
        )  # fmt: skip
        written = "" if one["written_ms"] is None else f", written {shown(one['written_ms'], zone)}"
        unit = one["unit"] or ""
        value = "left blank" if one["value"] is None else f"{one['value'].replace('_', ' ')} {unit}".strip()
        by = f"{one['written_by'] or 'by whom is not recorded'}{written}"
        rows.append(ChartRow(plain(one["item"]), shown(one["time_ms"], zone), value, one["note"] or "", whose, by))
    return tuple(rows)


# --- who entered what, when and why ---------------------------------------------------------------

_NOUNS = {"entry": "chart row", "table": "worked-out table", "episode": "stay", "check": "check after removal"}
_SEEN = {"look"}  # who looked is kept apart


def history_lines(lines: Sequence[Line], zone: tzinfo) -> tuple[tuple[Acted, ...], int]:
    """The acts, the latest first, and how many older ones are not shown."""
    told = [line for line in lines if not (line.new and set(line.new) <= _SEEN)]
    shown_ = told[-MOST_LINES:]
    return tuple(_acted(line, zone) for line in reversed(shown_)), len(told) - len(shown_)


def _acted(line: Line, zone: tzinfo) -> Acted:
    changes = [f"{_counted(noun, n)} entered" for noun, n in line.new.items() if noun not in _SEEN]
    changes += [f"{_counted(noun, n)} taken back" for noun, n in line.taken_back.items()]
    changes += [
        f"{_NOUNS.get(noun, noun)}, {name.removesuffix('_ms').replace('_', ' ')}: "
        f"{_value(name, old, zone)} → {_value(name, new, zone)}"
        for noun, name, old, new in line.corrected
    ]
    return Acted(line.seq, shown(line.at_ms, zone), line.by, line.what, line.why, tuple(changes))


def _counted(noun: str, count: int) -> str:
    name = _NOUNS.get(noun, noun.replace("_", " "))
    return f"1 {name}" if count == 1 else f"{count} × {name}"


def _value(name: str, value: Any, zone: tzinfo) -> str:
    if value is None:
        return "not recorded"
    if name.endswith("_ms") and isinstance(value, int):
        return shown(value, zone)
    return f"“{value}”" if isinstance(value, str) else str(value)
