"""Suction units between and at patients: where each stands in its life, and what it still needs before the next one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from slackwater.errors import RecordError
from slackwater.quantities.spans import MINUTE_MS
from slackwater.store.acts import key_of
from slackwater.store.alike import lot_form, near, serial_fault
from slackwater.store.facts import is_new, other_words
from slackwater.store.nouns import UNIT_STATES, Value
from slackwater.store.record import Acting, Record
from slackwater.store.rows import Thing, versions

# What a unit needs after a patient, in this order. Each names who and when; none may be skipped.
TURNOVER = ("cleaned", "tested", "ready")
AWAY = ("faulty", "in_service", "lost")
METHOD_NEEDED = ("cleaned", "tested")
NOT_REGISTERED = "not in the register"


def state_words(state: str) -> str:
    """A state or step of a unit as people read and write it: one word for the record's `ready`.

    >>> state_words("ready"), state_words("in_service")
    ('put back', 'in service')
    """
    return "put back" if state == "ready" else state.replace("_", " ")


@dataclass(frozen=True)
class UnitNow:
    """One unit as it stands. `needs`: what must still be done before it is for another patient, in order.

    `bars`: why it may go to no patient whatever was done: a recall that is open, a safety test overdue. A unit that
    was put back and is barred stands as tested, not as for the next patient.
    """

    key: str
    serial: str
    state: str
    since_ms: int
    by_note: str
    drain: str | None  # key of the drain it serves now
    needs: tuple[str, ...]
    history: tuple[Thing, ...]
    bars: tuple[str, ...]
    facts: Thing  # serial, kind, lots and dates as the register has them
    logged_at: str | None  # key of a drain that is in, whose log last named this unit; nobody entered where it is

    @property
    def stands(self) -> str:
        """How it stands, in words."""
        if self.logged_at is not None:
            return "in use by its log"
        return state_words(self.state)

    @property
    def at(self) -> str | None:
        """The drain it is at, as far as anything tells."""
        return self.drain or self.logged_at


def units_now(record: Record, now_ms: int) -> tuple[UnitNow, ...]:
    """Every unit, by its serial number."""
    states: dict[str, list[Thing]] = {}
    for one in record.things("unit_state"):
        states.setdefault(one["unit"], []).append(one)
    pairings: dict[str, list[Thing]] = {}
    for one in record.things("pairing"):
        pairings.setdefault(one["unit"], []).append(one)
    told: dict[str, list[Thing]] = {}
    with record.reading() as connection:
        for one in versions(connection, "unit"):
            told.setdefault(one.key, []).append(one)
    recalls = record.things("recall")
    out = {one["drain"] for one in record.things("removal")}
    return tuple(
        _unit_now(unit, told[unit.key], states.get(unit.key, []), pairings.get(unit.key, []), recalls, out, now_ms)
        for unit in sorted(record.things("unit"), key=lambda unit: unit["serial"])
    )


def _unit_now(
    unit: Thing, told: Sequence[Thing], states: list[Thing], pairings: list[Thing], recalls: Sequence[Thing],
    out: set[str], now_ms: int,
) -> UnitNow:  # fmt: skip
    history = tuple(sorted(states, key=lambda one: (_when(one), one.seq)))
    serving = [one for one in pairings if one["from_ms"] <= now_ms and (one["to_ms"] is None or one["to_ms"] > now_ms)]
    over = [one for one in pairings if one["to_ms"] is not None and one["to_ms"] <= now_ms]
    last_end = max((one["to_ms"] for one in over), default=None)
    last = history[-1] if history else None
    bars = bars_of(unit, open_recalls(recalls), now_ms)
    state, since, note, drain = "dirty", unit.at_ms if last_end is None else last_end, "", None
    said = "" if last is None else last["note"] or last["method"] or ""
    if serving:
        state, since, drain = "in_use", min(one["from_ms"] for one in serving), serving[-1]["drain"]
        if last is not None and last["state"] in AWAY:
            note = f"reported {last['state'].replace('_', ' ')}" + (f": {said}" if said else "")
    elif last is not None and (last["state"] in AWAY or all(_when(last) >= _known_over(one) for one in over)):
        state, since, note = last["state"], _when(last), said
        if state == "ready" and (bars or _recalled_since(told, recalls, since)):
            state = "tested"
    if not unit["registered"]:
        note = f"{note}; {NOT_REGISTERED}" if note else NOT_REGISTERED
    latest = max(pairings, key=lambda one: one["from_ms"], default=None)
    logged_at = None
    if drain is None and latest is not None and latest["from_log"] and latest["drain"] not in out:
        logged_at = latest["drain"] if last is None or _when(last) < latest["to_ms"] else None
    return UnitNow(unit.key, unit["serial"], state, since, note, drain, needs_of(state), history, bars, unit, logged_at)


def _known_over(pairing: Thing) -> int:
    """From when on a step counts as one after this pairing: not before its end was recorded, for until then nobody
    could tell. Where a log alone shows it, from its end: a log is often read out after the unit was cleaned."""
    end: int = pairing["to_ms"]
    return end if pairing["from_log"] else max(end, pairing.at_ms)


def _recalled_since(told: Sequence[Thing], recalls: Iterable[Thing], put_back_ms: int) -> bool:
    """Whether a lot that the unit had from then on was recalled after it was put back, though that is over by now."""
    held = {
        lot_form(one["battery_lot"])
        for one, after in zip(told, [*told[1:], None], strict=True)
        if one["battery_lot"] is not None and (after is None or after.at_ms > put_back_ms)
    }
    since = [one for one in recalls if one["what"] == "battery" and (one["from_ms"] or 0) >= put_back_ms]
    return any(lot_form(one["lot"]) in held for one in since)


def open_recalls(recalls: Iterable[Thing]) -> dict[tuple[str, str], Thing]:
    """Recalls in force, by what is recalled and its folded lot."""
    return {(one["what"], lot_form(one["lot"])): one for one in recalls if one["closed_ms"] is None}


def bars_of(unit: Thing, recalls: Mapping[tuple[str, str], Thing], now_ms: int) -> tuple[str, ...]:
    """Why this unit may go to no patient. A test without a recorded date is not overdue: that is told elsewhere."""
    found = []
    recall = recalls.get(("battery", lot_form(unit["battery_lot"] or "")))
    if recall is not None:
        found.append(f"battery lot {recall['lot']} is recalled: {recall['reason']}")
    due = unit["safety_test_due_ms"]
    if due is not None and due <= now_ms:
        found.append(f"its safety test was due on {datetime.fromtimestamp(due / 1000, UTC):%Y-%m-%d}")
    return tuple(found)


def needs_of(state: str) -> tuple[str, ...]:
    """The steps that are still missing after this one."""
    return TURNOVER[TURNOVER.index(state) + 1 :] if state in TURNOVER else TURNOVER


def set_state(
    record: Record,
    unit: str,
    state: str,
    *,
    by: str,
    method: str | None,
    note: str | None,
    place: str | None,
    once: str,
) -> None:
    """A step of a unit's life. Raises RecordError for a step that is not its turn, and without the method of cleaning
    or the result of the test."""
    if state not in UNIT_STATES or state == "in_use":
        raise RecordError(f"{state!r} is no step", where="unit", mend="A unit is in use by being paired with a drain.")
    if state in METHOD_NEEDED and not method:
        what = "how it was cleaned" if state == "cleaned" else "what was tested: self-test, memory cleared, charge"
        raise RecordError(f"{what} is missing", where=state, mend="Write it.")
    with record.act(by=by, what=f"unit {state}") as act:
        key = key_of("unit_state", unit, once)
        fields: dict[str, Value] = {"unit": unit, "state": state, "method": method, "note": note, "at_place": place}
        if not is_new(act, "unit_state", key, fields, whole=True):
            return
        now = _now(act, unit, act.at_ms)
        if now.state == "in_use" and state not in AWAY:
            raise RecordError("serves a drain", where=now.serial, mend="End its pairing first.")
        if state in TURNOVER and now.needs[:1] != (state,):
            missing = state_words(now.needs[0]) if now.needs else "nothing"
            raise RecordError(
                f"cannot be {state_words(state)} yet: it is {state_words(now.state)}", where=now.serial,
                mend=f"Its next step is: {missing}." if now.needs else "It is put back already.",
            )  # fmt: skip
        if state == "ready" and now.bars:
            raise RecordError("cannot be put back", where=now.serial, mend=f"Mend this first: {'; '.join(now.bars)}.")
        act.add("unit_state", key, fields, happened_ms=act.at_ms)


def connect(
    act: Acting,
    *,
    drain: str,
    serial: str,
    at_ms: int,
    checked: str,
    second_person: str,
    arrived_with: str | None,
    once: str,
) -> None:
    """Pair a unit with a drain, after its set-up was checked by two people.

    A unit that was not for the next patient at that moment is refused, as is one that still serves another, is barred
    or was reported faulty: the message says what it needs. A serial that is another spelling of a known one is asked
    back; a new one may come from elsewhere. `checked`: the items that were ticked, as JSON.
    """
    unit = key_of("unit", serial)
    fields: dict[str, Value] = {"drain": drain, "unit": unit, "checked": checked, "second_person": second_person}
    pairing = key_of("pairing", drain, serial, at_ms)
    if not is_new(act, "setup", key_of("setup", once), fields, whole=True):
        if not act.things("pairing", keys=[pairing], gone=True):  # of another moment
            raise other_words()
        return
    tube = act.thing("drain", drain)
    if tube is None:
        raise RecordError("there is no such drain", where=drain)
    episode = act.thing("episode", tube["episode"])
    assert episode is not None
    if act.thing("unit", unit) is None:
        meant = near(serial, (one["serial"] for one in act.things("unit")))
        if meant is not None:
            raise RecordError(
                "is another spelling", where=f"unit {serial}", mend=f"{meant} is in the register; is it that one?"
            )
        fault = serial_fault(serial)
        if fault is not None:
            raise RecordError(fault[0], where=f"unit {serial[:40]!r}", mend=fault[1])
        act.add("unit", unit, {"serial": serial})
    else:
        # People write the minute: what was so by its end counts, a unit put back within it as a recall begun within it.
        now = _now(act, unit, max(at_ms, min(at_ms - at_ms % MINUTE_MS + MINUTE_MS - 1, act.at_ms)))
        needs = ", ".join(map(state_words, now.needs))
        if now.drain is None and now.needs:
            raise RecordError(
                f"is {state_words(now.state)}", where=f"unit {serial}",
                mend=f"Before another patient it must be: {needs}. {'; '.join(now.bars)}".strip(),
            )  # fmt: skip
        if now.bars or (now.history and now.history[-1]["state"] in AWAY):
            raise RecordError(
                "is for no other drain", where=f"unit {serial}", mend="; ".join([*now.bars, now.by_note]).strip("; ")
            )
    for other in act.things("pairing", {"drain": drain}):
        if other["unit"] != unit and other["from_ms"] < at_ms and (other["to_ms"] is None or other["to_ms"] > at_ms):
            act.change("pairing", other.key, {"to_ms": at_ms}, version=other.version)
    act.add(
        "pairing", pairing,
        {
            "patient": episode["patient"], "drain": drain, "unit": unit, "from_ms": at_ms,
            "checked_by": second_person, "arrived_with": arrived_with,
        },
        happened_ms=at_ms,
    )  # fmt: skip
    act.add("setup", key_of("setup", once), fields, happened_ms=at_ms)


def _now(act: Acting, unit: str, at_ms: int) -> UnitNow:
    """As it stood at a moment, as far as is known now."""
    found = act.thing("unit", unit)
    if found is None:
        raise RecordError("there is no such unit", where=unit, mend="See the list of units.")
    return _unit_now(
        found, versions(act.connection, "unit", keys=[unit]),
        [one for one in act.things("unit_state", {"unit": unit}) if _when(one) <= at_ms],
        list(act.things("pairing", {"unit": unit})),
        [one for one in act.things("recall") if (one["from_ms"] or 0) <= at_ms],
        {one["drain"] for one in act.things("removal")}, at_ms,
    )  # fmt: skip


def _when(state: Thing) -> int:
    return state.happened_ms if state.happened_ms is not None else state.at_ms
