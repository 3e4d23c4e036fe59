"""What a sheet is made from: one drain's assessment, its course, and what lies beside them in the record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import tzinfo
from functools import cached_property

from sqlalchemy import Connection, select

from slackwater.assessment.assessment import Assessment
from slackwater.episode.types import Episode
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS
from slackwater.report.drain_facts import DrainFacts, drain_facts, read_beside
from slackwater.report.line import RoundLine, Tube
from slackwater.report.round import judged_line, line_of
from slackwater.report.round_facts import when
from slackwater.store.course import Course
from slackwater.store.history import Line, history_of
from slackwater.store.read_out import episode_of
from slackwater.store.rows import Thing, head, things
from slackwater.store.tables import LEDGER

SHIFT_MS = 8 * HOUR_MS  # how far back 'this shift' goes unless it is said: a ward's shifts are not known here (ours)
BACK_MS = 10 * MINUTE_MS  # judged so long before it was printed, a sheet looks back (ours)


@dataclass(frozen=True)
class Beside:
    """What the record holds beside a course. acts: each act with its hash, where they were asked for."""

    serials: Mapping[str, str] = field(default_factory=dict)
    rules: Mapping[str, Thing] = field(default_factory=dict)
    decisions: tuple[Thing, ...] = ()
    cards: Mapping[str, Thing] = field(default_factory=dict)
    home: Thing | None = None
    acts: tuple[tuple[Line, str], ...] = ()
    head: tuple[int, str] | None = None  # number and hash of the record's last act


@dataclass(frozen=True)
class Material:
    """Pure input of every sheet. Instants are UTC ms.

    found: None where there is neither log nor chart. course: None where files were given. back: a moment of the past
    was asked for. asked_ms: the moment asked about, where a drain that is out was judged as of its removal; what is
    owed after it is told as of then. many: it goes on one print with other drains.
    """

    found: Assessment | None
    course: Course | None
    zone: tzinfo
    as_of_ms: int
    printed_ms: int
    beside: Beside = Beside()
    shift_ms: int = SHIFT_MS
    back: bool = False
    demo: bool = False  # a demonstration's logs run ahead of now on purpose
    moment_ms: int | None = None  # what an incident's sheet looks back on
    asked_ms: int | None = None
    many: bool = False

    @property
    def now_ms(self) -> int:
        """As of when it is told what people entered."""
        return self.as_of_ms if self.asked_ms is None else self.asked_ms

    @property
    def out(self) -> bool:
        """Whether the drain was out then; a later removal is not known of."""
        out_ms = None if self.course is None else self.course.removed_ms
        return out_ms is not None and out_ms // MINUTE_MS * MINUTE_MS <= self.now_ms

    @cached_property
    def episode(self) -> Episode:
        if self.found is not None:
            return self.found.episode
        return Episode() if self.course is None else episode_of(self.course)

    @cached_property
    def facts(self) -> DrainFacts | None:
        """What was entered beside the chart; None where files were given."""
        if self.course is None:
            return None
        beside = self.beside
        return drain_facts(self.course, self.now_ms, self.zone, beside.serials, beside.rules, beside.decisions)

    @cached_property
    def line(self) -> RoundLine:
        """The round's line of this drain at this moment; of a drain that is out, as it was judged last."""
        return replace(self._line, ahead="") if self.demo else self._line

    @cached_property
    def _line(self) -> RoundLine:
        if self.course is not None:
            said = line_of(self.course, self.found, self.now_ms, self.zone)
            if self.found is None or not said.removed:
                return said
            # A look that was due then is owed no longer; a check after the removal is.
            return replace(judged_line(said, self.found, self.zone), overdue=said.overdue, waiting=())
        one = self.episode
        tube = Tube("", one.patient_id or "", one.drain_number or "", one.side, one.space, one.site)
        bare = RoundLine(tube, self.as_of_ms)
        return bare if self.found is None else judged_line(bare, self.found, self.zone)

    @property
    def too_old(self) -> str:
        """That the data are older than the rule takes: then, as on the screen, the leak is not told. Else ''."""
        line = self.line
        if self.back or self.moment_ms is not None or self.out:
            return ""
        now_ms = max(self.as_of_ms, self.printed_ms)
        if line.live_until_ms is None or line.data_until_ms is None or now_ms < line.live_until_ms:
            return ""
        since = when(line.data_until_ms, now_ms, self.zone)
        return f"cannot tell: no data since {since}, which is older than the rule takes"

    @property
    def outlived(self) -> bool:
        """The rule judged while the data were young enough, and at printing they no longer are."""
        until_ms = self.line.live_until_ms
        return bool(self.too_old) and until_ms is not None and self.as_of_ms < until_ms

    @property
    def doubtful(self) -> bool:
        return self.found is None or self.found.doubtful or bool(self.too_old)

    @property
    def from_ms(self) -> int:
        """When the shift began."""
        return self.as_of_ms - self.shift_ms


def beside_of(connection: Connection, course: Course, known_ms: int | None = None, *, acts: bool = False) -> Beside:
    """All reads of what lies beside a course. `acts`: the ledger's too, with their hashes."""
    last = head(connection)
    return Beside(
        *read_beside(connection, course, known_ms),
        {one["name"]: one for one in things(connection, "card", known_ms=known_ms)},
        _last(things(connection, "home", {"drain": course.drain.key}, known_ms=known_ms)),
        _acts(connection, course, known_ms) if acts else (),
        None if last is None else (last.seq, last.hash),
    )


def _last(found: Iterable[Thing]) -> Thing | None:
    return max(found, key=lambda one: (one["from_ms"], one.key), default=None)


def _acts(connection: Connection, course: Course, known_ms: int | None) -> tuple[tuple[Line, str], ...]:
    lines = history_of(connection, course, known_ms)
    hashes: dict[int, str] = {}
    seqs = [line.seq for line in lines]
    for first in range(0, len(seqs), 500):  # SQLite takes so many parameters at once
        query = select(LEDGER.c.seq, LEDGER.c.hash).where(LEDGER.c.seq.in_(seqs[first : first + 500]))
        hashes |= {row.seq: row.hash for row in connection.execute(query)}
    return tuple((line, hashes[line.seq]) for line in lines)
