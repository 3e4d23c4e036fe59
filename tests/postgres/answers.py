"""Everything that a record answers, as named texts: the same history must give the same bytes anywhere."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict
from itertools import zip_longest

from slackwater.assessment.document import document
from slackwater.store import Record
from slackwater.store.acts import canonical
from slackwater.store.course import course_of
from slackwater.store.history import history_of
from slackwater.store.listing import listed
from slackwater.store.nouns import NOUNS
from slackwater.store.read_out import assess_course
from slackwater.store.rows import acts, versions
from slackwater.store.write_out import files_of

Answer = tuple[str, bytes]


def of_the_tables(record: Record) -> Iterator[Answer]:
    """The ledger, and every version of every thing."""
    with record.reading() as connection:
        for act in acts(connection):
            yield f"act {act.seq}", canonical(vars(act)).encode()
        for noun in NOUNS:
            for thing in versions(connection, noun):
                yield f"{noun} {thing.key} {thing.version}", canonical(asdict(thing)).encode()


def of_a_drain(record: Record, drain: str) -> Iterator[Answer]:
    """Its files (episode, chart, logs, course, tables), its history and its judgement; now and as known before."""
    with record.reading() as connection:
        now = course_of(connection, drain)
        known_ms = now.logs[0].at_ms if now.logs else now.drain.at_ms
        before = course_of(connection, drain, known_ms)
        for line in history_of(connection, now):
            yield f"{now.name} history {line.seq}", canonical(asdict(line)).encode()
    for when, course in (("now", now), ("before", before)):
        for name, content in files_of(record, course).items():
            yield f"{now.name} {name} {when}", content
        yield f"{now.name} judged {when}", canonical(document(assess_course(record, course))).encode()


def of_the_list(record: Record) -> Iterator[Answer]:
    for drain in listed(record, everything=True):
        yield f"list {drain.name}", canonical(asdict(drain)).encode()


def differences(one: Iterable[Answer], other: Iterable[Answer]) -> Iterator[str]:
    """The names of answers that are not the same bytes on both sides."""
    for mine, yours in zip_longest(one, other, fillvalue=("nothing", b"")):
        if mine != yours:
            yield f"{mine[0]}: {mine[1][:200]!r}, but {yours[0]}: {yours[1][:200]!r}"
