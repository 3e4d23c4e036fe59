"""Which units are heard of, how long ago, and whom their last reading belongs to."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, select

from slackwater.store.rows import Thing, things
from slackwater.store.tables import TABLES

NOBODY = "belongs to nobody yet"


@dataclass(frozen=True)
class Heard:
    """A registered unit. Of the last message that came: its reading's moment and when it was received (UTC ms; None:
    nothing came yet), and the drains that the unit was paired with at that moment (two limbs may share one)."""

    serial: str
    reading_ms: int | None
    received_ms: int | None
    drains: tuple[str, ...]

    @property
    def of_nobody(self) -> bool:
        """It sends, and its readings belong to no drain: they count once a pairing covers their time."""
        return self.reading_ms is not None and not self.drains


def heard(connection: Connection) -> tuple[Heard, ...]:
    """Every registered unit, by serial."""
    rows = TABLES["message"]
    pairings: dict[str, list[Thing]] = {}
    for one in things(connection, "pairing"):
        pairings.setdefault(one["unit"], []).append(one)
    found = []
    for unit in things(connection, "unit"):
        query = (
            select(rows.c.happened_ms, rows.c.at_ms)
            .where(rows.c.unit == unit["serial"])
            .order_by(rows.c.seq.desc())
            .limit(1)
        )
        last = connection.execute(query).first()
        reading, received = (None, None) if last is None else (last[0], last[1])
        found.append(Heard(unit["serial"], reading, received, _drains(pairings.get(unit.key, []), reading)))
    return tuple(sorted(found, key=lambda one: one.serial))


def covers(pairing: Thing, at_ms: int) -> bool:
    """Whether a reading of this moment is its drain's, as a unit's log is read (`store.live`)."""
    return bool(pairing["from_ms"] < at_ms and (pairing["to_ms"] is None or at_ms <= pairing["to_ms"]))


def _drains(pairings: list[Thing], at_ms: int | None) -> tuple[str, ...]:
    return () if at_ms is None else tuple(sorted(one["drain"] for one in pairings if covers(one, at_ms)))
