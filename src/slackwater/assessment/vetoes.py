"""What forbids `met` however good the numbers: signs that air is going elsewhere."""

from __future__ import annotations

from collections.abc import Iterator

from slackwater.episode.types import Chart
from slackwater.protocol.facts import Try, Veto

REPEATED = 3  # bursts in the trace that make a leak on effort a pattern


def vetoes(chart: Chart, tries: tuple[Try, ...], *, guards_waived: bool) -> tuple[Veto, ...]:
    """Every veto with the stretch in which it stands."""
    found = [*_emphysema(chart), *_film(chart)]
    if guards_waived:  # the rule does not ask about effort, so the trace has to
        found += _effort(tries)
    return tuple(found)


def _emphysema(chart: Chart) -> Iterator[Veto]:
    """Surgical emphysema that has risen, until it is charted back at or below where it began."""
    lowest: float | None = None
    since: int | None = None
    for entry in chart.of("surgical_emphysema"):
        if entry.conflict or not isinstance(entry.value, float):
            continue
        if since is None:
            if lowest is not None and entry.value > lowest:
                since = entry.time
            else:
                lowest = entry.value
        elif lowest is not None and entry.value <= lowest:
            yield Veto(since, entry.time, "surgical emphysema has spread: air may be going into the tissues")
            since, lowest = None, entry.value
    if since is not None:
        yield Veto(since, None, "surgical emphysema has spread: air may be going into the tissues")


def _film(chart: Chart) -> Iterator[Veto]:
    """A space new or larger on film, until a later film shows otherwise."""
    since: int | None = None
    for entry in chart.of("chest_xray"):
        if entry.conflict or entry.value == "not_reviewed":
            continue
        if entry.value == "space_new_or_larger":
            since = entry.time if since is None else since
        elif since is not None:
            yield Veto(since, entry.time, "the space was new or larger on the last film")
            since = None
    if since is not None:
        yield Veto(since, None, "the space was new or larger on the last film")


def _effort(tries: tuple[Try, ...]) -> Iterator[Veto]:
    since: int | None = None
    seen = 0
    for attempt in tries:
        if attempt.seen:
            seen += 1
            if since is None and seen >= REPEATED:
                since = attempt.time_ms
        else:
            if since is not None:
                yield Veto(since, attempt.time_ms, "air came with effort and has not been tried for since")
            since, seen = None, 0
    if since is not None:
        yield Veto(since, None, "air came with effort and has not been tried for since")
