"""Results that came by message, entered in the chart of the right patient's stay: once, and into nobody else's.

A patient is found by the label that the record holds and by nothing else; who is not found is refused, and nothing of
the message is kept. Entries carry the sending application as who wrote them. Runs in a thread of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from slackwater.feed.hl7_corrected import Told, by_of
from slackwater.feed.hl7_fault import NOBODY, WRONG_TYPE, At, Hl7Error
from slackwater.feed.hl7_oru import Result, Understood
from slackwater.feed.hl7_reading import Placed
from slackwater.feed.hl7_strange import strange
from slackwater.quantities.spans import DAY_MS, MINUTE_MS
from slackwater.store.acts import key_of
from slackwater.store.heard import covers
from slackwater.store.record import Acting, Record
from slackwater.store.rows import Thing

AHEAD_MS = MINUTE_MS  # so far two clocks may differ (ours)
BEFORE_MS = 30 * DAY_MS  # so long before the stay's first drain may a result lie: taken before theatre (ours)


def enter(record: Record, understood: Understood, tell: Callable[[At, str], None] = lambda at, what: None) -> int:
    """Enter the results in one act; returns how many rows were new. The same again is none.

    tell: gets what the sender should know of results that were not simply entered. Raises Hl7Error where the patient is
    not recorded, has no stay at that time, or is not the one whose drain the unit serves; nothing is kept then.
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
            said = partial(_say, tell, result)
            made += Told(act, _stay(act, patient, result), result, understood, said).enter()
            if odd := strange(result):
                said(odd)
    return made


def _say(tell: Callable[[At, str], None], result: Result, what: str) -> None:
    tell(result.at, f"{result.item}: {what}")


def _refuse_anothers(act: Acting, patient: Thing, placed: Placed) -> None:
    """Only a unit that serves this patient's drain at that time may name the patient.

    Serves it another's, one of the two is wrong, and which cannot be told. Serves it nobody's, a pairing that is
    entered later might give the reading to somebody else: a reading in the record holds no patient.
    """
    of_unit = act.things("pairing", {"unit": key_of("unit", placed.reported.unit)})
    pairings = [one for one in of_unit if covers(one, placed.reported.time_ms)]
    if any(one["patient"] != patient.key for one in pairings):
        raise Hl7Error(
            "the unit serves another patient's drain at that time", code=NOBODY, at=At("PID", 1, 3),
            mend="Mend the patient at the unit, or its pairing here.",
        )  # fmt: skip
    if not pairings:
        raise Hl7Error(
            "the unit serves nobody's drain at that time", code=NOBODY, at=At("PID", 1, 3),
            mend="Pair it here first, or send its readings without a patient.",
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
