"""What lets a unit send by HTTP: a random key of its own. The record holds only its hash."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import secrets
import time

from sqlalchemy import func, select

from slackwater.errors import UsageError
from slackwater.feed.line import is_serial
from slackwater.store.acts import key_of
from slackwater.store.record import Record
from slackwater.store.rows import things
from slackwater.store.tables import TABLES

BELIEVED_S = 2.0  # so long what was read of the keys is used: a key that was replaced is good no longer
KEY_BYTES = 32


def make_key(record: Record, serial: str, *, by: str) -> str:
    """A new key for the unit, in place of any before; returned once and kept nowhere. Registers a unit that is new."""
    if not is_serial(serial):
        raise UsageError(f"{serial[:40]!r} is no serial number", where="SERIAL",
                         mend="Write letters, digits or . _ : -, as the unit itself sends it.")  # fmt: skip
    key = secrets.token_urlsafe(KEY_BYTES)
    unit, hashed = key_of("unit", serial), hash_of(key)
    with record.act(by=by, what="unit key") as act:
        if act.thing("unit", unit) is None:
            act.add("unit", unit, {"serial": serial})
        held = act.thing("unit_key", key_of("unit_key", unit))
        if held is None:
            act.add("unit_key", key_of("unit_key", unit), {"unit": unit, "hash": hashed})
        else:
            act.change("unit_key", held.key, {"hash": hashed}, version=held.version)
    return key


def hash_of(key: str) -> str:
    """SHA-256: enough for a key of 256 random bits, which nobody can guess; and quick, for it is asked each time."""
    return hashlib.sha256(key.encode("utf-8", "replace")).hexdigest()


class Keys:
    """Whose key it is, as the record stands; read again every BELIEVED_S."""

    def __init__(self, record: Record) -> None:
        self._record = record
        self._held: dict[str, tuple[str, str]] = {}  # first digits of the hash -> hash, serial
        self._latest: int | None = -1  # the act that changed a key last
        self._read_at = float("-inf")
        self._reading = asyncio.Lock()

    async def whose(self, key: str) -> str | None:
        """The serial of the unit whose key this is; None for any other text."""
        if time.monotonic() - self._read_at > BELIEVED_S:
            async with self._reading:
                if time.monotonic() - self._read_at > BELIEVED_S:
                    self._held = await asyncio.to_thread(self._read)
                    self._read_at = time.monotonic()
        hashed = hash_of(key)
        # Looked up by the hash of random bits, compared in constant time: how long it takes tells nothing of a key.
        stored, serial = self._held.get(hashed[:16], ("", ""))
        return serial if hmac.compare_digest(stored, hashed) else None

    def _read(self) -> dict[str, tuple[str, str]]:
        with self._record.reading() as connection:
            latest = connection.execute(select(func.max(TABLES["unit_key"].c.seq))).scalar()
            if latest == self._latest:  # so many rows would hold up whoever sends just then
                return self._held
            serials = {unit.key: str(unit["serial"]) for unit in things(connection, "unit")}
            found = {one["hash"][:16]: (one["hash"], serials[one["unit"]]) for one in things(connection, "unit_key")}
            self._latest = latest
            return found
