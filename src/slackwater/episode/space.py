"""Whom an entry speaks of: this drain, its pleural space, or the patient.

A row that names no drain is this drain's only where one drain is known. Where several are, it is
shown and counted for none: the other side's fluid must not settle this side's question.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from slackwater.episode.chart import chart_of
from slackwater.episode.items import ITEMS
from slackwater.episode.types import Chart, Entry, Episode
from slackwater.errors import UsageError

SCOPES = ("drain", "space", "patient")


def drains_known(episode: Episode, chart: Chart) -> tuple[str, ...]:
    """Every drain that the episode or the chart names; this episode's first, then as they appear."""
    own = (episode.drain_number,) if episode.drain_number is not None else ()
    charted = (entry.drain for entry in chart.entries if entry.drain is not None)
    others = (*episode.shares_space_with, *episode.shares_unit_with, *episode.other_drains)
    return tuple(dict.fromkeys((*own, *others, *charted)))


def this_drain(episode: Episode, chart: Chart) -> str | None:
    """The episode's drain: its number, or the only one known. None where no number is known, or several."""
    if episode.drain_number is not None:
        return episode.drain_number
    known = drains_known(episode, chart)
    return known[0] if len(known) == 1 else None


def drains_of_space(episode: Episode, chart: Chart) -> tuple[str | None, ...]:
    """The drains of this pleural space, this one first; (None,) for a single drain without a number."""
    return (this_drain(episode, chart), *episode.shares_space_with)


def drains_not_placed(episode: Episode, chart: Chart) -> tuple[str, ...]:
    """Drains that are known, while the episode does not say whether they share this space.

    Empty where the episode says who shares the space, be it nobody. Otherwise a quiet trace on this
    drain may be air leaving by one of these.
    """
    if episode.shares_space_told:
        return ()
    placed = drains_of_space(episode, chart)
    return tuple(drain for drain in drains_known(episode, chart) if drain not in placed)


def entries_for(chart: Chart, scope: str, episode: Episode) -> Chart:
    """The chart's entries that count for `scope`: `drain`, `space` or `patient`.

    Entries about the patient (breathing, distress, readings, weight, emphysema) count for every
    scope, whatever drain their row names; any other counts for the drain that it names, and for
    that drain's space. A chest film that names no drain counts where all drains known lie in one
    space. Items that are not known here go with their drain and are never used.
    """
    if scope not in SCOPES:
        raise UsageError(f"{scope!r} is no scope", mend=f"Write one of: {', '.join(SCOPES)}.")
    sole = _sole_drain(episode, chart)
    if scope == "patient":
        return _narrowed(chart, lambda entry: True, sole)
    own = this_drain(episode, chart)
    space = drains_of_space(episode, chart)
    known = drains_known(episode, chart)
    wanted = {own} if scope == "drain" else set(space)

    def concerned(entry: Entry) -> bool:
        if _subject(entry) == "patient" or (_subject(entry) == "space" and set(known) <= set(space)):
            return True
        return entry.drain in wanted if entry.drain is not None else len(known) < 2

    return _narrowed(chart, concerned, sole)


def not_placed(chart: Chart, episode: Episode) -> tuple[Entry, ...]:
    """Entries about a drain that name none while several are known: shown, counted for no drain."""
    if len(drains_known(episode, chart)) < 2:
        return ()
    return tuple(entry for entry in chart.entries if entry.drain is None and _subject(entry) != "patient")


def _subject(entry: Entry) -> str:
    item = ITEMS.get(entry.item)
    return item.subject if item else "drain"


def _sole_drain(episode: Episode, chart: Chart) -> str | None:
    known = drains_known(episode, chart)
    return known[0] if len(known) == 1 else None


def _narrowed(chart: Chart, keep: Callable[[Entry], bool], sole_drain: str | None) -> Chart:
    rows: Iterable[Entry] = (entry for entry in chart.entries + chart.repeats if keep(entry))
    return chart_of(rows, name=chart.name, sha256=chart.sha256, sole_drain=sole_drain)
