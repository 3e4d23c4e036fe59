"""The same drain with nobody named: what was read is stripped and moved in time, then judged again.

Not the answer is searched for names, but its inputs have none: whatever is worked out of them, a sentence with a time
in it too, is then free of them by construction. After Safe Harbor, 45 CFR 164.514(b)(2); the same pseudonyms as a
cohort's. Rare combinations can still be telling: docs/export.md.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from slackwater.assessment.assess import assess
from slackwater.assessment.assessment import Assessment
from slackwater.episode.chart import chart_of
from slackwater.episode.items import ITEMS
from slackwater.episode.pseudonyms import FREE_TEXT, OLDEST, SHORTEST_KEY, WEEK_BEGINS, pseudonym, told_age
from slackwater.episode.types import Chart, Entry, Episode
from slackwater.episode.values import CLAMP_KINDS, UNIT_OF
from slackwater.errors import UsageError
from slackwater.export.material import Material, Stretch, stood
from slackwater.export.unnamed_rule import plain_rule, plain_word_of
from slackwater.protocol.rule import Protocol
from slackwater.quantities.spans import DAY_MS, MINUTE_MS
from slackwater.reading.log import Log
from slackwater.store.nouns import CALL_KINDS, HOLD_REASONS

BEGINS_MS = round(WEEK_BEGINS.timestamp() * 1000)  # of every stay: weekday and hour stand in a theatre list
LONGEST_MS = 10 * DAY_MS  # ours: of 1,000 simulated stays nobody stands alone by days up to there; beyond, some do
_SHORT_NUMBER = re.compile(r"[0-9]{1,2}[A-Za-z]?", re.ASCII)  # what a drain is numbered by; all else is a name


def unnamed(given: Material, key: bytes) -> Material:
    """The drain under pseudonyms, without free text, serial numbers and dates. Done twice it is as done once.

    A stay beyond LONGEST_MS is told as it stood then. Raises UsageError for a key that is too short.
    """
    if given.de_identified:
        return given
    if len(key) < SHORTEST_KEY:
        raise UsageError("the key of the pseudonyms is too short", mend=f"Give {SHORTEST_KEY} bytes made at random.")
    found = given.found
    begins = begins_ms(found)
    by_ms = BEGINS_MS - begins // MINUTE_MS * MINUTE_MS
    last_ms = min(found.as_of_ms, begins + LONGEST_MS)
    shortened = last_ms < found.as_of_ms

    def called(number: str | None) -> str | None:
        return number if number is None or _SHORT_NUMBER.fullmatch(number) else pseudonym(key, "number", number)[:4]

    patient = None if given.patient is None else pseudonym(key, "patient", given.patient)
    logs = () if found.trace is None else [log for log in found.trace.logs if (log.time_ms <= last_ms).any()]
    rule = None if found.evaluation is None else found.evaluation.protocol
    told = assess(
        [_log(log, n, by_ms, key) for n, log in enumerate(logs, start=1)],
        chart=_chart(found.chart, by_ms, key, called),
        episode=_episode(found.episode, patient, by_ms, called, plain_word_of(key), rule),
        protocol=None if rule is None else plain_rule(rule, key),
        now_ms=None if found.as_of_last_reading and not shortened else last_ms + by_ms,
        model=found.model,
    )
    removal = None if shortened else given.removal
    return Material(
        found=told,
        patient=patient,
        drain=pseudonym(key, "drain", given.drain),
        removal=None if removal is None else replace(removal, time_ms=removal.time_ms + by_ms, by=None),
        order_ends={
            start + by_ms: end + by_ms for start, end in given.order_ends.items() if not shortened or end <= last_ms
        },
        stretches=None if given.stretches is None else _stretches(stood(given.stretches, last_ms), by_ms),
        de_identified=True,
        shortened=shortened,
    )


def begins_ms(found: Assessment) -> int:
    """Since when the drain was in, as far as is known: what the move in time goes by."""
    facts = found.facts
    return facts.connected_ms if facts.connected_ms is not None else facts.grid_start_ms


def _log(log: Log, number: int, by_ms: int, key: bytes) -> Log:
    moved = np.asarray(log.time_ms + by_ms, np.int64)
    moved.flags.writeable = False
    return replace(
        log, name=f"log-{number}", sha256=pseudonym(key, "log", log.sha256), time_ms=moved,
        serials=tuple(pseudonym(key, "unit", serial) for serial in log.serials), zone="UTC", notes=(),
        # logs of one layout belong together; what it says is not needed any more
        layout={"time": {"zone": "UTC"}, "as": pseudonym(key, "layout", json.dumps(log.layout, default=str))},
        ledger=replace(log.ledger, first_refused=()),
    )  # fmt: skip


def _chart(chart: Chart, by_ms: int, key: bytes, called: Callable[[str | None], str | None]) -> Chart:
    """Known items whose values are numbers or words of a closed list; a row of any other kind may hold anything."""

    def row(entry: Entry) -> Entry:
        return replace(
            entry, time=entry.time + by_ms, recorded=entry.recorded + by_ms, note=_note(entry, key), by="",
            drain=called(entry.drain), text=_plain(entry),
        )  # fmt: skip

    rows = [row(one) for one in chart.entries + chart.repeats if one.known and one.item not in FREE_TEXT]
    return chart_of(rows, name="chart", sha256=pseudonym(key, "chart", chart.sha256) if chart.sha256 else "")


def _stretches(stretches: Iterable[Stretch], by_ms: int) -> tuple[Stretch, ...]:
    """Moved; what kind it was is told by a word of a closed list alone: a destination may name, a lot be traced."""
    listed = {"hold": HOLD_REASONS, "signal": CALL_KINDS}
    return tuple(
        Stretch(
            one.what, one.kind if one.kind in listed.get(one.what, ()) else None, one.from_ms + by_ms,
            None if one.to_ms is None else one.to_ms + by_ms,
        )
        for one in stretches
    )  # fmt: skip


def _note(entry: Entry, key: bytes) -> str:
    """Notes tell entries of one moment apart, and what kind of clamp it was: so much of them stays, and no word more.

    Nothing of it is given out.
    """
    if not entry.note:
        return ""
    kinds = [kind for kind in CLAMP_KINDS if entry.item == "clamp" and kind in entry.note.lower()]
    return " ".join((*kinds, pseudonym(key, "note", entry.note)[:8]))


def _plain(entry: Entry) -> str:
    """The value as the program understood it, in the internal unit."""
    value = entry.value
    if not isinstance(value, float):
        return value or ""
    return f"{value:g} {UNIT_OF.get(ITEMS[entry.item].dimension, '')}".strip()


def _episode(
    episode: Episode, patient: str | None, by_ms: int, called: Callable[[str | None], str | None],
    word: Callable[[str], str], rule: Protocol | None,
) -> Episode:  # fmt: skip
    def moved(ms: int | None) -> int | None:
        return None if ms is None else ms + by_ms

    def all_of(numbers: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(name for number in numbers if (name := called(number)) is not None)

    return replace(
        episode, patient_id=patient, age_years=_age(episode.age_years, rule), drain_number=called(episode.drain_number),
        site=None, connected_at=moved(episode.connected_at), operation_end=moved(episode.operation_end),
        shares_unit_with=all_of(episode.shares_unit_with), shares_space_with=all_of(episode.shares_space_with),
        other_drains=all_of(episode.other_drains), goal=None,
        indication=None if episode.indication is None else word(episode.indication),
        operation_kind=None if episode.operation_kind is None else word(episode.operation_kind),
    )  # fmt: skip


def _age(age_years: float | None, rule: Protocol | None) -> float | None:
    """As it may be told; not known where a limit of the rule lies above 89: 90 might be on its other side."""
    told = told_age(age_years)
    limits = () if rule is None else (rule.applies.min_age_years, rule.applies.max_age_years)
    return told if told == age_years or not any(limit is not None and limit >= OLDEST for limit in limits) else None
