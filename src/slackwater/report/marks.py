"""What was done and seen at moments, in a few words each: the marks under the picture."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from slackwater.assessment.assessment import Assessment
from slackwater.episode.space import entries_for, not_placed
from slackwater.episode.types import Entry
from slackwater.quantities.spans import MINUTE_MS

HANDLED, SEEN, RECORD = "handled", "seen", "record"
SAME_CHANGE_MS = 15 * MINUTE_MS  # a recorded step of suction this near to an order is that order carried out (ours)
LONGEST = 60  # letters of a free text that are shown

# Lanes of their own, or nothing to do with the tube.
_ELSEWHERE = {
    "fluid_output", "canister_level", "spo2", "resp_rate", "heart_rate", "systolic", "temperature", "weight",
    "pain_rest", "pain_cough", "site", "length_at_skin",
}  # fmt: skip
_HANDLED = {"suction_ordered", "clamp", "tubing", "suction_unit", "canister", "instilled", "drained_before"}
_WORDS = {
    ("canister", "changed"): "canister changed",
    ("cough", "leak"): "cough: leak seen",
    ("cough", "no_leak"): "cough: no leak seen",
    ("cough", "not_looked"): "cough: not looked",
    ("walk", "leak"): "walk: leak seen",
    ("walk", "no_leak"): "walk: no leak seen",
    ("walk", "not_looked"): "walk: not looked",
    ("tube_open", "yes"): "tube seen open",
    ("tube_open", "no"): "tube seen not open",
    ("chest_xray", "expanded"): "X-ray: lung expanded",
    ("chest_xray", "space_stable"): "X-ray: space, stable",
    ("chest_xray", "space_new_or_larger"): "X-ray: space new or larger",
    ("chest_xray", "not_reviewed"): "X-ray not reviewed",
    ("distress", "yes"): "in distress",
    ("distress", "no"): "not in distress",
}
_ROUTINE = {"tube checked", "not in distress", "breathing own"}
_READ = {"air_leak_read", "suction_delivered"}  # numbers read off the unit now and then
_CHANGES = {"X-ray: space new or larger", "in distress", "tube seen not open", "swing absent"}
_UNITS = {
    "air_leak_read": "mL/min", "instilled": "mL", "drained_before": "mL", "suction_ordered": "cmH2O",
    "suction_delivered": "cmH2O", "surgical_emphysema": "",
}  # fmt: skip
_NAMES = {
    "air_leak_read": "air leak read", "suction_delivered": "suction read", "surgical_emphysema": "emphysema grade",
    "suction_unit": "unit", "fluid_appearance": "fluid", "tubing": "tube",
}  # fmt: skip


@dataclass(frozen=True)
class Mark:
    """One moment. `kind`: handled by somebody, seen by somebody, or told by the record itself.

    `rank`: 0 changes what the trace means, 1 is new, 2 says what was said before.
    """

    at_ms: int
    kind: str
    words: str
    rank: int = 1


def marks(found: Assessment) -> tuple[Mark, ...]:
    """In order of time; what has a lane of its own is left out."""
    all_of = [*_charted(found), *_recorded(found)]
    return tuple(sorted(all_of, key=lambda mark: (mark.at_ms, mark.kind, mark.words)))


def _charted(found: Assessment) -> Iterator[Mark]:
    unplaced = not_placed(found.chart, found.episode)
    own = entries_for(found.chart, "drain", found.episode).entries
    before: dict[str, str] = {}
    for entry in (*own, *unplaced):
        if entry.item in _ELSEWHERE:
            continue
        words = _words(entry) + (" (which drain is not told)" if entry in unplaced else "")
        handled = entry.item in _HANDLED
        again = before.get(entry.item) == words or words in _ROUTINE or entry.item in _READ
        before[entry.item] = words
        changed = words in _CHANGES or (handled and words not in _ROUTINE)
        yield Mark(entry.time, HANDLED if handled else SEEN, words, 0 if changed else 2 if again else 1)


def _words(entry: Entry) -> str:
    name = _NAMES.get(entry.item, entry.item.replace("_", " "))
    if entry.conflict:
        return f"{name}: two entries disagree"
    if entry.value is None:
        return f"{name}: left blank"
    known = _WORDS.get((entry.item, str(entry.value)))
    if known is not None:
        return known
    if isinstance(entry.value, float) and not entry.item.startswith("suction"):
        return f"{name} {_quantity(entry.value, _UNITS.get(entry.item, ''))}"
    if entry.item in ("note", "suction_ordered", "suction_delivered") or not entry.known:
        text = entry.text if entry.item == "note" else entry.text.replace("_", " ").replace("-", "−")
        joint = " " if entry.known and entry.item != "note" else ": "
        return f"{name}{joint}{text[:LONGEST]}{'…' if len(text) > LONGEST else ''}"
    return f"{name} {str(entry.value).replace('_', ' ')}"


def _quantity(value: float, unit: str) -> str:
    number = f"{value:.1f}".removesuffix(".0").replace("-", "−")
    return f"{number} {unit}".strip()


def _recorded(found: Assessment) -> Iterator[Mark]:
    if found.episode.connected_at is not None:
        yield Mark(found.episode.connected_at, HANDLED, "connected", 0)
    if found.trace is not None:
        for at in found.trace.exchanges:
            yield Mark(at, RECORD, "another unit's log takes over", 0)
        for step in found.trace.clock_steps:
            yield Mark(step.start_ms, RECORD, "the log's clock jumps", 0)
    ordered = [entry.time for entry in found.chart.of("suction_ordered")]
    for at in found.facts.events.get("suction_change", ()):
        if all(abs(at - time) > SAME_CHANGE_MS for time in ordered):
            yield Mark(at, RECORD, "suction changes, by the record", 0)
