"""Which unit served which drain when, as the logs themselves show it by their serial numbers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise

from slackwater.errors import RecordError
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS
from slackwater.reading.log import NONE, Log
from slackwater.store.acts import key_of
from slackwater.store.course_text import natural_key
from slackwater.store.facts import tell
from slackwater.store.nouns import Value
from slackwater.store.record import Acting
from slackwater.store.rows import Thing
from slackwater.store.whose import Whose

AWAY_MS = HOUR_MS  # a unit that was away for longer was paired anew (ours)


@dataclass(frozen=True)
class _Stretch:
    """A unit on this drain, as logs show it. UTC ms."""

    unit: str
    from_ms: int
    to_ms: int
    arrived_with: str | None = None


def span_of(log: Log) -> tuple[int, int]:
    """The time that a log's rows stand for. [UTC ms]"""
    first, last = int(log.time_ms.min()), int(log.time_ms.max())
    return (first - log.every_ms, last) if log.marks == "end" else (first, last + log.every_ms)


def refuse_strange(act: Acting, whose: Whose, log: Log, connected_ms: int | None) -> None:
    """Refuse a log that is another's: from before the connection or after the removal of this drain, of a unit that
    served another patient then, or of another unit than the one that a person paired with this drain."""
    first, last = span_of(log)
    ask = "Is it the right log, and the right drain?"
    if connected_ms is not None and last <= connected_ms:
        raise RecordError("ends before this drain was connected", where=log.name, mend=ask)
    for removal in act.things("removal", {"drain": whose.drain}):
        if removal["time_ms"] <= first:
            raise RecordError("begins after this drain was out", where=log.name, mend=ask)
        last = min(last, removal["time_ms"])
    if len(log.serials) != 1:
        return
    unit = key_of("unit", log.serials[0])
    here = _Stretch(unit, first if connected_ms is None else max(first, connected_ms), last)
    for other in act.things("pairing", {"unit": unit}):
        if other["patient"] != whose.patient and _meet(other, here):
            what = f"unit {log.serials[0]} served another patient's drain at that time"
            raise RecordError(what, where=log.name, mend=f"{ask} If so, end that pairing first.")
    entered = [one for one in act.things("pairing", {"drain": whose.drain}) if not one["from_log"]]
    if not any(one["unit"] == unit and _meet(one, here) for one in entered) and not _between(here, entered):
        what = "this drain was paired with another unit all that time"
        raise RecordError(what, where=log.name, mend=f"{ask} If so, mend that pairing first.")


def arrived_with(log: Log, connected_ms: int | None) -> list[str]:
    """A unit that came with another one's history."""
    notes = []
    first, _ = span_of(log)
    if connected_ms is not None and first < connected_ms - MINUTE_MS:
        minutes = (connected_ms - first) // MINUTE_MS
        notes.append(f"{log.name} begins {minutes} min before the drain was connected: an earlier patient's?")
    if log.fluid_ml is not None and len(log.fluid_ml):
        known = log.fluid_ml[log.fluid_ml != NONE]
        if len(known) and int(known[0]) > 0:
            notes.append(f"{log.name} begins with {int(known[0])} mL in the canister")
    return notes


def look_at(log: Log, connected_ms: int | None) -> list[str]:
    """What a person should look at: another one's history, or a unit that does not say which it is."""
    notes = arrived_with(log, connected_ms)
    if len(log.serials) != 1:
        what = "names no unit" if not log.serials else f"names {len(log.serials)} units"
        notes.append(f"{log.name} {what}: that it is this drain's rests on who filed it")
    return notes


def pair_from_logs(act: Acting, whose: Whose) -> tuple[int, list[str]]:
    """Enter, lengthen or join the pairings that this drain's logs show; returns the rows made, and what to look at.

    What the logs show depends on the set of them alone, not on their order. A pairing that a person entered is
    never changed: where it speaks of a unit's time, logs add nothing. Raises RecordError where a unit served
    another patient while a log was written: it is that patient's.
    """
    entered = [one for one in act.things("pairing", {"drain": whose.drain}) if not one["from_log"]]
    wanted: dict[str, dict[str, Value]] = {}
    notes, rows = [], 0
    shown = list(_shown(act, whose))
    serials = {stretch.unit: serial for serial, stretch in shown}
    for unit, serial in serials.items():
        rows += tell(act, "unit", unit, {"serial": serial}, of="a log", correct=False)
    for one in _in_turn([stretch for _, stretch in shown]):
        mine = [other for other in entered if other["unit"] == one.unit and _meet(other, one)]
        if mine:
            if any(other["to_ms"] is not None and other["to_ms"] < one.to_ms for other in mine):
                notes.append(f"unit {serials[one.unit]} logged on after the pairing that was entered: not counted")
            continue
        for free in _between(one, entered):
            fields: dict[str, Value] = {
                "patient": whose.patient, "drain": whose.drain, "unit": free.unit, "from_ms": free.from_ms,
                "to_ms": free.to_ms, "arrived_with": free.arrived_with, "from_log": True,
            }  # fmt: skip
            wanted[natural_key("pairing", whose.drain, {**fields, "unit": serials[free.unit]})] = fields
    return rows + _settle(act, whose, wanted), notes


def _shown(act: Acting, whose: Whose) -> Iterable[tuple[str, _Stretch]]:
    """Each log's unit and time, within the drain's own."""
    drain = act.thing("drain", whose.drain)
    connected = None if drain is None else drain["connected_ms"]
    out = min((one["time_ms"] for one in act.things("removal", {"drain": whose.drain})), default=None)
    for log in act.things("log", {"drain": whose.drain}):
        if log["serials"] is None or ", " in log["serials"]:
            continue
        first = log["first_ms"] if connected is None else max(log["first_ms"], connected)
        last = log["last_ms"] if out is None else min(log["last_ms"], out)
        if first < last:
            yield log["serials"], _Stretch(key_of("unit", log["serials"]), first, last, log["arrived_with"])


def _in_turn(stretches: list[_Stretch]) -> list[_Stretch]:
    """Who was on the drain when: at each moment the unit whose log began last. A gap of up to an hour is bridged where
    nobody else was there."""
    edges = sorted({edge for one in stretches for edge in (one.from_ms, one.to_ms)})
    found: list[_Stretch] = []
    for start, end in pairwise(edges):
        there = [one for one in stretches if one.from_ms <= start and end <= one.to_ms]
        if not there:
            continue
        last = max(there, key=lambda one: (one.from_ms, one.unit, one.to_ms))
        before = found[-1] if found else None
        if before is not None and before.unit == last.unit and start <= before.to_ms + AWAY_MS:
            found[-1] = replace(before, to_ms=end)
        else:
            found.append(_Stretch(last.unit, start, end, last.arrived_with if start == last.from_ms else None))
    return found


def _between(one: _Stretch, entered: list[Thing]) -> list[_Stretch]:
    """What is left of a stretch beside the pairings that people entered with other units."""
    left = [one]
    for other in entered:
        end = other["to_ms"]
        cut: list[_Stretch] = []
        for part in left:
            if not _meet(other, part):
                cut.append(part)
                continue
            if part.from_ms < other["from_ms"]:
                cut.append(replace(part, to_ms=other["from_ms"]))
            if end is not None and end < part.to_ms:
                cut.append(replace(part, from_ms=end))
        left = cut
    return left


def _settle(act: Acting, whose: Whose, wanted: dict[str, dict[str, Value]]) -> int:
    """Make the pairings that logs show those that are wanted: the shorter and the joined ones first."""
    rows = 0
    held = {one.key: one for one in act.things("pairing", {"drain": whose.drain}, gone=True) if one["from_log"]}
    standing: dict[str, dict[str, Value]] = {}
    for key, fields in wanted.items():
        again, name = 0, key
        while name in held and held[name].gone:  # what was taken back stays so; the same may stand once more
            again += 1
            name = key_of(key, again)
        standing[name] = fields
    for key, one in held.items():
        if key not in standing and not one.gone:
            act.take_back("pairing", key, version=one.version)
            rows += 1
    new: list[tuple[str, dict[str, Value]]] = []
    for key, fields in standing.items():
        seen = held.get(key)
        if seen is None:
            new.append((key, fields))
        elif any(seen[name] != fields[name] for name in ("to_ms", "arrived_with")):
            new_fields = {name: fields[name] for name in ("to_ms", "arrived_with")}
            act.change("pairing", seen.key, new_fields, version=seen.version)
            rows += 1
    for key, fields in new:
        from_ms = fields["from_ms"]
        act.add("pairing", key, fields, happened_ms=from_ms if isinstance(from_ms, int) else None)
    return rows + len(new)


def _meet(pairing: Thing, stretch: _Stretch) -> bool:
    end = pairing["to_ms"]
    return bool(pairing["from_ms"] < stretch.to_ms and (end is None or stretch.from_ms < end))
