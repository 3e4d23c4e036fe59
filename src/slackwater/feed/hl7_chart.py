"""Results that came by message, entered in the chart of the right patient's stay: once, and into nobody else's.

A patient is found by the label that the record holds and by nothing else; who is not found is refused, and nothing of
the message is kept. Entries carry the sending application as who wrote them. Runs in a thread of its own.
"""

from __future__ import annotations

from collections.abc import Iterable

from slackwater.feed.hl7_fault import NOBODY, WRONG_TYPE, At, Hl7Error
from slackwater.feed.hl7_observation import UNDONE
from slackwater.feed.hl7_oru import Result, Understood
from slackwater.feed.hl7_reading import Placed
from slackwater.store.acts import key_of
from slackwater.store.nouns import Value
from slackwater.store.record import Acting, Record
from slackwater.store.rows import Thing

SOURCE = "hl7"
AHEAD_MS = 60_000  # so far two clocks may differ (ours)
BEFORE_MS = (
    30 * 86_400_000
)  # so long before the stay's first drain a result may lie: it was taken before theatre (ours)


def by_of(understood: Understood) -> str:
    """Who wrote an entry: the sending application."""
    return f"{SOURCE} {understood.sender}"


def enter(record: Record, understood: Understood) -> int:
    """Enter the results in one act; returns how many rows were new. The same again is none.

    Raises Hl7Error where the patient is not recorded, has no stay at that time, or is not the one whose drain the
    unit serves; nothing of the message is kept then.
    """
    if understood.label is None:
        return 0
    made = 0
    with record.act(by=by_of(understood), what="charted", why=f"message {understood.control}") as act:
        patient = act.thing("patient", key_of("patient", understood.label))
        if patient is None or patient["label"] != understood.label:
            raise Hl7Error(
                "nobody with this identifier is recorded here", code=NOBODY, at=At("PID", 1, 3),
                mend="Record the drain first; the label must be the same, letter for letter.",
            )  # fmt: skip
        for placed in understood.readings:
            _refuse_anothers(act, patient, placed)
        for result in understood.results:
            stay = _stay(act, patient, result)
            made += _enter(act, stay, result, by_of(understood))
    return made


def _refuse_anothers(act: Acting, patient: Thing, placed: Placed) -> None:
    """A unit that serves another patient's drain at that time: one of the two is wrong, and which cannot be told."""
    time = placed.reported.time_ms
    for pairing in act.things("pairing", {"unit": key_of("unit", placed.reported.unit)}):
        serves = pairing["from_ms"] <= time and (pairing["to_ms"] is None or time < pairing["to_ms"])
        if serves and pairing["patient"] != patient.key:
            raise Hl7Error(
                "the unit serves another patient's drain at that time", code=NOBODY, at=At("PID", 1, 3),
                mend="Mend the patient at the unit, or its pairing here.",
            )  # fmt: skip


def _stay(act: Acting, patient: Thing, result: Result) -> Thing:
    """The stay of the time that the result speaks of."""
    time, at = result.time_ms, result.at.of(14)
    if time > act.at_ms + AHEAD_MS:
        raise Hl7Error("lies ahead of the clock here", code=WRONG_TYPE, at=at, mend="Set the sender's clock.")
    stays = [
        stay for stay in act.things("episode", {"patient": patient.key})
        if stay["closed_ms"] is None or stay["closed_ms"] >= time
    ]  # fmt: skip
    closed = sorted((stay for stay in stays if stay["closed_ms"] is not None), key=lambda stay: int(stay["closed_ms"]))
    candidates = closed[:1] or stays
    if len(candidates) != 1:
        what = "two stays are open" if candidates else "no stay is open"
        raise Hl7Error(
            f"{what} for this patient at that time", code=NOBODY, at=At("PID", 1, 3), mend="Mend the record."
        )
    connected = [
        int(drain["connected_ms"]) for drain in act.things("drain", {"episode": candidates[0].key})
        if drain["connected_ms"] is not None
    ]  # fmt: skip
    if connected and time < min(connected) - BEFORE_MS:
        raise Hl7Error("lies long before this stay", code=WRONG_TYPE, at=at, mend="Is the sender's clock set?")
    return candidates[0]


def _enter(act: Acting, stay: Thing, result: Result, by: str) -> int:
    key = key_of("entry", stay.key, by, result.code, result.item, result.time_ms, result.value, result.unit)
    fields: dict[str, Value] = {
        "episode": stay.key, "item": result.item, "value": result.value or None, "unit": result.unit or None,
        "note": result.code, "time_ms": result.time_ms, "written_ms": act.at_ms, "written_by": by,
    }  # fmt: skip
    if result.status in (*UNDONE, "C"):
        before = [one for one in _same_moment(act, stay, result, by) if not one.gone]
        if result.status in UNDONE:
            return _undo(act, stay, result, by, before)
        if len(before) > 1:
            raise Hl7Error(
                "corrects one of several values, and which is not told", code=NOBODY, at=result.at.of(11),
                mend="Correct it by hand.",
            )  # fmt: skip
        if before:
            new = {name: fields[name] for name in ("value", "unit", "written_ms")}
            if (before[0]["value"], before[0]["unit"]) == (new["value"], new["unit"]):
                return 0
            act.change("entry", before[0].key, new, version=before[0].version, happened_ms=result.time_ms)
            return 1
    if act.things("entry", keys=[key], gone=True):
        return 0  # it came before; what was taken back since stays so
    act.add("entry", key, fields, happened_ms=result.time_ms)
    return 1


def _undo(act: Acting, stay: Thing, result: Result, by: str, before: list[Thing]) -> int:
    """Take back what was posted as wrong. What was never here cannot be, and the sender hears of it."""
    told = [one for one in before if not result.value or one["value"] == result.value]
    if not told and not any(one.gone for one in _same_moment(act, stay, result, by)):
        raise Hl7Error(
            "takes back what is not here", code=NOBODY, at=result.at.of(11), mend="Look at what was sent before."
        )
    for one in told:
        act.take_back("entry", one.key, version=one.version)
    return len(told)


def _same_moment(act: Acting, stay: Thing, result: Result, by: str) -> Iterable[Thing]:
    """What this sender said of this item at this moment, by this code."""
    said = (result.item, result.time_ms, result.code, by)
    for one in act.things("entry", {"episode": stay.key}, gone=True):
        if (one["item"], one["time_ms"], one["note"], one["written_by"]) == said:
            yield one
