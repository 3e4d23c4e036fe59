"""From files to the record: read whole first, then one act. The same again adds nothing."""

from __future__ import annotations

from dataclasses import dataclass

from slackwater.episode.chart import read_chart
from slackwater.episode.episode import read_episode
from slackwater.episode.types import Chart, Episode
from slackwater.errors import RecordError
from slackwater.protocol.load import load_protocol
from slackwater.protocol.rule import Protocol
from slackwater.reading.layout import Layout
from slackwater.reading.log import Log
from slackwater.reading.read import read_log
from slackwater.store.acts import key_of
from slackwater.store.chart_text import entries_of, entry_key
from slackwater.store.course import course_of
from slackwater.store.course_text import Given, enter
from slackwater.store.derive import work_out
from slackwater.store.facts import tell
from slackwater.store.nouns import Value
from slackwater.store.pair import arrived_with, look_at, pair_from_logs, refuse_strange, span_of
from slackwater.store.read_out import chart_bytes
from slackwater.store.record import Acting, Record
from slackwater.store.rules import enter_rule
from slackwater.store.whose import Whose, settle_drain
from slackwater.store.write_out import episode_text


@dataclass(frozen=True)
class GivenLog:
    """A log's bytes, and how they are to be read."""

    name: str
    data: bytes
    layout: Layout


@dataclass(frozen=True)
class Bundle:
    """What there is of one drain. `course`: orders, holds, removal and the rest, as `course.toml` has them."""

    name: str
    episode: Episode
    logs: tuple[GivenLog, ...] = ()
    charts: tuple[tuple[str, bytes], ...] = ()
    zone: str | None = None  # of chart times without an offset
    protocol: tuple[str, bytes] | None = None  # pinned to the drain
    course: tuple[Given, ...] = ()
    refuse_above: float = 0.05


@dataclass(frozen=True)
class Taken:
    """What an import did. `notes`: what a person should look at."""

    drain: str
    name: str
    new_drain: bool
    logs: int
    same_logs: int
    entries: int
    same_entries: int
    rows: int  # all rows that the act made
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _ReadLog:
    log: Log
    sha256: str
    layout: str


@dataclass(frozen=True)
class _ReadChart:
    chart: Chart
    rows: list[dict[str, Value]]
    data: bytes


def take_in(record: Record, bundle: Bundle, *, by: str, correct: str = "") -> Taken:
    """Record a bundle in one act; what is there already is left as it is.

    A log or a chart row that is there adds nothing, however it was split; what contradicts it is kept beside
    it and shown. Facts about patient and drain that differ are refused, unless `correct` says why they change.
    Raises the error of the file that cannot be read, RecordError, StaleError or NotWritten; the record is
    then as it was. The drain's tables are worked out after it.
    """
    charts = [_read_chart(bundle, name, data) for name, data in bundle.charts]
    logs = [_read_log(record, bundle, given) for given in bundle.logs]
    for chart in charts:
        record.files.put(chart.data)
    rule = None if bundle.protocol is None else load_protocol(bundle.protocol[1], bundle.protocol[0])
    if bundle.protocol is not None:
        record.files.put(bundle.protocol[1])
    notes: list[str] = [note for chart in charts for note in chart.chart.notes]
    with record.act(by=by, what="import", why=correct, even_if_empty=True) as act:
        whose = settle_drain(act, bundle.episode, bundle.name, bool(correct))
        rows = whose.rows
        for told in bundle.course:
            rows += enter(act, whose, told, bundle.name, bool(correct))
        entries, given = _entries(act, whose, charts)
        made = [_log(act, whose, one, bundle, correct) for one in logs]
        notes += [note for one in logs for note in look_at(one.log, bundle.episode.connected_at)]
        paired, said = pair_from_logs(act, whose)
        rows += sum(made) + paired
        notes += said
        if rule is not None:
            rows += _pin(act, whose, rule, bool(correct))
        _can_be_read_again(act, whose)
    work_out(record, whose.drain)
    return Taken(
        drain=whose.drain, name=f"{bundle.episode.patient_id}/{bundle.episode.drain_number}", new_drain=whose.new,
        logs=sum(map(bool, made)), same_logs=len(logs) - sum(map(bool, made)),
        entries=entries, same_entries=given - entries,
        rows=rows + entries, notes=tuple(notes),
    )  # fmt: skip


def _can_be_read_again(act: Acting, whose: Whose) -> None:
    """What the record takes it can judge: the act comes to nothing where that is not so."""
    course = course_of(act.connection, whose.drain)
    read_episode(episode_text(course).encode(), "the episode as it would be recorded")
    read_chart(chart_bytes(course), "the chart as it would be recorded")


def _read_chart(bundle: Bundle, name: str, data: bytes) -> _ReadChart:
    return _ReadChart(*entries_of(data, name, bundle.zone), data)


def _read_log(record: Record, bundle: Bundle, given: GivenLog) -> _ReadLog:
    log = read_log(given.data, given.layout, given.name, bundle.refuse_above)
    layout = record.files.put(given.layout.to_toml().encode())
    return _ReadLog(log, record.files.put(given.data), layout)


def _entries(act: Acting, whose: Whose, charts: list[_ReadChart]) -> tuple[int, int]:
    """New rows of the charts, and how many there were in all."""
    rows = {entry_key(whose.episode, row): row for chart in charts for row in chart.rows}
    there = {thing.key for thing in act.things("entry", keys=rows, gone=True)} if rows else set()
    act.add_all("entry", [(key, {"episode": whose.episode, **row}) for key, row in rows.items() if key not in there])
    return len(rows) - len(there), sum(len(chart.rows) for chart in charts)


def _log(act: Acting, whose: Whose, one: _ReadLog, bundle: Bundle, correct: str) -> int:
    """Record a log, unless it is there; returns how many rows that made."""
    log, rows = one.log, 0
    refuse_strange(act, whose, log, bundle.episode.connected_at)
    for other in act.things("log", {"sha256": one.sha256}):
        if other["drain"] != whose.drain:
            if not _shared(act, other["drain"], whose, bundle.episode):
                raise RecordError(
                    "is recorded for another drain already",
                    where=log.name,
                    mend="Is it the right log? See: slackwater record list.",
                )
            continue
        if other["layout"] == one.layout:
            return 0
        if not correct:
            raise RecordError(
                "was recorded by another layout",
                where=log.name,
                mend="Use that one; or say why it was wrong: --correct 'WHY'.",
            )
        act.take_back("log", other.key, version=other.version)
        rows += 1
    key, again = key_of("log", whose.drain, one.sha256, one.layout), 0
    while act.things("log", keys=[key], gone=True):
        if not correct:
            return 0  # it was taken back, and stays so
        again += 1
        key = key_of("log", whose.drain, one.sha256, one.layout, again)
    first, last = span_of(log)
    act.add(
        "log",
        key,
        {
            "drain": whose.drain, "sha256": one.sha256, "layout": one.layout, "name": log.name,
            "serials": ", ".join(log.serials) or None, "first_ms": first, "last_ms": last,
            "rows_read": log.ledger.read, "rows_used": log.ledger.used, "rows_refused": log.ledger.refused,
            "arrived_with": "; ".join(arrived_with(log, bundle.episode.connected_at)) or None,
        },
        happened_ms=last,
    )  # fmt: skip
    return rows + 1


def _shared(act: Acting, other_drain: str, whose: Whose, told: Episode) -> bool:
    """Two limbs of one patient on one unit share its log."""
    other = act.thing("drain", other_drain)
    return other is not None and other["episode"] == whose.episode and other["number"] in told.shares_unit_with


def _pin(act: Acting, whose: Whose, rule: Protocol, correct: bool) -> int:
    rows = enter_rule(act, rule)
    fields = {"drain": whose.drain, "protocol": rule.sha256}
    return rows + tell(act, "goal", key_of("goal", whose.drain), fields, of=rule.name, correct=correct)
