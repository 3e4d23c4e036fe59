"""What the rule wants charted of this drain and its patient, and when each is due."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from slackwater.assessment.assessment import DueItem
from slackwater.episode.space import entries_for
from slackwater.episode.types import Chart, Entry, Episode
from slackwater.protocol.rule import Protocol
from slackwater.protocol.schedule import Charted, Scored, due_now
from slackwater.quantities.spans import MINUTE_MS
from slackwater.risk.early_warning import READINGS, EarlyWarning, Observed, early_warning

SET_MIN = 30  # minutes: readings charted no further apart are one set of observations. Ours
OBSERVATIONS = "observations"  # a whole set of them, as one item of a schedule
OBSERVED = ("resp_rate", "spo2", "heart_rate")  # without these nobody has observed the patient


def due_items(
    protocol: Protocol | None, chart: Chart, episode: Episode, events: Mapping[str, Sequence[int]], now_ms: int
) -> tuple[DueItem, ...]:
    """Every item of the rule's schedule that is asked for at this moment.

    `events`: those of the facts; after a removal add `removed`. `chart` holds nothing later than `now_ms`. The item
    `observations` is charted where breathing rate, SpO2 and heart rate stand within half an hour.
    """
    if protocol is None:
        return ()
    own = entries_for(chart, "drain", episode)
    times: dict[str, list[int]] = {}
    for entry in own.entries:
        times.setdefault(entry.item, []).append(entry.time)
    times[OBSERVATIONS] = _observed(own)
    scores = () if not any(due.bands for due in protocol.schedule) else scored(own, episode)
    charted = Charted(times, events, episode.connected_at, scores)
    return tuple(
        DueItem(
            one.item, one.every_s, one.last_ms, one.due_ms, one.due_ms is not None and one.due_ms < now_ms, one.because
        )
        for one in due_now(protocol.schedule, charted, now_ms)
    )


def scored(chart: Chart, episode: Episode) -> tuple[Scored, ...]:
    """The last set of readings with a whole score, and the last set of all where that is a later one."""
    found: list[Scored] = []
    for at_ms, score in reversed(score_sets(chart, episode)):
        if score.outside_because:
            return ()
        if not found or score.points is not None:
            found.append(Scored(score.points, score.least, bool(score.alone), at_ms))
        if score.points is not None:
            break
    return tuple(found)


def score_sets(chart: Chart, episode: Episode) -> tuple[tuple[int, EarlyWarning], ...]:
    """(when it was complete or ended, its score) of each set of readings, in order of time.

    A set is what was charted within SET_MIN of its first reading. A reading given twice differently, or left blank,
    is missing. Scale and pregnancy are as last charted by then.
    """
    readings = [entry for entry in chart.of(*READINGS) if entry.value is not None or entry.conflict]
    sets: list[list[Entry]] = []
    for entry in readings:
        if not sets or entry.time - sets[-1][0].time > SET_MIN * MINUTE_MS:
            sets.append([])
        sets[-1].append(entry)
    return tuple((one[-1].time, early_warning(_observed_of(one, chart, episode))) for one in sets)


def _observed_of(entries: Sequence[Entry], chart: Chart, episode: Episode) -> Observed:
    at_ms = entries[-1].time
    latest: dict[str, Entry] = {entry.item: entry for entry in entries}

    def number(item: str) -> float | None:
        found = latest.get(item)
        return found.value if found is not None and isinstance(found.value, float) and not found.conflict else None

    def word(item: str) -> str | None:
        found = latest.get(item)
        return found.value if found is not None and isinstance(found.value, str) and not found.conflict else None

    return Observed(
        number("resp_rate"), number("spo2"), word("oxygen"), number("systolic"), number("heart_rate"),
        word("consciousness"), number("temperature"), _last_word(chart, "spo2_scale", at_ms), episode.age_years,
        _last_word(chart, "pregnant", at_ms),
    )  # fmt: skip


def _last_word(chart: Chart, item: str, at_ms: int) -> str | None:
    said = [entry for entry in chart.of(item) if entry.time <= at_ms]
    if not said or said[-1].conflict or not isinstance(said[-1].value, str):
        return None
    return said[-1].value


def _observed(chart: Chart) -> list[int]:
    """When a set of observations was charted."""
    return observed_times({item: [e.time for e in chart.of(item) if e.value is not None] for item in OBSERVED})


def observed_times(times: Mapping[str, Sequence[int]]) -> list[int]:
    """When a set of observations was whole: the moment of its last reading that is needed. times: by item, sorted."""
    by_item = {item: times.get(item, ()) for item in OBSERVED}
    found = []
    for time in sorted({time for times in by_item.values() for time in times}):
        latest = [_latest(times, time) for times in by_item.values()]
        known = [moment for moment in latest if moment is not None]
        if len(known) == len(OBSERVED) and time - min(known) <= SET_MIN * MINUTE_MS:
            found.append(time)
    return found


def _latest(times: Iterable[int], until: int) -> int | None:
    return max((time for time in times if time <= until), default=None)
