"""Signals of many drains: what staff entered, what their logs tell, and what their units sent by themselves.

What was sent is looked through when it is asked for, as the log that the unit would have written. Few readings tell a
signal: only the files that hold one are read, with those beside them.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from dataclasses import dataclass, replace

import polars
from sqlalchemy import ColumnElement, Connection, exists, func, or_, select

from slackwater.assessment.assess import since_connection
from slackwater.reading.layout import Layout
from slackwater.reading.log import SIGNALS
from slackwater.store.calls import JOINED_MS, Call, calls_frame, calls_of
from slackwater.store.course import course_of
from slackwater.store.live import Live
from slackwater.store.read_out import layout_of, logs_of
from slackwater.store.record import Record
from slackwater.store.rows import Thing
from slackwater.store.tables import TABLES
from slackwater.trace.join import place

TELLING = ("fault", *SIGNALS)


@dataclass(frozen=True)
class Heard:
    """Signals of some drains. tells: drains whose logs have words for signals, or whose units sent one; of the others
    only what staff entered is known. not_read: drains with a log that was not looked through for them."""

    calls: tuple[Call, ...]
    tells: frozenset[str]
    not_read: frozenset[str]


def heard(record: Record, drains: Iterable[str]) -> Heard:
    """Everything known of the signals of these drains: by their logs as recorded, and by what was sent so far."""
    wanted = set(drains)
    entered: dict[str, list[Thing]] = {}
    for one in record.things("unit_call"):
        entered.setdefault(one["drain"], []).append(one)
    tables = {one["drain"]: one["sha256"] for one in record.things("table", {"kind": "calls"})}
    layouts: dict[str, bool] = {}
    told: dict[str, polars.DataFrame] = {}
    not_read: set[str] = set()
    for log in record.things("log"):
        drain, layout = log["drain"], log["layout"]
        if drain not in wanted or drain in told:
            continue
        if layout not in layouts:
            layouts[layout] = _has_words(layout_of(record.files, layout))
        if layouts[layout] and drain in tables:
            told[drain] = polars.read_parquet(io.BytesIO(record.files.get(tables[drain])))
        elif layouts[layout]:
            not_read.add(drain)
    for drain in wanted & _sent_to(record):
        frame = _sent(record, drain)
        if frame is not None:
            told[drain] = frame
    found = [call for drain in wanted for call in calls_of(drain, entered.get(drain, ()), told.get(drain))]
    return Heard(
        tuple(sorted(found, key=lambda one: (*one.in_order, one.drain))),
        frozenset(told),
        frozenset(not_read - set(told)),
    )


def _has_words(layout: Layout) -> bool:
    return layout.state is not None and any(meaning in TELLING for _, meaning in layout.state.words)


# --- what units sent by themselves ----------------------------------------------------------------


def _sent_to(record: Record) -> set[str]:
    """The drains whose units ever sent a signal."""
    with record.reading() as connection:
        rows = TABLES["sealed"]
        tellers = set(connection.execute(select(rows.c.unit).where(_any(rows.c.states)).distinct()).scalars())
        for unit in record.things("unit"):
            after = select(func.max(rows.c.until_seq)).where(rows.c.unit == unit.key)
            last = connection.execute(after).scalar() or 0
            if unit.key not in tellers and _unsealed_tells(connection, unit["serial"], last):
                tellers.add(unit.key)
    return {one["drain"] for one in record.things("pairing") if one["unit"] in tellers}


def _unsealed_tells(connection: Connection, serial: str, after_seq: int) -> bool:
    rows = TABLES["message"]
    query = select(exists().where(rows.c.unit == serial, rows.c.seq > after_seq, _any(rows.c.body)))
    return bool(connection.execute(query).scalar())


def _any(column: ColumnElement[str]) -> ColumnElement[bool]:
    """Whether one of the words may stand in it. That of another key does no harm: what is found is read."""
    return or_(*(column.contains(word, autoescape=True) for word in TELLING))


def _sent(record: Record, drain: str) -> polars.DataFrame | None:
    """The signals of a drain by its logs and by what was sent; None where nothing that was sent tells of one."""
    with record.reading() as connection:
        course = course_of(connection, drain)
        near = (_near(one, _unsealed_tells(connection, one.serial, one.after_seq)) for one in course.live)
        course = replace(course, live=tuple(one for one in near if one is not None))
    if not course.live:
        return None
    logs = [since_connection(log, course.drain["connected_ms"]) for log in logs_of(record, course)]
    frame = calls_frame(place(logs)) if logs else None
    return None if frame is None or frame.is_empty() else frame


def _near(live: Live, unsealed_tells: bool) -> Live | None:
    """Of what was sent, what tells a signal and what lies beside it, so that each row has its own neighbours there."""
    blocks = sorted(live.blocks, key=lambda one: (one["first_ms"], one["last_ms"], one.key))
    telling = [at for at, one in enumerate(blocks) if not set(TELLING).isdisjoint((one["states"] or "").split())]
    if not telling and not unsealed_tells:
        return None
    wanted = {at + beside for at in telling for beside in (-1, 0, 1)}
    wanted |= {len(blocks) - 1} if unsealed_tells else set()
    for at in telling:
        first, last = blocks[at]["first_ms"] - JOINED_MS, blocks[at]["last_ms"] + JOINED_MS
        wanted |= {n for n, one in enumerate(blocks) if one["first_ms"] <= last and one["last_ms"] >= first}
    return replace(live, blocks=tuple(one for at, one in enumerate(blocks) if at in wanted))
