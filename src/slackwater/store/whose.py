"""Patient, stay, space and drain of an episode file: found in the record, or entered."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from slackwater.episode.types import Episode
from slackwater.errors import RecordError
from slackwater.store.acts import key_of
from slackwater.store.facts import tell
from slackwater.store.record import Acting
from slackwater.store.rows import Thing


@dataclass(frozen=True)
class Whose:
    """Keys of the drain that was told about, and how many rows the telling made."""

    patient: str
    episode: str
    drain: str
    new: bool
    rows: int


def settle_drain(act: Acting, told: Episode, name: str, correct: bool) -> Whose:
    """The drain that `told` speaks of. A drain's number is a patient's for ever: it is never used again.

    A patient's open stay takes a new drain; if every stay is closed, another begins. `name` is what errors
    call the file.
    """
    if told.patient_id is None or told.drain_number is None:
        missing = "[patient] id" if told.patient_id is None else "[drain] number"
        raise RecordError(
            f"{missing} is missing, so whose drain it is cannot be told",
            where=name,
            mend="Write both in the episode file.",
        )
    label = unicodedata.normalize("NFC", told.patient_id)  # two spellings of one letter are one name
    patient = key_of("patient", label)
    rows = tell(act, "patient", patient, {"label": label}, of=name, correct=False)
    stays = sorted(act.things("episode", {"patient": patient}), key=lambda stay: stay.seq)
    tubes = {tube["number"]: tube for stay in stays for tube in act.things("drain", {"episode": stay.key})}
    known = tubes.get(told.drain_number)
    stay: Thing | None
    if known is not None:
        stay = next(stay for stay in stays if stay.key == known["episode"])
        _refuse_second_use(act, known, told, name, correct)
    else:
        stay = next((stay for stay in reversed(stays) if stay["closed_ms"] is None), None)
    episode = stay.key if stay is not None else key_of("episode", patient, len(stays) + 1)
    rows += tell(
        act, "episode", episode,
        {
            "patient": patient, "age_years": told.age_years, "weight_kg": told.weight_kg,
            "indication": told.indication, "operation_kind": told.operation_kind,
            "operation_end_ms": told.operation_end, "breathing": told.breathing,
        },
        of=name, correct=correct,
    )  # fmt: skip
    space = _space(episode, told, known, tubes)
    rows += tell(
        act, "space", space, {"episode": episode, "kind": told.space, "side": told.side}, of=name, correct=correct
    )
    drain = key_of("drain", patient, told.drain_number)
    rows += tell(
        act, "drain", drain,
        {
            "episode": episode, "space": space, "number": told.drain_number, "site": told.site,
            "size_fr": told.size_fr, "connected_ms": told.connected_at,
            "shares_unit_with": _shared(known, "shares_unit_with", told.shares_unit_with or None),
            "shares_space_with": _shared(
                known, "shares_space_with", told.shares_space_with if told.shares_space_told else None
            ),
        },
        of=name, correct=correct, happened_ms=told.connected_at, grows=("shares_unit_with", "shares_space_with"),
    )  # fmt: skip
    rows += _tell_the_others(act, told, tubes, name)
    if told.goal is not None:
        rows += tell(act, "goal", key_of("goal", drain), {"drain": drain, "text": told.goal}, of=name, correct=correct)
    return Whose(patient, episode, drain, known is None, rows)


def _refuse_second_use(act: Acting, known: Thing, told: Episode, name: str, correct: bool) -> None:
    """A tube connected after this number's tube was out is another tube."""
    for removal in act.things("removal", {"drain": known.key}):
        if told.connected_at is not None and told.connected_at > removal["time_ms"] and not correct:
            numbers = sorted(tube["number"] for tube in act.things("drain", {"episode": known["episode"]}))
            raise RecordError(
                f"drain {told.drain_number} was connected after drain {told.drain_number} of this patient was out",
                where=f"{name}, drain.number",
                mend=f"A number is never used again: give the new tube one of its own (used: {', '.join(numbers)}).",
            )


def _space(episode: str, told: Episode, known: Thing | None, tubes: dict[str, Thing]) -> str:
    """The space that this drain lies in: its own, or that of a drain that it is said to share one with."""
    if known is not None:
        return str(known["space"])
    for number, tube in tubes.items():
        says = json.loads(tube["shares_space_with"] or "[]")
        if tube["episode"] == episode and (number in told.shares_space_with or told.drain_number in says):
            return str(tube["space"])
    return key_of("space", episode, told.drain_number)


def _tell_the_others(act: Acting, told: Episode, tubes: dict[str, Thing], name: str) -> int:
    """Who is said to share hears of it: sharing is mutual."""
    rows = 0
    for field, numbers in (
        ("shares_unit_with", told.shares_unit_with), ("shares_space_with", told.shares_space_with),
    ):  # fmt: skip
        for number in numbers:
            other = act.thing("drain", tubes[number].key) if number in tubes else None
            if other is not None and other[field] is not None and told.drain_number is not None:
                new = {field: _shared(other, field, [told.drain_number])}
                rows += tell(act, "drain", other.key, new, of=name, correct=False, grows=(field,))
    return rows


def _shared(known: Thing | None, field: str, told: Iterable[str] | None) -> str | None:
    """Drains said to share, with those said before: whoever hears of one more hears of no contradiction."""
    before = None if known is None else known[field]
    if told is None:
        return before
    return json.dumps(sorted({*told, *json.loads(before or "[]")}))
