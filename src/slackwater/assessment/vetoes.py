"""What forbids `met` however good the numbers: air may be going elsewhere, or the record has been overtaken."""

from __future__ import annotations

from collections.abc import Iterator

from slackwater.episode.types import Chart
from slackwater.leak.handling import FOREVER, Handling
from slackwater.protocol.facts import Try, Veto

REPEATED = 3  # bursts in the trace that make a leak on effort a pattern
TISSUES = "surgical emphysema has spread: air may be going into the tissues"
LOWER = "the space was new or larger on the last film, or its finding is not told"


def vetoes(
    chart: Chart,
    handled: Handling,
    tries: tuple[Try, ...],
    data_until_ms: int | None,
    now_ms: int,
    *,
    guards_waived: bool,
) -> tuple[Veto, ...]:
    """Every veto with the stretch in which it stands. `chart`: the entries that count for the space."""
    found = [*_emphysema(chart), *_film(chart), *_overtaken(handled, data_until_ms, now_ms)]
    found += [veto for item in ("clamp", "tube_open") for veto in _untold(chart, item)]
    if guards_waived:  # the rule does not ask about effort, so the trace has to
        found += effort_vetoes(tries)
    return tuple(found)


def effort_vetoes(tries: tuple[Try, ...]) -> tuple[Veto, ...]:
    """Air that came with effort again and again, until a try that brought none."""
    return tuple(_effort(tries))


def _emphysema(chart: Chart) -> Iterator[Veto]:
    """Surgical emphysema that has risen, until it is charted back at or below where it began.

    An entry whose grade was left blank, or given twice differently, may have been a rise.
    """
    lowest: float | None = None
    since: int | None = None
    for entry in chart.of("surgical_emphysema"):
        grade = entry.value if isinstance(entry.value, float) and not entry.conflict else None
        if grade is None:
            since = entry.time if since is None else since
        elif since is None and lowest is not None and grade > lowest:
            since = entry.time
        elif since is not None and (lowest is None or grade <= lowest):
            yield Veto(since, entry.time, TISSUES)
            since, lowest = None, grade
        elif since is None:
            lowest = grade
    if since is not None:
        yield Veto(since, None, TISSUES)


def _film(chart: Chart) -> Iterator[Veto]:
    """A space new or larger on film, until a later film shows otherwise; one that nobody read for sure ends nothing."""
    since: int | None = None
    for entry in chart.of("chest_xray"):
        if entry.conflict or entry.value in (None, "space_new_or_larger"):  # left blank, it may have been one
            since = entry.time if since is None else since
        elif since is not None and entry.value in ("expanded", "space_stable"):
            yield Veto(since, entry.time, LOWER)
            since = None
    if since is not None:
        yield Veto(since, None, LOWER)


def _untold(chart: Chart, item: str) -> Iterator[Veto]:
    """An entry left blank, or given twice differently, may have said the way was shut: until the next that says."""
    since: int | None = None
    why = f"{item.replace('_', ' ')} charted without saying which"
    for entry in chart.of(item):
        if entry.conflict or entry.value is None:
            since = entry.time if since is None else since
        elif since is not None:
            yield Veto(since, entry.time, why)
            since = None
    if since is not None:
        yield Veto(since, None, why)


def _overtaken(handled: Handling, data_until_ms: int | None, now_ms: int) -> Iterator[Veto]:
    """What was charted of the tube or the unit after the log ended: the log cannot speak of it."""
    if data_until_ms is None:
        return
    for intervals, what in (
        (handled.clamped, "clamped"), (handled.off, "the unit off"), (handled.apart, "the circuit apart or capped"),
        (handled.shut, "the tube kinked or not open"),
    ):  # fmt: skip
        for interval in intervals:
            if data_until_ms <= interval.start_ms <= now_ms:
                until = interval.end_ms if interval.end_ms < FOREVER else None
                yield Veto(interval.start_ms, until, f"{what}, charted after the log ended")


def _effort(tries: tuple[Try, ...]) -> Iterator[Veto]:
    since: int | None = None
    seen = 0
    for attempt in tries:
        if attempt.seen is not False:
            seen += 1
            if since is None and seen >= REPEATED:
                since = attempt.time_ms
        else:
            if since is not None:
                yield Veto(since, attempt.time_ms, "air came with effort and has not been tried for since")
            since, seen = None, 0
    if since is not None:
        yield Veto(since, None, "air came with effort and has not been tried for since")
