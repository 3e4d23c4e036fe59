"""Drafting how a log's stamps are read: which columns hold them, how they are written, their zone and side."""

from __future__ import annotations

from itertools import permutations

from slackwater.reading.column_names import (
    roles_of,
    stated_marks,
    stated_unit,
    stated_zone,
    words_of,
)
from slackwater.reading.draft import Draft
from slackwater.reading.excerpt import excerpt
from slackwater.reading.keys import MARKS
from slackwater.reading.stamp_candidates import Candidate, candidates
from slackwater.reading.stamps import NUMERIC_FORMATS, Stamp, stamp_format
from slackwater.reading.structure import Structure, is_number

MOST_PAIRED = 8  # columns of which two may make up a stamp


def draft_time(draft: Draft, found: Structure) -> tuple[Candidate, ...]:
    """State or ask for `time`; returns the formats that fit its cells."""
    columns, fitting, ruled_out = _time_columns(draft, found)
    if not columns:
        draft.ask(
            "time.columns", "Which columns hold the time stamp?", tuple(filter(None, found.names)), "no column fits"
        )
        draft.ask("time.format", "How is the stamp written?", (), "no column fits")
        draft.ask("time.zone", "In which zone are the stamps?", (), "no column fits")
        draft.ask("time.marks", "Does a stamp close or open its interval?", MARKS, "not stated")
        return fitting
    draft.state("time.columns", columns, "its cells are stamps")
    title = " ".join(found.title(column) for column in columns)
    stamps = _joined_stamps(found, columns)
    first = f"the first stamp is {excerpt(stamps[0][1])}" if stamps else "no stamp"
    offsets = False
    if fitting:
        if len(fitting) == 1:
            draft.state("time.format", fitting[0].format, ruled_out or "no other known format fits")
        else:
            spans = ", ".join(f"as {c.format} the log spans {c.days} days" for c in fitting)
            draft.ask(
                "time.format",
                "How is the stamp written? No day above 12 settles it.",
                tuple(c.format for c in fitting),
                f"{first}; {spans}",
            )
        chosen = draft.told("time.format")
        offsets = next((c.offsets for c in fitting if c.format == chosen), fitting[0].offsets)
        if chosen not in (None, *(c.format for c in fitting), *NUMERIC_FORMATS):
            read = [stamp_format(str(chosen), "answer to time.format").read(text) for _, text in stamps]
            offsets = bool(read) and all(isinstance(stamp, Stamp) and stamp.utc for stamp in read)
    else:
        _numeric_clock(draft, title, first)
    form = draft.told("time.format")
    if form == "elapsed_s":
        draft.ask("time.start", "When did the log start? Give an offset, or answer time.zone too.", (), first)
        start = stamp_format("iso").read(str(draft.told("time.start") or ""))
        offsets = isinstance(start, Stamp) and start.utc
    if not offsets and form not in ("epoch_s", "epoch_ms"):
        zone, seen = stated_zone(title), f"{first}, without an offset; e.g. Europe/Vienna, UTC, +02:00"
        draft.state_or_ask("time.zone", None if zone is None else zone.name, "In which zone are the stamps?", (), seen)
    called = f"the column is called {excerpt(title)}"
    draft.state_or_ask("time.marks", stated_marks(title), "Does a stamp close or open its interval?", MARKS, called)
    return fitting


def _time_columns(draft: Draft, found: Structure) -> tuple[list[str], tuple[Candidate, ...], str]:
    """The stamp's columns, the formats they fit, and what rules other formats out."""
    if "time.columns" in draft.answers:
        columns = [column for column in draft.answers["time.columns"] if column in found.names]
        return columns, *candidates(_joined_stamps(found, columns))
    named = [column for column in found.names if "time" in roles_of(column)]
    others = [column for column in found.names if column and column not in named]
    for column in [*named, *others]:
        fitting, ruled_out = candidates(found.values(column))
        if fitting:
            return [column], fitting, ruled_out
    for one, other in permutations([*named, *others][:MOST_PAIRED], 2):
        fitting, ruled_out = candidates(_joined_stamps(found, [one, other]))
        if fitting:
            return [one, other], fitting, ruled_out
    numeric = [column for column in named if all(is_number(cell) for _, cell in found.values(column)[:50])]
    return numeric[:1], (), ""


def _joined_stamps(found: Structure, columns: list[str]) -> list[tuple[int, str]]:
    places = [found.names.index(column) for column in columns]
    return [(line, " ".join(row[p] for p in places)) for line, row in found.rows if all(row[p] for p in places)]


def _numeric_clock(draft: Draft, title: str, first: str) -> None:
    """A column of plain numbers: what they count is taken from the name only."""
    words, unit_ = words_of(title), stated_unit(title, "time")
    tail = title.lower().strip("[]() ")
    if {"epoch", "unix"} & set(words) and (tail.endswith(("_ms", " ms", "[ms")) or (unit_ and unit_.symbol == "s")):
        form = "epoch_ms" if tail.endswith(("_ms", " ms", "[ms")) else "epoch_s"
        draft.state("time.format", form, "the header states it")
    elif "elapsed" in words and (tail.endswith("_s") or (unit_ and unit_.symbol == "s")):
        draft.state("time.format", "elapsed_s", "the header states it")
    else:
        draft.ask("time.format", "What do the numbers in the time column count?", NUMERIC_FORMATS, first)
