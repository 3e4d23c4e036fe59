"""Chart rows as a person types them at a bedside, before they are recorded: read by the chart's own rules."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from slackwater.episode.items import ITEMS
from slackwater.episode.spelling import meant
from slackwater.episode.types import Entry, Instant
from slackwater.episode.values import read_value
from slackwater.errors import ChartError

LONGEST = 2000  # characters of a note
_INVISIBLE = re.compile(r"[\x00-\x1f\x7f\x85\u2028\u2029]")


@dataclass(frozen=True)
class Typed:
    """One row as typed. An empty `value` says that it was looked for and not measured; leave a row out that was not.

    `time_ms`: when it was so, where that is another moment than the set's (UTC ms).
    """

    item: str
    value: str
    unit: str = ""
    note: str = ""
    time_ms: Instant | None = None


def plain(text: str) -> str:
    """Text on one line: runs of blanks and line breaks are one blank."""
    return " ".join(text.split())


def entry_of(row: Typed, at_ms: Instant, recorded_ms: Instant, by: str, drain: str | None, line: int = 0) -> Entry:
    """The row as an entry, written at `recorded_ms` of what was so at `at_ms` (its own time first; UTC ms).

    An entry about the patient names no drain. Raises ChartError naming the column and the mend; an item that is not
    known is refused too, for at a bedside nobody means one.
    """
    item = ITEMS.get(row.item)
    if item is None:
        raise ChartError(f"{row.item!r} is no item of a chart", where="column item", mend=meant(row.item, ITEMS))
    value, note = plain(row.value), plain(row.note)
    for column, text in (("value", value), ("note", note)):
        if _INVISIBLE.search(text) or len(text) > LONGEST:
            mend = f"Leave out what does not print; {LONGEST} characters at most."
            raise ChartError(f"{item.name} is no plain text", where=f"column {column}", mend=mend)
    time = at_ms if row.time_ms is None else row.time_ms
    if time > recorded_ms:
        raise ChartError(f"{item.name} is charted for a time that has not come", where="column time", mend="Mend it.")
    return Entry(
        time=time,
        recorded=recorded_ms,
        item=item.name,
        value=read_value(item, value, plain(row.unit)),
        text=f"{value} {plain(row.unit)}".strip(),
        note=note,
        drain=None if item.subject == "patient" else drain,
        by=by,
        line=line,
        known=True,
    )


def faults(rows: Sequence[Typed], at_ms: Instant, recorded_ms: Instant) -> dict[int, ChartError]:
    """What cannot be recorded as typed, by the row's place in `rows`; empty where all can."""
    found: dict[int, ChartError] = {}
    for place, row in enumerate(rows):
        try:
            entry_of(row, at_ms, recorded_ms, "", None)
        except ChartError as error:
            found[place] = error
    return found
