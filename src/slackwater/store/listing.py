"""The drains of a record, one line each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, func, select

from slackwater.store.live import live_of
from slackwater.store.record import Record
from slackwater.store.rows import Thing, last_known, things
from slackwater.store.tables import TABLES


@dataclass(frozen=True)
class Listed:
    """One drain: its key, its name as people say it, and where its record stands. Instants are UTC ms."""

    key: str
    name: str
    ward: str | None
    bed: str | None
    side: str | None
    space: str | None
    site: str | None
    indication: str | None
    connected_ms: int | None
    removed_ms: int | None
    removal: str | None
    logs: int
    log_until_ms: int | None
    sent_until_ms: int | None  # of what its units sent by themselves; at most the end of their pairing
    entries: int
    protocol: str | None


def listed(record: Record, *, everything: bool = False, known_ms: int | None = None) -> tuple[Listed, ...]:
    """Every drain that is in, or `everything`; in order of connection, then of name."""
    with record.reading() as connection:
        held = {
            noun: {one.key: one for one in things(connection, noun, known_ms=known_ms)}
            for noun in ("patient", "episode", "space", "drain", "goal", "protocol", "removal", "log", "pairing")
        }
        charted = _charted(connection, known_ms)
        removals = {one["drain"]: one for one in held["removal"].values()}
        paired: dict[str, list[Thing]] = {}
        for one in held["pairing"].values():
            if everything or one["drain"] not in removals:
                paired.setdefault(one["drain"], []).append(one)
        sent = {drain: _sent_until(connection, pairings, known_ms) for drain, pairings in paired.items()}
    goals = {one["drain"]: one for one in held["goal"].values()}
    found = []
    for drain in held["drain"].values():
        episode, space = held["episode"][drain["episode"]], held["space"][drain["space"]]
        removal, goal = removals.get(drain.key), goals.get(drain.key)
        if removal is not None and not everything:
            continue
        logs = [log for log in held["log"].values() if log["drain"] == drain.key]
        entries = sum(charted.get((episode.key, whose), 0) for whose in (None, drain["number"]))
        rule = held["protocol"].get(goal["protocol"]) if goal is not None and goal["protocol"] else None
        found.append(
            Listed(
                drain.key,
                f"{held['patient'][episode['patient']]['label']}/{drain['number']}",
                episode["ward"],
                episode["bed"],
                space["side"],
                space["kind"],
                drain["site"],
                episode["indication"],
                drain["connected_ms"],
                None if removal is None else removal["time_ms"],
                None if removal is None else removal["kind"],
                len(logs),
                max((log["last_ms"] for log in logs), default=None),
                sent.get(drain.key),
                entries,
                None if rule is None else f"{rule['name']} {rule['edition'] or ''}".strip(),
            )
        )
    return tuple(sorted(found, key=lambda one: (one.connected_ms is None, one.connected_ms or 0, one.name)))


def _sent_until(connection: Connection, pairings: Sequence[Thing], known_ms: int | None) -> int | None:
    """The latest of what was sent, at most the end of the pairing; None where nothing was."""
    found = []
    for live in live_of(connection, pairings, known_ms):
        ends = [live.last_ms if end is None else end for _, end in live.spans]
        found.append(min(live.last_ms, max(ends)))
    return max(found, default=None)


def _charted(connection: Connection, known_ms: int | None) -> dict[tuple[str, str | None], int]:
    """How many chart rows stand, by episode and drain number; what was taken back stays so, and is not counted."""
    rows = TABLES["entry"]
    query = select(
        rows.c.episode, rows.c.drain,
        func.count(rows.c.key.distinct()) - func.sum(rows.c.gone),
    ).group_by(rows.c.episode, rows.c.drain)  # fmt: skip
    if known_ms is not None:
        query = query.where(rows.c.seq <= last_known(known_ms))
    return {(episode, drain): int(count) for episode, drain, count in connection.execute(query).all()}
