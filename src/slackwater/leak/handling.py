"""What staff charted of the tube and the unit, as intervals and instants that bear on the trace."""

from __future__ import annotations

from dataclasses import dataclass

from slackwater.episode.types import Chart, Entry
from slackwater.trace.types import Interval

FOREVER = 1 << 62

# Each opens a stretch of its kind; the words that end it.
_CLAMP_ENDS = {("clamp", "off")}
_OFF_ENDS = {("suction_unit", "on"), ("suction_unit", "exchanged")}
_APART_ENDS = {("tubing", "reconnected")}
_SHUT_ENDS = {
    ("tubing", "checked"), ("tubing", "milked"), ("tubing", "flushed"), ("tubing", "reconnected"), ("tube_open", "yes"),
    ("swing", "present"), ("swing", "reduced"),
}  # fmt: skip


@dataclass(frozen=True)
class Handling:
    """Charted handling of one drain. Open-ended stretches end at `FOREVER`."""

    clamped: tuple[Interval, ...] = ()  # why: handling, trial, ordered or ''
    off: tuple[Interval, ...] = ()
    apart: tuple[Interval, ...] = ()  # apart or capped
    shut: tuple[Interval, ...] = ()  # kinked, or charted not open
    shown_open_ms: tuple[int, ...] = ()  # tube_open yes, swing present or reduced, tube flushed
    shown_shut_ms: tuple[int, ...] = ()
    reconnected_ms: tuple[int, ...] = ()
    exchanged_ms: tuple[int, ...] = ()
    flushed_ms: tuple[int, ...] = ()
    ordered: tuple[tuple[int, float], ...] = ()  # (from when, cmH2O with suction negative; 0 for none added)


def handling(chart: Chart) -> Handling:
    """Gather what the chart says; entries that contradict each other are left out."""
    entries = [entry for entry in chart.entries if entry.known and not entry.conflict]
    return Handling(
        clamped=_stretches(entries, {("clamp", "on")}, _CLAMP_ENDS, note=True),
        off=_stretches(entries, {("suction_unit", "off")}, _OFF_ENDS),
        apart=_stretches(entries, {("tubing", "apart"), ("tubing", "capped")}, _APART_ENDS),
        shut=_stretches(entries, {("tubing", "kinked"), ("tube_open", "no")}, _SHUT_ENDS),
        shown_open_ms=_times(entries, {("tube_open", "yes"), ("swing", "present"), ("swing", "reduced")}),
        shown_shut_ms=_times(entries, {("tube_open", "no")}),
        reconnected_ms=_times(entries, _APART_ENDS),
        exchanged_ms=_times(entries, {("suction_unit", "exchanged")}),
        flushed_ms=_times(entries, {("tubing", "flushed")}),
        ordered=tuple(
            (entry.time, entry.value if isinstance(entry.value, float) else 0.0)
            for entry in entries
            if entry.item == "suction_ordered" and entry.value is not None
        ),
    )


def _key(entry: Entry) -> tuple[str, str]:
    return entry.item, str(entry.value)


def _times(entries: list[Entry], keys: set[tuple[str, str]]) -> tuple[int, ...]:
    return tuple(entry.time for entry in entries if _key(entry) in keys)


def _stretches(
    entries: list[Entry], begins: set[tuple[str, str]], ends: set[tuple[str, str]], *, note: bool = False
) -> tuple[Interval, ...]:
    """From each beginning to its end. `note`: why is what kind of clamp it is; of several told at once, the most."""
    stretches: list[Interval] = []
    start: Entry | None = None
    why = ""
    for entry in entries:
        if _key(entry) in begins:
            told = entry.note.strip().lower() if note else str(entry.value)
            if start is None:
                start, why = entry, told
            elif note and _restarts(told):
                why = told
        elif _key(entry) in ends and start is not None:
            stretches.append(Interval(start.time, entry.time, why))
            start = None
    if start is not None:
        stretches.append(Interval(start.time, FOREVER, why))
    return tuple(stretches)


def _restarts(note: str) -> bool:
    return "trial" in note or "ordered" in note


def clamp_trials(handled: Handling) -> tuple[Interval, ...]:
    """Clamps that staff called a trial or ordered: a clause of their own, not brief handling."""
    return tuple(interval for interval in handled.clamped if _restarts(interval.why))
