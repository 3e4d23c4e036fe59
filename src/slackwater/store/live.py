"""What paired units sent by themselves, read back as their log; and messages sealed into files, so that stays quick.

The messages themselves are the truth and stay in the record. A sealed file holds the rows of a unit's messages up to
one act; it is read in their place, and gives the same log.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from sqlalchemy import Connection, func, select

from slackwater.episode.instants import read_instant
from slackwater.errors import LogError, StaleError
from slackwater.quantities.spans import HOUR_MS
from slackwater.reading.log import Log
from slackwater.reading.read import read_log
from slackwater.store.acts import key_of
from slackwater.store.files import Files
from slackwater.store.live_text import HEADER, Declared, Piece, joined, number, only, pieces_of
from slackwater.store.record import Record
from slackwater.store.rows import Thing, last_known, things
from slackwater.store.tables import TABLES

UNSEALED_MS = HOUR_MS  # a unit's messages are sealed once the oldest has waited so long
MOST_AT_ONCE = 20_000  # messages in one act of sealing
ALL_ROWS = 1.0  # each reading was accepted when it came; only those in dispute are refused here
BY = "live intake"


@dataclass(frozen=True)
class Live:
    """What a unit sent that serves or served a drain, as counted; nothing of it is read yet.

    unit: the record's key. after_seq: up to that act it lies in `blocks`; the rest, `count` messages up to
    `until_seq`, does not yet. last_ms: the latest reading, UTC ms. spans: when it was paired with the drain. disputed:
    under how many of its numbers other readings came, up to the act `disputed_seq`, whomever it served then.
    """

    unit: str
    serial: str
    spans: tuple[tuple[int, int | None], ...]
    blocks: tuple[Thing, ...]
    after_seq: int
    until_seq: int
    count: int
    last_ms: int
    disputed: int = 0
    disputed_seq: int = 0

    @property
    def state(self) -> str:
        """Changes whenever a message comes or is sealed."""
        return f"{self.serial} {self.until_seq} {self.count} {len(self.blocks)} {self.disputed}"


def live_of(connection: Connection, pairings: Sequence[Thing], known_ms: int | None = None) -> tuple[Live, ...]:
    """What the units of a drain's pairings sent while paired with it; units that sent nothing are left out."""
    found = []
    for unit in things(connection, "unit", keys={one["unit"] for one in pairings}, known_ms=known_ms):
        spans = tuple((one["from_ms"], one["to_ms"]) for one in pairings if one["unit"] == unit.key)
        sealed = things(connection, "sealed", {"unit": unit.key}, known_ms=known_ms)
        after = _sealed_until(sealed)
        blocks = tuple(one for one in sealed if any(_touch(one, span) for span in spans))
        rows = TABLES["message"]
        query = select(func.max(rows.c.seq), func.count(), func.max(rows.c.happened_ms)).where(
            rows.c.unit == unit["serial"], rows.c.seq > after, rows.c.happened_ms > min(begin for begin, _ in spans)
        )
        if all(end is not None for _, end in spans):
            query = query.where(rows.c.happened_ms <= max(end for _, end in spans if end is not None))
        if known_ms is not None:
            query = query.where(rows.c.seq <= last_known(known_ms))
        until, count, last = connection.execute(query).one()
        if count or blocks:
            last_ms = max([one["last_ms"] for one in blocks] + ([last] if count else []))
            until = until or max(one["until_seq"] for one in blocks)
            twice = _disputed(connection, unit.key, known_ms)
            found.append(Live(unit.key, unit["serial"], spans, blocks, after, until, count, last_ms, *twice))
    return tuple(found)


def _disputed(connection: Connection, unit: str, known_ms: int | None) -> tuple[int, int]:
    """How many of a unit's numbers are in dispute, and the act of the last of them."""
    rows = TABLES["disputed"]
    query = select(func.count(), func.max(rows.c.seq)).where(rows.c.unit == unit)
    if known_ms is not None:
        query = query.where(rows.c.seq <= last_known(known_ms))
    count, last = connection.execute(query).one()
    return count, last or 0


@dataclass(frozen=True)
class Sent:
    """How many of a unit's readings are a drain's, and the first and last moment of which it sent one (UTC ms)."""

    unit: str
    serial: str
    readings: int
    first_ms: int
    last_ms: int


def sent_of(connection: Connection, files: Files, live: Live) -> Sent | None:
    """Counted without reading what lies wholly within the drain's time; None where no reading is the drain's."""
    told, pieces = [], _unsealed(connection, live)
    for block in live.blocks:
        if _wholly(block, live.spans):
            told.append((block["rows"], block["first_ms"], block["last_ms"]))
        elif (piece := _read(files, block, live.spans)) is not None:
            pieces.append(piece)
    for piece in pieces:
        stamps = sorted(line.split(",", 2)[1] for line in piece.lines)
        told.append((len(stamps), read_instant(stamps[0]), read_instant(stamps[-1])))
    if not told:
        return None
    counts, firsts, lasts = zip(*told, strict=True)
    return Sent(live.unit, live.serial, sum(counts), min(firsts), max(lasts))


def log_of(connection: Connection, files: Files, live: Live) -> list[Log]:
    """The unit's log of its time at the drain. Several where its messages declare different units or signs."""
    pieces = [piece for block in live.blocks if (piece := _read(files, block, live.spans)) is not None]
    pieces += _unsealed(connection, live)
    logs = []
    for at, piece in enumerate(joined(pieces, _numbers(connection, live)), start=1):
        name = f"{live.serial} as sent" + (f", {at}" if at > 1 else "")
        try:
            read = read_log(HEADER + piece.rows, piece.declared.layout(), name, ALL_ROWS)
        except LogError:
            continue  # one reading alone does not say how long it stands, and one in dispute has no value
        logs.append(replace(read, serials=(live.serial,)))
    return logs


def _numbers(connection: Connection, live: Live) -> Sequence[int]:
    """The unit's numbers in dispute, whichever patient's time each reading is of."""
    if not live.disputed:
        return ()
    rows = TABLES["disputed"]
    query = select(rows.c.sequence).where(rows.c.unit == live.unit, rows.c.seq <= live.disputed_seq)
    return connection.execute(query).scalars().all()


def _unsealed(connection: Connection, live: Live) -> list[Piece]:
    """The drain's own of the messages that lie in no file yet."""
    if not live.count:
        return []
    rows = TABLES["message"]
    query = select(rows.c.body).where(
        rows.c.unit == live.serial, rows.c.seq > live.after_seq, rows.c.seq <= live.until_seq, rows.c.gone == 0
    )
    sent = pieces_of(connection.execute(query).scalars())
    return [piece for one in sent if (piece := only(one, live.spans)) is not None]


def _read(files: Files, block: Thing, spans: Sequence[tuple[int, int | None]]) -> Piece | None:
    rows = files.get(block["sha256"])[len(HEADER) :]
    piece = Piece(Declared.from_json(block["declared"]), rows, *_ends(rows))
    return piece if _wholly(block, spans) else only(piece, spans)


def _wholly(block: Thing, spans: Sequence[tuple[int, int | None]]) -> bool:
    """Whether all of a block's rows stand for time within one of the spans."""
    before, after = Declared.from_json(block["declared"]).reach_ms
    first, ends, last = block["first_ms"] + before, block["first_ms"] + after, block["last_ms"] + after
    return any(begin <= first and begin < ends and (end is None or last <= end) for begin, end in spans)


def _ends(rows: bytes) -> tuple[int, int]:
    last = rows.rfind(b"\n", 0, len(rows) - 1) + 1
    return number(rows[: rows.index(b"\n")].decode()), number(rows[last:].decode())


def _touch(block: Thing, span: tuple[int, int | None]) -> bool:
    """Whether a block may hold rows of the span; an hour more, for rows that are stamped when they begin."""
    begin, end = span
    return bool(block["last_ms"] > begin - UNSEALED_MS and (end is None or block["first_ms"] <= end))


# --- sealing --------------------------------------------------------------------------------------------


def due(connection: Connection, now_ms: int) -> tuple[str, ...]:
    """Serials of the units whose oldest unsealed message was received an hour ago, or longer."""
    rows = TABLES["message"]
    after: dict[str, int] = {}
    for one in things(connection, "sealed"):
        after[one["unit"]] = max(after.get(one["unit"], 0), one["until_seq"])
    found = []
    for unit in things(connection, "unit"):
        query = (
            select(rows.c.at_ms)
            .where(rows.c.unit == unit["serial"], rows.c.seq > after.get(unit.key, 0))
            .order_by(rows.c.seq)
            .limit(1)
        )
        oldest = connection.execute(query).scalar()
        if oldest is not None and oldest <= now_ms - UNSEALED_MS:
            found.append(str(unit["serial"]))
    return tuple(found)


def seal(record: Record, serial: str) -> int:
    """Put a unit's unsealed messages into files, in one act; returns how many. At most MOST_AT_ONCE.

    Raises StaleError where another one sealed them meanwhile: then there is nothing left to do.
    """
    unit, rows = key_of("unit", serial), TABLES["message"]
    with record.reading() as connection:
        after = _sealed_until(things(connection, "sealed", {"unit": unit}))
        query = (
            select(rows.c.seq, rows.c.body, rows.c.gone)
            .where(rows.c.unit == serial, rows.c.seq > after)
            .order_by(rows.c.seq)
            .limit(MOST_AT_ONCE)
        )
        found = connection.execute(query).all()
        if len(found) == MOST_AT_ONCE:  # an act's messages are sealed together
            found = [one for one in found if one.seq < found[-1].seq] or found
    if not found:
        return 0
    until = found[-1].seq
    pieces = pieces_of(one.body for one in found if not one.gone)
    kept = [(piece, record.files.put(HEADER + piece.rows)) for piece in pieces]
    with record.act(by=BY, what="sealed") as act:
        if _sealed_until(act.things("sealed", {"unit": unit})) != after:
            raise StaleError("was sealed meanwhile", where=f"unit {serial}")
        for piece, sha256 in kept:
            stamps = sorted(line.split(",", 2)[1] for line in piece.lines)
            act.add("sealed", key_of("sealed", unit, until, sha256), {
                "unit": unit, "sha256": sha256, "declared": piece.declared.to_json(), "until_seq": until,
                "first_ms": read_instant(stamps[0]), "last_ms": read_instant(stamps[-1]),
                "rows": len(stamps), "states": " ".join(piece.states) or None,
            })  # fmt: skip
    return len(found)


def _sealed_until(blocks: Iterable[Thing]) -> int:
    """The last act whose messages lie in a unit's files; 0: none."""
    return max((one["until_seq"] for one in blocks), default=0)
