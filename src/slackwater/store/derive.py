"""What is worked out of a drain's logs and kept as Parquet: minutes, the 64-second pyramid, discharges, signals.

It can always be made again. `made_from` says what it was made from, so that an old table is known as old.
"""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import polars

from slackwater import __version__
from slackwater.assessment.assessment import Assessment
from slackwater.assessment.minute_table import minute_frame
from slackwater.reading.log import NONE
from slackwater.store.acts import key_of
from slackwater.store.calls import calls_frame
from slackwater.store.charge_frame import charge_frame
from slackwater.store.course import Course, course_of
from slackwater.store.facts import tell
from slackwater.store.read_out import assess_course
from slackwater.store.record import Record
from slackwater.trace.pyramid import BLOCK_MS, pyramid

KINDS = ("minutes", "pyramid", "charge", "calls")
_PROGRAM = f"slackwater {__version__}"
_SHAPE = "3"  # another where a table is worked out otherwise than before


def work_out(record: Record, drain: str) -> bool:
    """Bring a drain's tables up to date with its logs and chart; returns whether they were not.

    A drain without a log has none. What it takes is worked out before the act begins, so nobody waits for it.
    """
    with record.reading() as connection:
        course = course_of(connection, drain)
    made_from = _made_from(course)
    if not course.logged or _current(course, made_from):
        return False
    found = assess_course(record, course)
    if found.trace is None or found.leak_trace is None:
        return False
    tables = {
        "minutes": minutes_parquet(found), "pyramid": parquet(pyramid_frame(found)),
        "charge": parquet(charge_frame(found.trace.logs, course)), "calls": parquet(calls_frame(found.trace)),
    }  # fmt: skip
    kept = {kind: record.files.put(content) for kind, content in tables.items()}
    with record.act(by=_PROGRAM, what="worked out tables") as act:
        for kind, sha256 in kept.items():
            fields = {"drain": drain, "kind": kind, "sha256": sha256, "made_from": made_from, "program": _PROGRAM}
            tell(act, "table", key_of("table", drain, kind), fields, of=course.name, correct=True)
    return True


def table_of(record: Record, drain: str, kind: str) -> polars.DataFrame | None:
    """The `minutes` or the `pyramid` of a drain, made anew where it is not up to date; None without a log."""
    work_out(record, drain)
    for table in record.things("table", {"drain": drain, "kind": kind}):
        return polars.read_parquet(io.BytesIO(record.files.get(table["sha256"])))
    return None


def minutes_parquet(found: Assessment) -> bytes:
    """The minute table of docs/minute-table.md; a null is 'nothing recorded' or 'not assessable'."""
    return parquet(minute_frame(found))


def pyramid_frame(found: Assessment) -> polars.DataFrame:
    """Blocks of 64 s from the first minute: `start` (UTC), smallest and largest flow (µL/min), ms covered."""
    assert found.trace is not None and found.leak_trace is not None
    start = found.leak_trace.minutes.start_ms
    blocks = pyramid(found.trace, start, max(found.trace.data_until_ms, start))
    starts = start + BLOCK_MS * np.arange(len(blocks.low), dtype=np.int64)
    return polars.DataFrame(
        {
            "start": polars.Series(starts).cast(polars.Datetime("ms", "UTC")),
            "low_ul_per_min": _nullable(blocks.low),
            "high_ul_per_min": _nullable(blocks.high),
            "covered_ms": polars.Series(blocks.covered_ms),
        }
    )


def parquet(frame: polars.DataFrame) -> bytes:
    """A frame as Parquet: the same bytes for the same values and the same polars."""
    buffer = io.BytesIO()
    frame.write_parquet(buffer, compression="zstd")
    return buffer.getvalue()


def _nullable(values: np.ndarray[Any, np.dtype[np.int32]]) -> polars.Series:
    return polars.Series([None if value == NONE else value for value in values.tolist()], dtype=polars.Int32)


def _made_from(course: Course) -> str:
    """A hash over everything that the tables depend on."""
    parts = [thing for things in (course.logs, course.entries, course.orders) for thing in things]
    parts += [course.drain, course.episode, course.space, *course.other_drains, *course.pairings]
    parts += [thing for thing in (course.goal, course.removal, *course.other_removals) if thing is not None]
    told = sorted(f"{one.noun} {one.key} {one.version}" for one in parts) + [live.state for live in course.live]
    return key_of("tables", _PROGRAM, _SHAPE, *told)


def _current(course: Course, made_from: str) -> bool:
    held = {table["kind"]: table["made_from"] for table in course.tables}
    return all(held.get(kind) == made_from for kind in KINDS)
