"""Which unit served which drain when, as the logs themselves show it by their serial numbers."""

from __future__ import annotations

from slackwater.errors import RecordError
from slackwater.reading.log import NONE, Log
from slackwater.store.acts import key_of
from slackwater.store.facts import tell
from slackwater.store.record import Acting
from slackwater.store.rows import Thing
from slackwater.store.whose import Whose


def pair_from_log(act: Acting, whose: Whose, log: Log, connected_ms: int | None) -> tuple[int, list[str]]:
    """Enter or lengthen the pairing that a log shows; returns the rows made and what to look at.

    A log without a serial number, or with several, shows no pairing. Raises RecordError where the unit
    served another patient while this log was written: it is that patient's.
    """
    notes = _arrived_with(log, connected_ms)
    if len(log.serials) != 1:
        what = "names no unit" if not log.serials else f"names {len(log.serials)} units"
        return 0, [*notes, f"{log.name} {what}: that it is this drain's rests on who filed it"]
    serial = log.serials[0]
    unit = key_of("unit", serial)
    rows = tell(act, "unit", unit, {"serial": serial}, of=log.name, correct=False)
    first, last = _span(log)
    if connected_ms is not None and last > connected_ms:
        first = max(first, connected_ms)
    for removal in act.things("removal", {"drain": whose.drain}):
        if removal["time_ms"] <= first:
            raise RecordError(
                "begins after this drain was out", where=log.name, mend="Is it the right log, and the right drain?"
            )
        last = min(last, removal["time_ms"])
    others = act.things("pairing", {"unit": unit})
    for other in others:
        if other["patient"] != whose.patient and _meet(other, first, last):
            raise RecordError(
                f"unit {serial} served another patient's drain at that time",
                where=log.name,
                mend="Is it the right log? If so, end that pairing first.",
            )
    own = [other for other in others if other["drain"] == whose.drain and _near(other, first, last)]
    if own:
        return rows + _lengthen(act, own[0], first, last), notes
    made, last = _make_room(act, whose, unit, first, last)
    rows += made
    act.add(
        "pairing", key_of("pairing", whose.drain, serial, first),
        {
            "patient": whose.patient, "drain": whose.drain, "unit": unit, "from_ms": first, "to_ms": last,
            "arrived_with": "; ".join(notes) or None,
        },
        happened_ms=first,
    )  # fmt: skip
    return rows + 1, notes


def _span(log: Log) -> tuple[int, int]:
    first, last = int(log.time_ms.min()), int(log.time_ms.max())
    return (first - log.every_ms, last) if log.marks == "end" else (first, last + log.every_ms)


def _arrived_with(log: Log, connected_ms: int | None) -> list[str]:
    """A unit that comes with another one's history."""
    notes = []
    first, _ = _span(log)
    if connected_ms is not None and first < connected_ms - 60_000:
        minutes = (connected_ms - first) // 60_000
        notes.append(f"{log.name} begins {minutes} min before the drain was connected: an earlier patient's?")
    if log.fluid_ml is not None and len(log.fluid_ml):
        known = log.fluid_ml[log.fluid_ml != NONE]
        if len(known) and int(known[0]) > 0:
            notes.append(f"{log.name} begins with {int(known[0])} mL in the canister")
    return notes


def _meet(pairing: Thing, first: int, last: int) -> bool:
    end = pairing["to_ms"]
    return bool(pairing["from_ms"] < last and (end is None or first < end))


def _near(pairing: Thing, first: int, last: int) -> bool:
    """Pieces of one log touch, or overlap; a unit that was away for an hour was paired anew."""
    hour = 3_600_000
    return _meet(pairing, first - hour, last + hour)


def _lengthen(act: Acting, pairing: Thing, first: int, last: int) -> int:
    new: dict[str, str | int | float | bool | None] = {"from_ms": min(pairing["from_ms"], first)}
    if pairing["to_ms"] is not None:
        new["to_ms"] = max(pairing["to_ms"], last)
    if all(pairing[name] == value for name, value in new.items()):
        return 0
    act.change("pairing", pairing.key, new, version=pairing.version)
    return 1


def _make_room(act: Acting, whose: Whose, unit: str, first: int, last: int) -> tuple[int, int]:
    """Where another unit was on this drain: the later one ends the earlier one's time."""
    rows = 0
    for other in act.things("pairing", {"drain": whose.drain}):
        if other["unit"] == unit or not _meet(other, first, last):
            continue
        if other["from_ms"] <= first:
            act.change("pairing", other.key, {"to_ms": first}, version=other.version)
            rows += 1
        else:
            last = other["from_ms"]
    return rows, last
